// Photos with the measured roof drawn over them, choosable like the other views.
import { useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { project, standpoint, type Camera, type Pixel } from "./camera";
import { PhotoCanvas, type Stroke } from "./photo";
import { cameras, photosOf, placeOf, sizeOf } from "./photodata";
import { chosen, pointed, roof, said } from "./state";
import type { Edge, Plane, Xyz } from "./types";

const PICK_PX = 9; // of the screen, from an edge
const PIECES = 12; // an edge is drawn in, since a lens bends it

export function PhotoViews() {
  const photos = photosOf().filter((name) => cameras.value[name]);
  const photo = useSignal("");
  const canvas = useRef<HTMLCanvasElement>(null);
  const view = useRef<PhotoCanvas | null>(null);
  const now = photos.includes(photo.value) ? photo.value : (photos[0] ?? "");
  const current = useRef(now);
  current.current = now;
  useEffect(() => {
    if (!canvas.current) return undefined;
    const made = new PhotoCanvas(canvas.current, (at) => pick(cameras.value[current.current], at, made));
    view.current = made;
    return () => made.dispose();
  }, [photos.length > 0]);
  useEffect(() => {
    if (!now || !view.current) return;
    void (async () => {
      try {
        const [width, height] = await sizeOf(now);
        await view.current?.open(placeOf(now), width, height);
      } catch (error) {
        said.value = { text: error instanceof Error ? error.message : `${now}: cannot be shown`, bad: true };
      }
    })();
  }, [now]);
  useEffect(() => view.current?.show([], now ? overlay(cameras.value[now]) : []));
  if (!photos.length) return <p>Where the photos were taken is not known for this run, so the roof cannot be drawn over them.</p>;
  return (
    <div class="photo-box">
      <label>
        Photo{" "}
        <select value={now} onChange={(event) => (photo.value = event.currentTarget.value)}>
          {photos.map((name) => (
            <option key={name}>{name}</option>
          ))}
        </select>
      </label>
      <canvas ref={canvas} tabIndex={0} role="application" aria-label={`Photo ${now} with the roof drawn over it`} />
    </div>
  );
}

const facing = (plane: Plane, eye: Xyz) => plane.normal.reduce((sum, n, i) => sum + n * eye[i], 0) > plane.offset;

function line(camera: Camera, edge: Edge): Pixel[] {
  const found: Pixel[] = [];
  for (let i = 0; i <= PIECES; i++) {
    const t = i / PIECES;
    const at = project(camera, edge.start.map((a, k) => a + t * (edge.end[k] - a)) as Xyz);
    if (at) found.push(at);
  }
  return found;
}

function overlay(camera: Camera): Stroke[] {
  const found = roof.value!.roof;
  const eye = standpoint(camera);
  const on = new Set([...(chosen.value ? [chosen.value.id] : []), ...pointed.value]);
  const seen = new Set(found.planes.filter((plane) => facing(plane, eye)).map((plane) => plane.id));
  const faces: Stroke[] = found.planes
    .filter((plane) => on.has(plane.id))
    .map((plane) => ({
      points: plane.outline.map((corner) => project(camera, corner)).filter((p): p is Pixel => p !== null),
      colour: "#b3261e", width: 1, fill: "#b3261e33",
    })); // prettier-ignore
  const edges: Stroke[] = found.edges
    .filter((edge) => edge.planes.some((id) => seen.has(id)))
    .map((edge) => ({ points: line(camera, edge), colour: on.has(edge.id) ? "#b3261e" : "#111111", width: on.has(edge.id) ? 3 : 1.5 }));
  return [...faces, ...edges];
}

function pick(camera: Camera, at: Pixel, view: PhotoCanvas) {
  const found = roof.value!.roof;
  const eye = standpoint(camera);
  const [x, y] = view.screenOf(at);
  let best: { id: string; away: number } | null = null;
  for (const edge of found.edges) {
    const points = line(camera, edge).map((p) => view.screenOf(p));
    for (let i = 1; i < points.length; i++) {
      const [a, b] = [points[i - 1], points[i]];
      const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
      const t = Math.min(Math.max(((x - a[0]) * dx + (y - a[1]) * dy) / (dx * dx + dy * dy || 1), 0), 1);
      const away = Math.hypot(x - a[0] - t * dx, y - a[1] - t * dy);
      if (away < PICK_PX && (!best || away < best.away)) best = { id: edge.id, away };
    }
  }
  pointed.value = [];
  if (best) {
    chosen.value = { kind: "edge", id: best.id };
    return;
  }
  const hit = found.planes
    .filter((plane) => facing(plane, eye))
    .find((plane) => within(at, plane.outline.map((corner) => project(camera, corner)).filter((p): p is Pixel => p !== null)));
  chosen.value = hit ? { kind: "plane", id: hit.id } : null;
}

function within([x, y]: Pixel, ring: Pixel[]): boolean {
  let odd = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
    const [a, b] = [ring[i], ring[j]];
    if (a[1] > y !== b[1] > y && x < ((b[0] - a[0]) * (y - a[1])) / (b[1] - a[1]) + a[0]) odd = !odd;
  }
  return odd;
}
