// The plan as a drawing to work on: choose faces and edges, drag a free edge, draw the line that splits a plane.
import { useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { checks } from "./checks";
import { cssColour } from "./colour";
import { isFree, LOOKS, nameOf } from "./kinds";
import { chosen, correct, metric, pointed, roof, working } from "./state";
import { splitting } from "./tools";
import type { Edge, Plane, Roof, Xyz } from "./types";
import { lengthText, pitchText } from "./units";

interface Box {
  x: number;
  y: number;
  width: number;
  height: number;
}
type Spot = [number, number];

const MARGIN = 0.09; // of the roof's size round the drawing
const MOST_ZOOM = 20;

export function Plan() {
  const data = roof.value;
  const svg = useRef<SVGSVGElement>(null);
  const view = useSignal<Box | null>(null);
  const drag = useSignal<{ edge: string; by: number } | null>(null);
  const pan = useRef<{ x: number; y: number; box: Box; moved: boolean } | null>(null);
  const key = data?.roof.frame.origin.join() ?? "";
  useEffect(() => {
    view.value = null;
  }, [key]);
  useEffect(() => {
    const element = svg.current;
    const wheel = (event: WheelEvent) => {
      event.preventDefault();
      const at = spot(event);
      zoom(Math.exp(event.deltaY * 0.0015), [at[0], -at[1]]);
    };
    element?.addEventListener("wheel", wheel, { passive: false });
    return () => element?.removeEventListener("wheel", wheel);
  });
  if (!data) return null;
  const whole = around(data.roof);
  const box = view.value ?? whole;
  const unit = Math.max(box.width, box.height) / 100; // one per cent of what is seen [m]

  function spot(event: { clientX: number; clientY: number }): Spot {
    const matrix = svg.current!.getScreenCTM()!.inverse();
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix);
    return [at.x, -at.y];
  }
  function zoom(factor: number, about: Spot) {
    const share = Math.min(Math.max(factor, whole.width / MOST_ZOOM / box.width), (2 * whole.width) / box.width);
    view.value = {
      x: about[0] + (box.x - about[0]) * share,
      y: about[1] + (box.y - about[1]) * share,
      width: box.width * share,
      height: box.height * share,
    };
  }
  function press(event: PointerEvent) {
    if (splitting.value) return;
    pan.current = { x: event.clientX, y: event.clientY, box, moved: false };
    (event.currentTarget as Element).setPointerCapture(event.pointerId);
  }
  function move(event: PointerEvent) {
    const from = pan.current;
    if (!from) return;
    const perPixel = 1 / (svg.current!.getScreenCTM()?.a || 1);
    const [dx, dy] = [event.clientX - from.x, event.clientY - from.y];
    if (Math.hypot(dx, dy) > 4) from.moved = true;
    if (from.moved) view.value = { ...from.box, x: from.box.x - dx * perPixel, y: from.box.y - dy * perPixel };
  }
  function release(event: PointerEvent) {
    const still = pan.current && !pan.current.moved;
    pan.current = null;
    if (!still) return;
    const at = document.elementFromPoint(event.clientX, event.clientY)?.closest("[data-id]");
    const kind = at?.getAttribute("data-what");
    const id = at?.getAttribute("data-id");
    pointed.value = [];
    chosen.value = id && (kind === "plane" || kind === "edge") ? { kind, id } : null;
  }
  function splitAt(event: MouseEvent) {
    const tool = splitting.value;
    if (!tool) return;
    const at = spot(event);
    if (!tool.start) splitting.value = { ...tool, start: at };
    else splitting.value = { ...tool, end: at };
  }
  const on = new Set([...(chosen.value ? [chosen.value.id] : []), ...pointed.value]);
  const edge = chosen.value?.kind === "edge" ? data.roof.edges.find((e) => e.id === chosen.value!.id) : undefined;
  const line = splitting.value;
  return (
    <figure class="plan">
      <svg
        ref={svg}
        class={line ? "plan-svg cross" : "plan-svg"}
        viewBox={`${box.x} ${box.y} ${box.width} ${box.height}`}
        role="img"
        aria-label={`Plan of the roof: ${data.roof.planes.length} planes, ${data.roof.edges.length} edges. The tables list them.`}
        onPointerDown={press}
        onPointerMove={move}
        onPointerUp={release}
        onClick={splitAt}
      >
        {data.roof.planes.map((plane) => (
          <path
            key={plane.id}
            d={[plane.outline, ...plane.holes].map(ring).join("")}
            fill={on.has(plane.id) ? "#e8b4a8" : cssColour(plane.pitch_deg.value)}
            fill-rule="evenodd"
            data-id={plane.id}
            data-what="plane"
            class={plane.observed < 0.5 ? "face inferred" : "face"}
          />
        ))}
        {data.roof.edges.map((e) => (
          <EdgeLine key={e.id} edge={e} on={on.has(e.id)} unit={unit} />
        ))}
        {data.roof.planes.map((plane) => (
          <PlaneText key={plane.id} plane={plane} unit={unit} />
        ))}
        {data.roof.edges.map((e) => (
          <EdgeText key={e.id} edge={e} roof={data.roof} unit={unit} on={on.has(e.id)} />
        ))}
        {edge && isFree(edge) && <Handle edge={edge} roof={data.roof} unit={unit} drag={drag} spot={spot} />}
        {line?.start && (
          <line
            class="split-line"
            x1={line.start[0]}
            y1={-line.start[1]}
            x2={(line.end ?? line.start)[0]}
            y2={-(line.end ?? line.start)[1]}
            stroke-width={unit * 0.5}
            stroke-linecap="round"
          />
        )}
      </svg>
      <figcaption class="view-tools">
        <button type="button" onClick={() => zoom(0.7, middle(box))} aria-label="Plan larger">
          +
        </button>
        <button type="button" onClick={() => zoom(1.4, middle(box))} aria-label="Plan smaller">
          −
        </button>
        <button type="button" onClick={() => (view.value = null)}>
          Whole roof
        </button>
        {line && (
          <span role="status">
            {line.end ? "Split along this line?" : line.start ? "Click the line's other end." : "Click one end of the line."}
          </span>
        )}
        {drag.value && <span role="status">{dragText(drag.value.by)}</span>}
        <span class="north" title="grid north">
          N ↑
        </span>
      </figcaption>
    </figure>
  );
}

const ring = (corners: Xyz[]) => "M" + corners.map(([x, y]) => `${x.toFixed(4)} ${(-y).toFixed(4)}`).join("L") + "Z";
const middle = (box: Box): Spot => [box.x + box.width / 2, box.y + box.height / 2];
const dragText = (by: number) => `${by >= 0 ? "outward" : "inward"} by ${lengthText(Math.abs(by), metric.value)}`;

function around(found: Roof): Box {
  const corners = found.planes.flatMap((plane) => plane.outline);
  const xs = corners.map((c) => c[0]);
  const ys = corners.map((c) => -c[1]);
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const room = MARGIN * Math.max(x1 - x0, y1 - y0);
  return { x: x0 - room, y: y0 - room, width: x1 - x0 + 2 * room, height: y1 - y0 + 2 * room };
}

function EdgeLine({ edge, on, unit }: { edge: Edge; on: boolean; unit: number }) {
  const look = LOOKS[edge.kind] ?? LOOKS.unknown;
  const place = { x1: edge.start[0], y1: -edge.start[1], x2: edge.end[0], y2: -edge.end[1] };
  return (
    <g data-id={edge.id} data-what="edge" class="edge">
      <line
        {...place}
        stroke={on ? "#b3261e" : "#1a1a1a"}
        stroke-width={look.width * unit * (on ? 0.9 : 0.55)}
        stroke-dasharray={look.dashes.map((d) => d * unit * 0.6).join(" ") || undefined}
      />
      <line {...place} stroke="transparent" stroke-width={2.4 * unit} class="hit">
        <title>
          {edge.id} {nameOf(edge.kind)}
        </title>
      </line>
    </g>
  );
}

function PlaneText({ plane, unit }: { plane: Plane; unit: number }) {
  const [x, y] = inside(plane);
  return (
    <text class="plane-text" x={x} y={-y} font-size={2.6 * unit} text-anchor="middle">
      <tspan font-weight="bold">{plane.id}</tspan>
      <tspan x={x} dy={2.6 * unit} font-size={2 * unit}>
        {pitchText(plane, metric.value)}
      </tspan>
    </text>
  );
}

function EdgeText({ edge, roof: found, unit, on }: { edge: Edge; roof: Roof; unit: number; on: boolean }) {
  const length = Math.hypot(edge.end[0] - edge.start[0], edge.end[1] - edge.start[1]);
  if (length < 7 * unit && !on) return null;
  const [nx, ny] = outward(edge, found);
  const x = (edge.start[0] + edge.end[0]) / 2 + nx * 1.6 * unit;
  const y = -(edge.start[1] + edge.end[1]) / 2 - ny * 1.6 * unit;
  let angle = (-Math.atan2(edge.end[1] - edge.start[1], edge.end[0] - edge.start[0]) * 180) / Math.PI;
  if (angle > 90) angle -= 180;
  if (angle <= -90) angle += 180;
  const taped = checks.value?.tape?.readings.find((one) => one.edges.includes(edge.id))?.verdict;
  const verdict = taped === "agree" ? " ✓" : taped === "conflict" ? " ≠" : "";
  const text = `${(LOOKS[edge.kind] ?? LOOKS.unknown).letter} ${lengthText(edge.length.value, metric.value)}${verdict}`;
  return (
    <text
      class="edge-text"
      font-size={1.8 * unit}
      text-anchor="middle"
      dominant-baseline="central"
      transform={`translate(${x} ${y}) rotate(${angle})`}
    >
      {edge.observed < 0.5 ? `(${text})` : text}
    </text>
  );
}

// The unit normal in plan, away from the first plane of an edge.
export function outward(edge: Edge, found: Roof): Spot {
  const [dx, dy] = [edge.end[0] - edge.start[0], edge.end[1] - edge.start[1]];
  const length = Math.hypot(dx, dy) || 1;
  const normal: Spot = [dy / length, -dx / length];
  const plane = found.planes.find((p) => p.id === edge.planes[0]);
  if (!plane) return normal;
  const at: Spot = [(edge.start[0] + edge.end[0]) / 2, (edge.start[1] + edge.end[1]) / 2];
  const step = 0.02;
  const within = contains(plane, [at[0] + step * normal[0], at[1] + step * normal[1]]);
  return within ? [-normal[0], -normal[1]] : normal;
}

function contains(plane: Plane, [x, y]: Spot): boolean {
  let odd = false;
  for (const corners of [plane.outline, ...plane.holes])
    for (let i = 0, j = corners.length - 1; i < corners.length; j = i++) {
      const [a, b] = [corners[i], corners[j]];
      if (a[1] > y !== b[1] > y && x < ((b[0] - a[0]) * (y - a[1])) / (b[1] - a[1]) + a[0]) odd = !odd;
    }
  return odd;
}

const spots = new WeakMap<Plane, Spot>();

function inside(plane: Plane): Spot {
  const known = spots.get(plane) ?? roomiest(plane);
  spots.set(plane, known);
  return known;
}

// A spot inside a face with room round it, from a coarse search.
function roomiest(plane: Plane): Spot {
  const xs = plane.outline.map((c) => c[0]);
  const ys = plane.outline.map((c) => c[1]);
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  let best: Spot = [(x0 + x1) / 2, (y0 + y1) / 2];
  let most = -1;
  for (let i = 0.5; i < 12; i++)
    for (let j = 0.5; j < 12; j++) {
      const at: Spot = [x0 + ((x1 - x0) * i) / 12, y0 + ((y1 - y0) * j) / 12];
      if (!contains(plane, at)) continue;
      const room = Math.min(...[plane.outline, ...plane.holes].map((corners) => toRing(at, corners)));
      if (room > most) {
        most = room;
        best = at;
      }
    }
  return best;
}

function toRing([x, y]: Spot, corners: Xyz[]): number {
  let least = Infinity;
  corners.forEach((a, i) => {
    const b = corners[(i + 1) % corners.length];
    const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
    const t = Math.min(Math.max(((x - a[0]) * dx + (y - a[1]) * dy) / (dx * dx + dy * dy || 1), 0), 1);
    least = Math.min(least, Math.hypot(x - a[0] - t * dx, y - a[1] - t * dy));
  });
  return least;
}

interface HandleProps {
  edge: Edge;
  roof: Roof;
  unit: number;
  drag: { value: { edge: string; by: number } | null };
  spot: (event: { clientX: number; clientY: number }) => Spot;
}

function Handle({ edge, roof: found, unit, drag, spot }: HandleProps) {
  const [nx, ny] = outward(edge, found);
  const by = drag.value?.edge === edge.id ? drag.value.by : 0;
  const [x, y] = [(edge.start[0] + edge.end[0]) / 2 + nx * by, (edge.start[1] + edge.end[1]) / 2 + ny * by];
  const from = useRef<Spot | null>(null);
  const moved = [edge.start, edge.end].map(([ex, ey]) => [ex + nx * by, ey + ny * by]);
  return (
    <g
      class="handle"
      onPointerDown={(event) => {
        event.stopPropagation();
        if (working.value) return;
        (event.currentTarget as Element).setPointerCapture(event.pointerId);
        from.current = spot(event);
      }}
      onPointerMove={(event) => {
        if (!from.current) return;
        event.stopPropagation();
        const at = spot(event);
        const along = (at[0] - from.current[0]) * nx + (at[1] - from.current[1]) * ny;
        drag.value = { edge: edge.id, by: along };
      }}
      onPointerUp={(event) => {
        if (!from.current) return;
        event.stopPropagation();
        from.current = null;
        const by_m = Math.round((drag.value?.by ?? 0) * 1e4) / 1e4;
        drag.value = null;
        if (by_m) void correct({ edit: "move_boundary", edge: edge.id, by_m });
      }}
    >
      {by !== 0 && (
        <line class="moved" x1={moved[0][0]} y1={-moved[0][1]} x2={moved[1][0]} y2={-moved[1][1]} stroke-width={unit * 0.4} />
      )}
      <circle cx={x} cy={-y} r={1.5 * unit} data-handle={edge.id}>
        <title>Drag to move this edge and all on its line</title>
      </circle>
    </g>
  );
}
