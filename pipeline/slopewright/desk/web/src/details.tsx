// The plane or edge that is chosen: its numbers, what it was seen from, why it is called so, and what can be corrected.
import { useSignal, type Signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import type { ComponentChildren } from "preact";
import { isFree, KINDS, LOOKS, nameOf, OF_TWO, reasons } from "./kinds";
import { chosen, correct, job, metric, roof, working } from "./state";
import { splitting } from "./tools";
import type { Edge, Plane } from "./types";
import {
  DEGREES, FEET, feetAndInches, IN_12, METRES, percent, readLength, SQUARE_FEET, SQUARE_METRES, withBound,
} from "./units"; // prettier-ignore

const TAPE_U_M = 0.006; // a quarter of an inch: one standard uncertainty of a length that a person tapes on a roof
const GAUGE_U_DEG = 0.3; // of a pitch gauge laid on shingles, common practice

export function Details() {
  const c = chosen.value;
  const found = roof.value!.roof;
  const plane = c?.kind === "plane" ? found.planes.find((p) => p.id === c.id) : undefined;
  const edge = c?.kind === "edge" ? found.edges.find((e) => e.id === c.id) : undefined;
  return (
    <section aria-labelledby="chosen" class="details">
      <h2 id="chosen">{plane ? `Plane ${plane.id}` : edge ? `Edge ${edge.id}, ${nameOf(edge.kind)}` : "Nothing chosen"}</h2>
      {plane && <OfPlane key={plane.id} plane={plane} />}
      {edge && <OfEdge key={edge.id} edge={edge} />}
      {!c && <p>Choose a plane or an edge in a view or a table.</p>}
    </section>
  );
}

function Facts({ facts }: { facts: [string, string][] }) {
  return (
    <dl class="facts">
      {facts.map(([name, value]) => (
        <div key={name}>
          <dt>{name}</dt>
          <dd>{value}</dd>
        </div>
      ))}
    </dl>
  );
}

function seenFrom(points: number | null, observed: number): string {
  const source = job.value!.clouds ? "the cloud" : "the photos";
  const from = points === null ? source : `${points.toLocaleString()} points of ${source}`;
  const rest = observed < 0.9995 ? "; the rest is inferred from what lies beside" : "";
  return `${percent(observed)} of it by ${from}${rest}`;
}

function OfPlane({ plane }: { plane: Plane }) {
  const area = metric.value ? SQUARE_METRES : SQUARE_FEET;
  const found = roof.value!.roof;
  const facts: [string, string][] = [
    ["Pitch", metric.value ? withBound(plane.pitch_deg, DEGREES) : withBound(plane.rise_in_12, IN_12)],
    ["Area", withBound(plane.area, area)],
    ["Area in plan", withBound(plane.plan_area, area)],
    ["Falls towards", withBound(plane.azimuth_deg, DEGREES)],
  ];
  if (plane.eave_height) facts.push(["Eave above ground", withBound(plane.eave_height, metric.value ? METRES : FEET)]);
  facts.push(["Seen", seenFrom(plane.points, plane.observed)], ["Scatter of its points", `${(1000 * plane.residual_rms).toFixed(0)} mm`]);
  const beside = [
    ...new Set(found.edges.filter((e) => e.planes.includes(plane.id)).flatMap((e) => e.planes)),
  ].filter((id) => id !== plane.id);
  return (
    <>
      <Facts facts={facts} />
      <h3>Correct</h3>
      <KnownPitch plane={plane} />
      {beside.length > 0 && <Merge plane={plane} beside={beside} />}
      <Split plane={plane} />
      <button type="button" disabled={!!working.value} onClick={() => correct({ edit: "exclude_plane", plane: plane.id })}>
        Do not count plane {plane.id}
      </button>
    </>
  );
}

function Ask({ onSubmit, children, label }: { onSubmit: () => void; children: ComponentChildren; label: string }) {
  return (
    <form
      class="row"
      aria-label={label}
      onSubmit={(event) => {
        event.preventDefault();
        if (!working.value) onSubmit();
      }}
    >
      {children}
    </form>
  );
}

function KnownPitch({ plane }: { plane: Plane }) {
  const value = useSignal("");
  const fault = useSignal("");
  const u = useSignal(String(GAUGE_U_DEG));
  const forced = useSignal(false);
  return (
    <Ask
      label="Known pitch"
      onSubmit={() => {
        const typed = Number(value.value.replace(",", "."));
        const degrees = metric.value ? typed : (Math.atan2(typed, 12) * 180) / Math.PI;
        const doubt = Number(u.value);
        if (!(typed > 0) || !(degrees < 89) || !(doubt > 0)) {
          fault.value = metric.value ? "need degrees above 0, and u above 0" : "need inches of rise in 12, and u above 0";
          return;
        }
        fault.value = "";
        const rad = Math.PI / 180;
        void correct({ edit: "fix_pitch", plane: plane.id, pitch_rad: degrees * rad, u_rad: doubt * rad, forced: forced.value });
      }}
    >
      <label>
        Known pitch, {metric.value ? "degrees" : "rise in 12"}
        <input size={5} inputMode="decimal" value={value.value} onInput={(e) => (value.value = e.currentTarget.value)} />
      </label>
      <label>
        u, degrees
        <input size={4} inputMode="decimal" value={u.value} onInput={(e) => (u.value = e.currentTarget.value)} />
      </label>
      <Forced forced={forced} />
      <button type="submit">Use</button>
      {fault.value && <span class="fault" role="alert">{fault.value}</span>}
    </Ask>
  );
}

function Forced({ forced }: { forced: Signal<boolean> }) {
  return (
    <label class="check">
      <input type="checkbox" checked={forced.value} onChange={(e) => (forced.value = e.currentTarget.checked)} />
      even in conflict with the roof
    </label>
  );
}

function Merge({ plane, beside }: { plane: Plane; beside: string[] }) {
  const other = useSignal(beside[0]);
  return (
    <Ask label="Merge" onSubmit={() => correct({ edit: "merge_planes", first: plane.id, second: other.value })}>
      <label>
        One plane with
        <select value={other.value} onChange={(event) => (other.value = event.currentTarget.value)}>
          {beside.map((id) => (
            <option key={id}>{id}</option>
          ))}
        </select>
      </label>
      <button type="submit">Merge</button>
    </Ask>
  );
}

function Split({ plane }: { plane: Plane }) {
  const tool = splitting.value;
  useEffect(() => () => void (splitting.value = null), []);
  if (!tool)
    return (
      <button type="button" onClick={() => (splitting.value = { plane: plane.id })}>
        Split by a line …
      </button>
    );
  const apply = async () => {
    const { start, end } = tool;
    splitting.value = null;
    await correct({ edit: "split_plane", plane: plane.id, start, end, kind: "unknown", u_m: 0.05 });
  };
  return (
    <div class="row">
      <span>{tool.end ? "The line is drawn." : "Click the line's two ends on the plan."}</span>
      <button type="button" class="main" disabled={!tool.end || !!working.value} onClick={apply}>
        Split
      </button>
      <button type="button" onClick={() => (splitting.value = null)}>
        Leave it
      </button>
    </div>
  );
}

function OfEdge({ edge }: { edge: Edge }) {
  const found = roof.value!.roof;
  const unit = metric.value ? METRES : FEET;
  const length: [string, string] = ["Length", withBound(edge.length, unit)];
  if (!metric.value) length[1] += ` (${feetAndInches(edge.length.value)})`;
  const facts: [string, string][] = [
    length,
    ["Planes", edge.planes.join(" and ") || "none"],
    ["Seen", seenFrom(null, edge.observed)],
    ["Why", `${nameOf(edge.kind)}: ${(LOOKS[edge.kind] ?? LOOKS.unknown).why}; ${reasons(edge, found)}`],
  ];
  const kinds = isFree(edge) ? KINDS.filter((kind) => !OF_TWO.includes(kind) || kind === "unknown") : OF_TWO;
  return (
    <>
      <Facts facts={facts} />
      <h3>Correct</h3>
      <Ask label="Kind" onSubmit={() => undefined}>
        <label>
          Is called
          <select
            value={edge.kind}
            disabled={!!working.value}
            onChange={(event) => correct({ edit: "set_kind", edge: edge.id, kind: event.currentTarget.value })}
          >
            {[...new Set([edge.kind, ...kinds])].map((kind) => (
              <option key={kind} value={kind}>
                {nameOf(kind)}
              </option>
            ))}
          </select>
        </label>
      </Ask>
      <KnownLength edge={edge} />
      {isFree(edge) && <Move edge={edge} />}
    </>
  );
}

function KnownLength({ edge }: { edge: Edge }) {
  const value = useSignal("");
  const u = useSignal(metric.value ? String(TAPE_U_M) : "0.02");
  const fault = useSignal("");
  const forced = useSignal(false);
  return (
    <Ask
      label="Known length"
      onSubmit={() => {
        const length_m = readLength(value.value, metric.value);
        const u_m = readLength(u.value, metric.value);
        if (!length_m || !u_m) {
          fault.value = metric.value ? "need metres, like 4.25" : `need feet, like 13.5 or 13' 6"`;
          return;
        }
        fault.value = "";
        void correct({ edit: "fix_length", edge: edge.id, length_m, u_m, forced: forced.value });
      }}
    >
      <label>
        Known length, {metric.value ? "m" : "ft"}
        <input size={8} value={value.value} onInput={(e) => (value.value = e.currentTarget.value)} />
      </label>
      <label>
        u, {metric.value ? "m" : "ft"}
        <input size={5} value={u.value} onInput={(e) => (u.value = e.currentTarget.value)} />
      </label>
      <Forced forced={forced} />
      <button type="submit">Use</button>
      {fault.value && <span class="fault" role="alert">{fault.value}</span>}
    </Ask>
  );
}

function Move({ edge }: { edge: Edge }) {
  const value = useSignal("");
  const fault = useSignal("");
  return (
    <Ask
      label="Move"
      onSubmit={() => {
        const text = value.value.trim();
        const away = readLength(text.replace(/^[-−+]/, ""), metric.value);
        if (!away) {
          fault.value = "need a length, with - in front for inward";
          return;
        }
        fault.value = "";
        void correct({ edit: "move_boundary", edge: edge.id, by_m: /^[-−]/.test(text) ? -away : away });
      }}
    >
      <label>
        Move outward by, {metric.value ? "m" : "ft"}
        <input size={7} value={value.value} onInput={(e) => (value.value = e.currentTarget.value)} />
      </label>
      <button type="submit">Move</button>
      {fault.value && <span class="fault" role="alert">{fault.value}</span>}
      <p class="note">Or drag the ring on the plan.</p>
    </Ask>
  );
}
