// What the page knows; all of it comes from the server, and a reload brings it back.
import { computed, effect, signal } from "@preact/signals";
import { ask, path, Refusal } from "./api";
import type { Edit, Job, JobLine, RoofData, Run } from "./types";

export const STEPS = ["files", "marks", "roof", "takeoff", "checks", "report"] as const;
export type Step = (typeof STEPS)[number];
export interface Chosen {
  kind: "plane" | "edge";
  id: string;
}

export const jobs = signal<JobLine[] | null>(null);
export const job = signal<Job | null>(null);
export const roof = signal<RoofData | null>(null);
export const runs = signal<Record<string, Run>>({});
export const chosen = signal<Chosen | null>(null);
export const pointed = signal<string[]>([]); // ids that a line of the takeoff or a warning is about
export const metric = signal(false);
export const working = signal(""); // what is being done now
export const said = signal<{ text: string; bad: boolean; undo?: () => void } | null>(null);
export const connected = signal(true);

const hash = signal(location.hash);
addEventListener("hashchange", () => (hash.value = location.hash));
export const route = computed(() => {
  const [, id, step] = hash.value.replace(/^#/, "").split("/");
  const known = STEPS.find((name) => name === step) ?? "files";
  return { job: id ? decodeURIComponent(id) : "", step: known };
});
export const go = (id: string, step: Step = "files") =>
  (location.hash = id ? `#/${encodeURIComponent(id)}/${step}` : "#/");
export const run = computed<Run | null>(() => runs.value[route.value.job] ?? job.value?.run ?? null);
export const busy = computed(() => run.value?.state === "queued" || run.value?.state === "running");

export function tell(error: unknown) {
  const text = error instanceof Error ? error.message : String(error);
  said.value = { text: error instanceof Refusal ? text : `The server does not answer (${text}).`, bad: true };
}

// Does one thing at a time, says what, and tells a refusal.
export async function doing<T>(what: string, work: () => Promise<T>): Promise<T | undefined> {
  if (working.value) return undefined;
  working.value = what;
  said.value = null;
  try {
    return await work();
  } catch (error) {
    tell(error);
    return undefined;
  } finally {
    working.value = "";
  }
}

export async function loadJobs() {
  try {
    jobs.value = await ask<JobLine[]>("GET", "/jobs");
  } catch (error) {
    tell(error);
  }
}

export async function loadJob(id: string) {
  try {
    const found = await ask<Job>("GET", path("jobs", id));
    if (route.value.job === id) job.value = found;
    if (found.result) await loadRoof(id);
    else if (route.value.job === id) roof.value = null;
  } catch (error) {
    tell(error);
  }
}

export async function loadRoof(id: string) {
  const found = await ask<RoofData>("GET", path("jobs", id) + "/roof");
  if (route.value.job === id) show(found);
}

export const adopt = show;

function show(found: RoofData) {
  roof.value = found;
  metric.value = found.options.metric;
  const c = chosen.value;
  const all = c?.kind === "plane" ? found.roof.planes : found.roof.edges;
  if (c && !all.some((thing) => thing.id === c.id)) chosen.value = null;
}

async function change(what: string, method: string, tail: string, body?: unknown): Promise<boolean> {
  const id = route.value.job;
  const found = await doing(what, () => ask<RoofData>(method, path("jobs", id) + tail, body));
  if (!found || route.value.job !== id) return false;
  const told = new Set((roof.value?.warnings ?? []).map((warning) => warning.text));
  const news = found.warnings.filter((w) => w.code === "observation_conflict" && !told.has(w.text));
  show(found);
  if (news.length) said.value = { text: news.map((w) => w.text).join(" "), bad: true };
  return true;
}

export const correct = (edit: Edit) => change("Adjusting the roof …", "POST", "/edits", { edit });
export const undo = () => change("Taking back …", "POST", "/undo");
export const redo = () => change("Doing again …", "POST", "/redo");
export const setStatus = (item: string, status: string | null) =>
  change("Taking off …", "PUT", "/statuses", { item, status });
export const present = (system: string | null, inMetres: boolean) =>
  change("Taking off …", "PUT", "/presentation", { system, metric: inMetres });

export async function startRun(options: { at?: [number, number]; force?: boolean } = {}) {
  const id = route.value.job;
  const body = { metric: metric.value, ...options };
  await doing("Queueing …", () => ask("POST", path("jobs", id) + "/runs", body));
}

effect(() => {
  const id = route.value.job;
  if (id !== job.peek()?.id) {
    job.value = null;
    roof.value = null;
    chosen.value = null;
    pointed.value = [];
  }
  said.value = null;
  if (id) void loadJob(id);
  else void loadJobs();
});

// News of runs; when one ends, what it made is loaded.
export function listen() {
  const source = new EventSource("/api/events");
  source.onopen = () => (connected.value = true);
  source.onerror = () => (connected.value = false);
  source.onmessage = (event) => {
    const news: Run = JSON.parse(event.data);
    const before = runs.value[news.job];
    runs.value = { ...runs.value, [news.job]: news };
    const ended = before && before.state !== news.state && news.ended !== null;
    if (ended && route.value.job === news.job) void loadJob(news.job);
    if (!route.value.job && before?.state !== news.state) void loadJobs();
  };
}
