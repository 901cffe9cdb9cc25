// Photos of the job that is open, marks in them, and cameras once they are known.
import { effect, signal } from "@preact/signals";
import { ask, path, Refusal } from "./api";
import type { Camera } from "./camera";
import { job, route, run, tell } from "./state";
import type { Mark } from "./types";

export const marks = signal<Mark[]>([]);
export const marksReady = signal(false); // none may be set before those there are known
export const marksFault = signal("");
export const cameras = signal<Record<string, Camera>>({});
export const sizes = signal<Record<string, [number, number]>>({});

export const photosOf = () => (job.value?.files ?? []).filter((file) => file.kind === "photo").map((file) => file.name);
export const placeOf = (photo: string) => `/api${path("jobs", route.value.job, "photos", photo)}`;

export async function sizeOf(photo: string): Promise<[number, number]> {
  const known = sizes.value[photo];
  if (known) return known;
  const found = await ask<{ width: number; height: number }>("GET", path("jobs", route.value.job, "photos", photo) + "/size");
  const size: [number, number] = [found.width, found.height];
  sizes.value = { ...sizes.value, [photo]: size };
  return size;
}

async function loadMarks(id: string) {
  try {
    const found = await ask<{ marks: Mark[]; fault: string }>("GET", path("jobs", id) + "/marks");
    if (route.value.job !== id) return;
    marks.value = found.marks;
    marksFault.value = found.fault;
    marksReady.value = true;
  } catch (error) {
    tell(error);
  }
}

async function loadCameras(id: string) {
  try {
    const known = await ask<Camera[]>("GET", path("jobs", id) + "/cameras");
    if (route.value.job === id) cameras.value = Object.fromEntries(known.map((camera) => [camera.name, camera]));
  } catch (error) {
    tell(error);
  }
}

let saving: Promise<void> = Promise.resolve();

// Marks are saved one state after the other, each whole; a refused state is said and the last good one stays there.
export function saveMarks(next: Mark[]) {
  marks.value = next;
  const id = route.value.job;
  saving = saving.then(async () => {
    if (marks.value !== next) return; // a later state is on its way
    try {
      await ask("PUT", path("jobs", id) + "/marks", { marks: next.filter((mark) => Object.keys(mark.photos).length) });
      marksFault.value = "";
    } catch (error) {
      if (error instanceof Refusal) marksFault.value = error.message;
      else tell(error);
    }
  });
}

effect(() => {
  const id = route.value.job;
  sizes.value = {};
  marks.value = [];
  marksReady.value = false;
  if (id) void loadMarks(id);
});

effect(() => {
  const id = route.value.job;
  void run.value?.ended; // a run places the photos anew
  cameras.value = {};
  if (id) void loadCameras(id);
});
