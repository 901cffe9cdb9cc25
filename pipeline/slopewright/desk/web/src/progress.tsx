// How a run goes: stages, share, time left, its end in words, a way to stop it.
import { useEffect } from "preact/hooks";
import { useSignal } from "@preact/signals";
import { ask, path } from "./api";
import { Bar } from "./parts";
import { busy, doing, job, roof, run, startRun } from "./state";
import type { Run } from "./types";
import { durationText } from "./units";

const STAGES: Record<string, string> = {
  reconstruct: "placing the photos, making a cloud", read: "reading the cloud", isolate: "finding the roof", planes: "fitting planes",
  edges: "tracing edges", adjust: "adjusting all together", takeoff: "taking off quantities",
  report: "drawing and writing", view: "preparing the view",
}; // prettier-ignore

export function Progress() {
  const found = run.value;
  const now = useSignal(Date.now());
  useEffect(() => {
    if (!busy.value) return undefined;
    const timer = setInterval(() => (now.value = Date.now()), 500);
    return () => clearInterval(timer);
  }, [busy.value]);
  return (
    <section aria-labelledby="measuring">
      <h2 id="measuring">Measuring</h2>
      <div class="row">
        {busy.value ? (
          <button type="button" onClick={() => doing("Stopping …", () => stop(found!))}>
            Stop
          </button>
        ) : (
          <button type="button" class="main" disabled={!!job.value?.problem} onClick={() => startRun()}>
            {roof.value ? "Measure again" : "Measure"}
          </button>
        )}
        {!busy.value && roof.value && (
          <button type="button" onClick={() => startRun({ force: true })}>
            From scratch, without corrections
          </button>
        )}
        {job.value?.problem && <span class="fault">{job.value.problem}</span>}
      </div>
      {found && <Told run={found} now={now.value} />}
    </section>
  );
}

const stop = (found: Run) => ask("DELETE", path("jobs", found.job, "runs", String(found.number)));

function Told({ run: found, now }: { run: Run; now: number }) {
  const active = found.log.find((stage) => stage.ended === null);
  const begun = found.started ? Math.max(now / 1000 - found.started, 0) : 0;
  if (found.state === "queued") return <p role="status">Waits for its turn.</p>;
  return (
    <>
      {found.state === "running" && (
        <>
          <Bar share={found.share} label="Share done" />
          <p role="status">
            {active ? (STAGES[active.name] ?? active.name) : "starting"}, {durationText(begun)} so far
            {found.left_s === null
              ? "; how long it takes is known after the first run"
              : `, about ${durationText(found.left_s)} left`}
          </p>
        </>
      )}
      {found.state === "done" && <p role="status">Measured.</p>}
      {found.state === "cancelled" && <p role="status">Stopped; nothing was changed.</p>}
      {(found.state === "failed" || found.state === "refused") && (
        <p class="fault" role="alert">
          {found.message}
        </p>
      )}
      {found.log.length > 0 && (
        <details>
          <summary>Stages</summary>
          <ol class="stages">
            {(found.stages.length ? found.stages : found.log.map((stage) => stage.name)).map((name) => {
              const stage = found.log.find((one) => one.name === name);
              const spent = stage?.ended ? `${(stage.ended - stage.began).toFixed(1)} s` : stage ? "…" : "";
              return (
                <li key={name} class={stage?.ended ? "ended" : ""}>
                  {STAGES[name] ?? name} <span>{spent}</span>
                </li>
              );
            })}
          </ol>
        </details>
      )}
    </>
  );
}
