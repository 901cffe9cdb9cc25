// The list of jobs, and a new one from files.
import { useSignal } from "@preact/signals";
import { ask, path, Refusal } from "./api";
import { Drop } from "./parts";
import { doing, go, jobs, loadJobs, metric, said, tell, working } from "./state";
import type { JobLine } from "./types";
import { nameFor, send } from "./upload";
import { bytesText, SQUARE_METRES, SQUARES, withBound } from "./units";

const STATES: Record<string, string> = {
  queued: "waits", running: "being measured", done: "measured", failed: "failed", refused: "refused",
  cancelled: "stopped",
}; // prettier-ignore

export function Jobs() {
  return (
    <main id="main">
      <h1>Jobs</h1>
      <NewJob />
      {jobs.value === null ? <p>Loading …</p> : <List jobs={jobs.value} />}
    </main>
  );
}

function NewJob() {
  const files = useSignal<File[]>([]);
  const name = useSignal("");
  const fault = useSignal("");
  const take = (found: File[]) => {
    files.value = [...files.value, ...found];
    if (!name.value) name.value = nameFor(found);
  };
  const make = async () => {
    fault.value = "";
    try {
      const { id } = await ask<{ id: string }>("POST", "/jobs", { name: name.value });
      go(id);
      if (files.value.length) void send(id, files.value);
    } catch (error) {
      if (error instanceof Refusal) fault.value = error.message.replace(/^name: /, "");
      else tell(error);
    }
  };
  const total = files.value.reduce((sum, file) => sum + file.size, 0);
  return (
    <section aria-labelledby="new">
      <h2 id="new">New job</h2>
      <Drop onFiles={take}>
        <p>Drop photos, a point cloud, or a folder of them here.</p>
      </Drop>
      {files.value.length > 0 && (
        <p>
          {files.value.length} {files.value.length === 1 ? "file" : "files"}, {bytesText(total)}{" "}
          <button type="button" class="quiet" onClick={() => (files.value = [])}>
            Take back
          </button>
        </p>
      )}
      <form
        class="row"
        onSubmit={(event) => {
          event.preventDefault();
          void make();
        }}
      >
        <label>
          Name of the job
          <input
            name="name"
            value={name.value}
            maxLength={200}
            autocomplete="off"
            aria-invalid={fault.value ? "true" : undefined}
            aria-describedby="name-fault"
            onInput={(event) => (name.value = event.currentTarget.value)}
          />
        </label>
        <button type="submit" class="main" disabled={!name.value.trim()}>
          Make the job
        </button>
      </form>
      <p id="name-fault" class="fault" role="alert">
        {fault.value}
      </p>
    </section>
  );
}

function List({ jobs: lines }: { jobs: JobLine[] }) {
  if (!lines.length) return <p>No jobs yet.</p>;
  return (
    <section aria-labelledby="all">
      <h2 id="all">All jobs</h2>
      <div class="scroll" tabIndex={0} role="group" aria-labelledby="all">
        <table>
          <thead>
            <tr>
              <th scope="col">Job</th>
              <th scope="col">Holds</th>
              <th scope="col">State</th>
              <th scope="col">Roof</th>
              <th scope="col">Changed</th>
              <th scope="col">
                <span class="unseen">Delete</span>
              </th>
            </tr>
          </thead>
          <tbody>
            {lines.map((line) => (
              <tr key={line.id}>
                <th scope="row">
                  <a href={`#/${encodeURIComponent(line.id)}/${line.result ? "roof" : "files"}`}>{line.name}</a>
                </th>
                <td>{holds(line)}</td>
                <td>{line.state ? STATES[line.state] : line.result ? "measured" : "new"}</td>
                <td>{line.result ? roofText(line) : ""}</td>
                <td>{new Date(line.changed * 1000).toLocaleString()}</td>
                <td>
                  <button type="button" class="quiet" disabled={!!working.value} onClick={() => remove(line)}>
                    Delete<span class="unseen"> {line.name}</span>
                  </button>
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

function holds(line: JobLine): string {
  const parts = [
    line.clouds ? `${line.clouds} cloud${line.clouds > 1 ? "s" : ""}` : "",
    line.photos ? `${line.photos} photo${line.photos > 1 ? "s" : ""}` : "",
  ].filter(Boolean);
  return parts.length ? `${parts.join(", ")}, ${bytesText(line.n_bytes)}` : "nothing yet";
}

function roofText(line: JobLine): string {
  const result = line.result!;
  const area = withBound(result.area, metric.value ? SQUARE_METRES : SQUARES);
  return `${area}, ${result.planes} plane${result.planes > 1 ? "s" : ""}${result.certified ? "" : ", not certified"}`;
}

async function remove(line: JobLine) {
  const done = await doing("Deleting …", () => ask<{ restore: string }>("DELETE", path("jobs", line.id)));
  if (!done) return;
  await loadJobs();
  said.value = {
    text: `${line.name} was deleted.  It is kept for 30 days.`,
    bad: false,
    undo: async () => {
      await doing("Restoring …", () => ask("POST", path("deleted", done.restore, "restore")));
      await loadJobs();
    },
  };
}
