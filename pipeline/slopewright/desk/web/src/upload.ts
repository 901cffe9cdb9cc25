// Sending files: slices of one file after the other, each acknowledged; after a break it goes on from what arrived.
import { signal } from "@preact/signals";
import { ask, path, Refusal } from "./api";

const SLICE = 32 * 1024 * 1024; // bytes a request
const AT_ONCE = 3; // files; small photos wait for answers more than for the wire
const WAIT_MS = [300, 1000, 2000, 4000, 8000, 15000]; // before trying again when the server does not answer

export interface Sending {
  name: string;
  size: number;
  sent: number;
  state: "waiting" | "sending" | "done" | "refused";
  text: string;
  file: File;
  job: string;
}
export const sendings = signal<Sending[]>([]);

function update(one: Sending, news: Partial<Sending>) {
  Object.assign(one, news);
  sendings.value = [...sendings.value];
}

export async function send(job: string, files: File[], replace = false): Promise<void> {
  const fresh = files.map<Sending>((file) => ({
    name: file.name, size: file.size, sent: 0, state: "waiting", text: "", file, job,
  })); // prettier-ignore
  sendings.value = [...sendings.value.filter((one) => one.state !== "done"), ...fresh];
  const queue = [...fresh];
  const work = async () => {
    for (let one = queue.shift(); one; one = queue.shift()) await sendOne(one, replace);
  };
  await Promise.all(Array.from({ length: AT_ONCE }, work));
}

async function sendOne(one: Sending, replace: boolean) {
  update(one, { state: "sending" });
  let tries = 0;
  while (one.state === "sending") {
    try {
      const place = `${path("jobs", one.job, "files", one.name)}?size=${one.size}&replace=${replace}`;
      const slice = one.file.slice(one.sent, one.sent + SLICE);
      const { received } = await ask<{ received: number }>("PUT", `${place}&offset=${one.sent}`, slice);
      tries = 0;
      update(one, { sent: received, state: received === one.size ? "done" : "sending" });
    } catch (error) {
      if (error instanceof Refusal && error.received !== null) {
        update(one, { sent: error.received });
      } else if (error instanceof Refusal) {
        update(one, { state: "refused", text: error.message });
      } else if (tries < WAIT_MS.length) {
        update(one, { text: "waiting for the server …" });
        await new Promise((done) => setTimeout(done, WAIT_MS[tries++]));
        await askWhere(one);
      } else {
        update(one, { state: "refused", text: "the server does not answer; start it and send the file again" });
      }
    }
  }
}

async function askWhere(one: Sending) {
  try {
    const place = `${path("jobs", one.job, "uploads", one.name)}?size=${one.size}`;
    update(one, { sent: (await ask<{ received: number }>("GET", place)).received, text: "" });
  } catch {
    // still away: the next try asks again
  }
}

// Files of a drop, those in folders too.
export async function dropped(items: DataTransferItemList): Promise<File[]> {
  const entries = [...items].map((item) => item.webkitGetAsEntry()).filter((entry) => entry !== null);
  // entries must be taken before the first await: the list is empty after it
  const found: File[] = [];
  const visit = async (entry: FileSystemEntry): Promise<void> => {
    if (entry.name.startsWith(".")) return;
    if (entry.isFile) {
      found.push(await new Promise<File>((done, fail) => (entry as FileSystemFileEntry).file(done, fail)));
      return;
    }
    const reader = (entry as FileSystemDirectoryEntry).createReader();
    for (;;) {
      const some = await new Promise<FileSystemEntry[]>((done, fail) => reader.readEntries(done, fail));
      if (!some.length) return;
      for (const inner of some) await visit(inner);
    }
  };
  for (const entry of entries) await visit(entry);
  return found;
}

export function nameFor(files: File[]): string {
  const folder = files.map((file) => file.webkitRelativePath.split("/")[0]).find((name) => name);
  const cloud = files.find((file) => /\.(la[sz]|ply|pcd|e57|xyz|pts)$/i.test(file.name));
  return folder || (cloud ?? files[0])?.name.replace(/(\.copc)?\.[^.]+$/, "") || "";
}
