// How kinds of edges look and why an edge is called what it is called; strokes are those of the plan drawing.
import type { Edge, Roof } from "./types";

export interface Look {
  letter: string;
  width: number; // [mm on paper]
  dashes: number[];
  why: string;
}
export const LOOKS: Record<string, Look> = {
  ridge: { letter: "R", width: 0.9, dashes: [], why: "a level crease from which both planes fall away" },
  hip: { letter: "H", width: 0.5, dashes: [5, 1, 1, 1], why: "a sloping crease from which both planes fall away" },
  valley: { letter: "V", width: 0.6, dashes: [2, 1.1], why: "a crease towards which both planes fall" },
  eave: { letter: "E", width: 0.45, dashes: [], why: "a free edge along the contour, at the foot of its plane" },
  rake: { letter: "K", width: 0.2, dashes: [], why: "a free edge that runs with the slope" },
  sidewall: { letter: "S", width: 0.3, dashes: [0.6, 0.6], why: "an end along the slope against something that goes up" },
  headwall: { letter: "W", width: 0.3, dashes: [1.2, 0.5], why: "an upper end against something that goes up" },
  pitch_break: { letter: "B", width: 0.35, dashes: [0.4, 1], why: "a crease of two planes that fall the same way" },
  parapet: { letter: "P", width: 0.3, dashes: [0.3, 0.3], why: "an end behind a raised edge" },
  unknown: { letter: "U", width: 0.3, dashes: [3, 1.5, 0.4, 1.5], why: "neither rule fits, or a person said so" },
};
export const KINDS = Object.keys(LOOKS);
export const OF_TWO = ["ridge", "hip", "valley", "pitch_break", "unknown"];
export const nameOf = (kind: string) => kind.replace("_", " ");

export function isFree(edge: Edge): boolean {
  return edge.planes.length === 1;
}

// What of the measured geometry speaks for the kind.
export function reasons(edge: Edge, roof: Roof): string {
  const run = Math.hypot(edge.end[0] - edge.start[0], edge.end[1] - edge.start[1]);
  const fall = (Math.atan2(Math.abs(edge.end[2] - edge.start[2]), run) * 180) / Math.PI;
  const level = `it falls by ${fall.toFixed(1)}° along its length`;
  const planes = roof.planes.filter((plane) => edge.planes.includes(plane.id));
  if (planes.length < 2) {
    const plane = planes[0];
    if (!plane) return level;
    const along = Math.abs((Math.atan2(edge.end[0] - edge.start[0], edge.end[1] - edge.start[1]) * 180) / Math.PI);
    const off = Math.abs(((along - plane.azimuth_deg.value + 540) % 180) - 90);
    return `${level}, ${off.toFixed(0)}° off the contour of plane ${plane.id}`;
  }
  const [a, b] = planes;
  const cosine = a.normal[0] * b.normal[0] + a.normal[1] * b.normal[1] + a.normal[2] * b.normal[2];
  const bend = (Math.acos(Math.min(Math.max(cosine, -1), 1)) * 180) / Math.PI;
  return `${level}; planes ${a.id} and ${b.id} bend by ${bend.toFixed(1)}° there`;
}
