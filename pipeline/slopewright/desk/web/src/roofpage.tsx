// The roof from all sides: 3D, plan and photos beside its tables; what is chosen in one is chosen in all.
import { useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { path } from "./api";
import { Details } from "./details";
import { Journal } from "./journal";
import { PhotoViews } from "./photoviews";
import { Plan } from "./plan";
import { Progress } from "./progress";
import type { Roof3d } from "./roof3d";
import { loadChecks } from "./checks";
import { chosen, job, metric, pointed, roof, route, startRun } from "./state";
import { EdgeTable, PlaneTable } from "./tables";
import type { Warning } from "./types";
import { SQUARE_METRES, SQUARES, between, percent, withBound } from "./units";

const VIEWS = ["both", "3D", "plan", "photos"] as const;
type View = (typeof VIEWS)[number];

export function RoofPage() {
  const data = roof.value;
  const view = useSignal<View>(innerWidth < 760 ? "plan" : "both");
  const id = route.value.job;
  useEffect(() => void loadChecks(id).catch(() => undefined), [id, data]);
  if (!data) return <Progress />;
  const views = VIEWS.filter((name) => name !== "photos" || job.value!.photos > 0);
  return (
    <>
      <Answer />
      <fieldset class="views">
        <legend class="unseen">Views</legend>
        {views.map((name) => (
          <label key={name}>
            <input type="radio" name="view" checked={view.value === name} onChange={() => (view.value = name)} />
            {name === "both" ? "3D and plan" : name}
          </label>
        ))}
      </fieldset>
      <div class="roof-grid">
        <div class={`view-grid ${view.value === "both" ? "two" : ""}`}>
          {(view.value === "both" || view.value === "3D") && <View3d />}
          {(view.value === "both" || view.value === "plan") && <Plan />}
          {view.value === "photos" && <PhotoViews />}
        </div>
        <aside class="side" aria-label="What is chosen, and corrections">
          <Details />
          <Journal />
        </aside>
        <div class="rest">
          <div class="table-grid">
            <PlaneTable />
            <EdgeTable />
          </div>
          <Minded warnings={data.warnings} />
          <Others />
        </div>
      </div>
    </>
  );
}

// How much, how sure, what was not seen.
function Answer() {
  const { roof: found, not_certified } = roof.value!;
  const unit = metric.value ? SQUARE_METRES : SQUARES;
  const total = found.totals.area;
  const unseen = found.planes.reduce((sum, p) => sum + (1 - p.observed) * p.area.value, 0) / total.value;
  const largest = [...found.budget].sort((a, b) => b.area_share - a.area_share)[0];
  return (
    <dl class="answer">
      <div>
        <dt>How much</dt>
        <dd>
          <strong>{withBound(total, unit)}</strong> of roof in {found.planes.length} planes
        </dd>
      </div>
      <div>
        <dt>How sure</dt>
        <dd>
          95 % sure between {between(total, unit)}
          {largest && `; ${percent(largest.area_share)} of the doubt: ${largest.source}`}
        </dd>
      </div>
      <div>
        <dt>Not seen</dt>
        <dd>
          {percent(unseen)} of the area, inferred
          {not_certified.length > 0 && <span class="fault"> Not certified: {not_certified.join("; ")}</span>}
        </dd>
      </div>
    </dl>
  );
}

let camera3d: Roof3d | null = null;

function View3d() {
  const box = useRef<HTMLDivElement>(null);
  const state = useSignal("Loading the view …");
  const cloud = useSignal(true);
  const id = job.value!.id;
  useEffect(() => {
    let gone = false;
    let made: Roof3d | null = null;
    void (async () => {
      try {
        const { Roof3d: View } = await import("./roof3d");
        if (gone || !box.current || !roof.value) return;
        made = new View(box.current, (pick) => {
          pointed.value = [];
          chosen.value = pick;
        });
        camera3d = made;
        (window as any).slopewright = { view: made };
        made.setRoof(roof.value.roof, true);
        made.choose(chosen.value, pointed.value);
        state.value = "Loading the cloud …";
        const answer = await fetch(`/api${path("jobs", id)}/points`);
        if (!answer.ok) throw new Error("the cloud cannot be shown");
        const points = new Float32Array(await answer.arrayBuffer());
        if (gone) return;
        made.setPoints(points);
        state.value = `${(points.length / 3).toLocaleString()} points shown`;
      } catch (error) {
        state.value = error instanceof Error ? `No 3D view: ${error.message}` : "No 3D view";
      }
    })();
    return () => {
      gone = true;
      made?.dispose();
      if (camera3d === made) camera3d = null;
    };
  }, [id]);
  useEffect(() => {
    if (roof.value) camera3d?.setRoof(roof.value.roof, false);
    camera3d?.choose(chosen.value, pointed.value);
  }, [roof.value]);
  useEffect(() => camera3d?.choose(chosen.value, pointed.value), [chosen.value, pointed.value]);
  return (
    <figure class="view3d">
      <div ref={box} class="canvas-box" role="img" aria-label="The roof in 3D. Drag to turn, wheel to zoom; the tables list it." />
      <figcaption class="view-tools">
        <label>
          <input
            type="checkbox"
            checked={cloud.value}
            onChange={(event) => {
              cloud.value = event.currentTarget.checked;
              camera3d?.showPoints(cloud.value);
            }}
          />
          Cloud
        </label>
        <span role="status">{state.value}</span>
      </figcaption>
    </figure>
  );
}

function Minded({ warnings }: { warnings: Warning[] }) {
  if (!warnings.length) return null;
  return (
    <section aria-labelledby="mind">
      <h2 id="mind">Mind</h2>
      <ul>
        {warnings.map((warning) => (
          <li key={warning.code + warning.text}>
            {warning.text}{" "}
            {warning.about.length > 0 && (
              <button type="button" class="quiet" onClick={() => (pointed.value = warning.about)}>
                Show {warning.about.slice(0, 6).join(", ")}
                {warning.about.length > 6 ? " …" : ""}
              </button>
            )}
          </li>
        ))}
      </ul>
    </section>
  );
}

function Others() {
  const { other_roofs, chosen: now, journal } = roof.value!;
  if (!other_roofs.length) return null;
  const unit = (area: number) => withBound({ value: area, u: 0, low: area, high: area }, SQUARE_METRES).replace(/ ±.*/, "");
  return (
    <section aria-labelledby="others">
      <h2 id="others">Other roofs in the cloud</h2>
      <p>
        {now} is measured.{journal.length > 0 && " Corrections belong to it and would be lost with another choice."}
      </p>
      <ul>
        {other_roofs.map((other) => (
          <li key={other.id}>
            {other.id}, {unit(other.plan_area_m2)} in plan{" "}
            <button type="button" onClick={() => startRun({ at: other.at, force: journal.length > 0 })}>
              Measure {other.id} instead
            </button>
          </li>
        ))}
      </ul>
    </section>
  );
}
