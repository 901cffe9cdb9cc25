// Planes and edges as tables: the way through the roof by keyboard and by screen reader.
import type { ComponentChildren } from "preact";
import { cssColour } from "./colour";
import { KINDS, LOOKS, nameOf } from "./kinds";
import { chosen, metric, pointed, roof, type Chosen } from "./state";
import { FEET, METRES, percent, pitchText, SQUARE_FEET, SQUARE_METRES, withBound } from "./units";

function Pick({ what, children }: { what: Chosen; children: ComponentChildren }) {
  const on = chosen.value?.id === what.id;
  return (
    <button
      type="button"
      class="pick"
      aria-pressed={on}
      onClick={() => {
        pointed.value = [];
        chosen.value = on ? null : what;
      }}
    >
      {children}
    </button>
  );
}

const rowClass = (id: string) => (chosen.value?.id === id || pointed.value.includes(id) ? "on" : "");

export function PlaneTable() {
  const unit = metric.value ? SQUARE_METRES : SQUARE_FEET;
  return (
    <section aria-labelledby="planes">
      <h2 id="planes">Planes</h2>
      <div class="scroll">
        <table>
          <thead>
            <tr>
              <th scope="col">Plane</th>
              <th scope="col" class="number">Pitch</th>
              <th scope="col" class="number">Area, 95 %</th>
              <th scope="col" class="number">Faces</th>
              <th scope="col" class="number">Seen</th>
            </tr>
          </thead>
          <tbody>
            {roof.value!.roof.planes.map((plane) => (
              <tr key={plane.id} class={rowClass(plane.id)}>
                <th scope="row">
                  <Pick what={{ kind: "plane", id: plane.id }}>
                    <Swatch colour={cssColour(plane.pitch_deg.value)} /> {plane.id}
                  </Pick>
                </th>
                <td class="number">{pitchText(plane, metric.value)}</td>
                <td class="number">{withBound(plane.area, unit)}</td>
                <td class="number">{Math.round(plane.azimuth_deg.value)}°</td>
                <td class="number">
                  {percent(plane.observed)}
                  {plane.observed < 0.5 && " (inferred)"}
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

function Swatch({ colour }: { colour: string }) {
  return (
    <svg class="swatch" viewBox="0 0 10 10" aria-hidden="true">
      <rect width="10" height="10" fill={colour} stroke="#1a1a1a" />
    </svg>
  );
}

export function Stroke({ kind }: { kind: string }) {
  const look = LOOKS[kind] ?? LOOKS.unknown;
  return (
    <svg class="stroke" viewBox="0 0 40 10" aria-hidden="true">
      <line x1="1" y1="5" x2="39" y2="5" stroke="#1a1a1a" stroke-width={look.width * 3.4} stroke-dasharray={look.dashes.map((d) => d * 2.4).join(" ") || undefined} />
    </svg>
  ); // prettier-ignore
}

export function EdgeTable() {
  const { edges, totals } = roof.value!.roof;
  const unit = metric.value ? METRES : FEET;
  const ordered = [...edges].sort(
    (a, b) => KINDS.indexOf(a.kind) - KINDS.indexOf(b.kind) || b.length.value - a.length.value,
  );
  return (
    <section aria-labelledby="edges">
      <h2 id="edges">Edges</h2>
      <p class="totals">
        {KINDS.filter((kind) => totals.edges[kind]).map((kind) => (
          <span key={kind}>
            <Stroke kind={kind} /> {LOOKS[kind].letter} {nameOf(kind)} {withBound(totals.edges[kind], unit)}
          </span>
        ))}
      </p>
      <div class="scroll tall" tabIndex={0} role="group" aria-labelledby="edges">
        <table>
          <thead>
            <tr>
              <th scope="col">Edge</th>
              <th scope="col">Kind</th>
              <th scope="col" class="number">Length, 95 %</th>
              <th scope="col">Planes</th>
              <th scope="col" class="number">Seen</th>
            </tr>
          </thead>
          <tbody>
            {ordered.map((edge) => (
              <tr key={edge.id} class={rowClass(edge.id)}>
                <th scope="row">
                  <Pick what={{ kind: "edge", id: edge.id }}>{edge.id}</Pick>
                </th>
                <td>
                  <Stroke kind={edge.kind} /> {LOOKS[edge.kind]?.letter} {nameOf(edge.kind)}
                </td>
                <td class="number">{withBound(edge.length, unit)}</td>
                <td>{edge.planes.join(", ")}</td>
                <td class="number">
                  {percent(edge.observed)}
                  {edge.observed < 0.5 && " (inferred)"}
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}
