// Where cameras stood: projecting, rays, and where several rays meet.  OpenCV axes: x right, y down, z forward.
import type { Xyz } from "./types";

export interface Camera {
  name: string;
  width: number;
  height: number;
  focal: number;
  centre: [number, number];
  k1: number;
  k2: number;
  rotation: [Xyz, Xyz, Xyz]; // world to camera
  translation: Xyz;
}
export type Pixel = [number, number];

const STEPS = 20; // of taking distortion off; lenses of cameras and telephones converge in fewer

const dot = (a: Xyz, b: Xyz) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

export function project(camera: Camera, at: Xyz): Pixel | null {
  const [x, y, z] = camera.rotation.map((row, i) => dot(row, at) + camera.translation[i]);
  if (z <= 0.05) return null;
  const [u, v] = [x / z, y / z];
  const r2 = u * u + v * v;
  const bend = 1 + camera.k1 * r2 + camera.k2 * r2 * r2;
  if (bend <= 0 || r2 > 9) return null; // far outside of what the lens saw
  return [camera.focal * bend * u + camera.centre[0], camera.focal * bend * v + camera.centre[1]];
}

export function standpoint(camera: Camera): Xyz {
  return [0, 1, 2].map((i) => -camera.rotation.reduce((sum, row, j) => sum + row[i] * camera.translation[j], 0)) as Xyz;
}

export function ray(camera: Camera, pixel: Pixel): Xyz {
  const bu = (pixel[0] - camera.centre[0]) / camera.focal;
  const bv = (pixel[1] - camera.centre[1]) / camera.focal;
  let [u, v] = [bu, bv];
  for (let i = 0; i < STEPS; i++) {
    const r2 = u * u + v * v;
    const bend = 1 + camera.k1 * r2 + camera.k2 * r2 * r2;
    [u, v] = [bu / bend, bv / bend];
  }
  const flat: Xyz = [u, v, 1];
  const world = [0, 1, 2].map((i) => camera.rotation.reduce((sum, row, j) => sum + row[i] * flat[j], 0)) as Xyz;
  const size = Math.sqrt(dot(world, world));
  return world.map((c) => c / size) as Xyz;
}

// The point nearest to all rays: sum of (I - d d') (x - c) = 0.  None where rays are nearly parallel.
export function meet(seen: { camera: Camera; pixel: Pixel }[]): Xyz | null {
  const m = [0, 0, 0, 0, 0, 0, 0, 0, 0];
  const b = [0, 0, 0];
  for (const { camera, pixel } of seen) {
    const [d, c] = [ray(camera, pixel), standpoint(camera)];
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < 3; j++) {
        const p = (i === j ? 1 : 0) - d[i] * d[j];
        m[3 * i + j] += p;
        b[i] += p * c[j];
      }
  }
  const cofactor = (i: number, j: number) => {
    const [r, s] = [0, 1, 2].filter((k) => k !== i);
    const [t, w] = [0, 1, 2].filter((k) => k !== j);
    return ((i + j) % 2 ? -1 : 1) * (m[3 * r + t] * m[3 * s + w] - m[3 * r + w] * m[3 * s + t]);
  };
  const det = m[0] * cofactor(0, 0) + m[1] * cofactor(0, 1) + m[2] * cofactor(0, 2);
  if (det < 1e-5 * seen.length ** 3) return null;
  return [0, 1, 2].map((i) => (cofactor(0, i) * b[0] + cofactor(1, i) * b[1] + cofactor(2, i) * b[2]) / det) as Xyz;
}

// Where a point on the ray of one photo may lie in another: a polyline, from near to far.
export function epipolar(from: Camera, pixel: Pixel, to: Camera): Pixel[] {
  const [d, c] = [ray(from, pixel), standpoint(from)];
  const found: Pixel[] = [];
  for (let i = 0; i <= 90; i++) {
    const depth = 0.5 * 10 ** (i / 30); // half a metre to half a kilometre
    const at = project(to, [c[0] + depth * d[0], c[1] + depth * d[1], c[2] + depth * d[2]]);
    if (at) found.push(at);
  }
  return found;
}
