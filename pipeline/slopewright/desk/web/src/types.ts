// What the server sends: roof.json and takeoff.json as their schemas have them, and what the desk adds.

export interface M {
  value: number;
  u: number;
  low: number;
  high: number;
}
export type Xyz = [number, number, number];
export interface Plane {
  id: string;
  normal: Xyz;
  offset: number;
  outline: Xyz[];
  holes: Xyz[][];
  area: M;
  plan_area: M;
  pitch_deg: M;
  rise_in_12: M;
  azimuth_deg: M;
  eave_height: M | null;
  points: number;
  residual_rms: number;
  observed: number;
}
export interface Edge {
  id: string;
  kind: string;
  start: Xyz;
  end: Xyz;
  length: M;
  planes: string[];
  observed: number;
}
export interface RoofObject {
  id: string;
  kind: string;
  plane: string;
  position: Xyz;
  size: [number, number];
}
export interface Warning {
  code: string;
  text: string;
  about: string[];
}
export interface Roof {
  frame: { unit: string; crs: string | null; origin: Xyz };
  planes: Plane[];
  edges: Edge[];
  objects: RoofObject[];
  totals: { area: M; plan_area: M; by_pitch: { rise_in_12: number; area: M }[]; edges: Record<string, M> };
  budget: { source: string; area_share: number }[];
}
export interface Line {
  item: string;
  phase: string;
  unit: string;
  net: M;
  waste: M;
  order: { quantity: number; unit: string; chance_short: number } | null;
  status: string;
  from: string[];
  rule: string;
  source: string;
}
export interface Takeoff {
  system: string;
  lines: Line[];
  classes: { rise_in_12_from: number; to: number; storeys: number | null; area: M }[];
}
export type Edit = { edit: string } & Record<string, unknown>;
export interface RoofData {
  roof: Roof;
  takeoff: Takeoff;
  not_certified: string[];
  warnings: Warning[];
  options: { metric: boolean; at: [number, number] | null; unit: string | null };
  other_roofs: { id: string; plan_area_m2: number; at: [number, number] }[];
  chosen: string;
  files: string[];
  version: string;
  journal: Edit[];
  redo: Edit[];
  system: string;
}
export interface Run {
  number: number;
  job: string;
  state: "queued" | "running" | "done" | "failed" | "refused" | "cancelled";
  stages: string[];
  log: { name: string; began: number; ended: number | null }[];
  message: string;
  queued: number;
  started: number | null;
  ended: number | null;
  share: number | null;
  left_s: number | null;
  now: number;
}
export interface JobLine {
  id: string;
  name: string;
  photos: number;
  clouds: number;
  n_bytes: number;
  changed: number;
  state: Run["state"] | null;
  result: { area: M; planes: number; certified: boolean } | null;
}
export interface JobFile {
  name: string;
  kind: string;
  size: number;
  changed: number;
}
export type Form = Record<string, any>;
export interface Job extends JobLine {
  form: Form | null;
  form_fault: string;
  problem: string;
  files: JobFile[];
  run: Run | null;
  systems: string[];
  usual_system: string;
}
export interface Mark {
  name: string;
  u_px: number;
  photos: Record<string, [number, number]>;
}
