// Numbers as people read them; the rules are those of the report: no more digits than are known, bounds rounded up.
import type { M } from "./types";

const FOOT_M = 0.3048;
const INCH_M = 0.0254;

export interface Unit {
  name: string;
  si: number;
  decimals: number;
}
export const FEET: Unit = { name: "ft", si: FOOT_M, decimals: 1 };
export const SQUARE_FEET: Unit = { name: "sq ft", si: FOOT_M ** 2, decimals: 0 };
export const SQUARES: Unit = { name: "squares", si: 100 * FOOT_M ** 2, decimals: 2 };
export const METRES: Unit = { name: "m", si: 1, decimals: 2 };
export const SQUARE_METRES: Unit = { name: "m²", si: 1, decimals: 1 };
export const DEGREES: Unit = { name: "°", si: 1, decimals: 2 };
export const IN_12: Unit = { name: "in 12", si: 1, decimals: 2 };

export const fixed = (value: number, decimals: number) =>
  (Math.abs(value) < 0.5 * 10 ** -decimals ? 0 : value).toLocaleString("en-US", {
    minimumFractionDigits: decimals,
    maximumFractionDigits: decimals,
  });

function boundDecimals(half: number, most: number): number {
  if (!(half > 0)) return most;
  return Math.min(Math.max(1 - Math.floor(Math.log10(half)), 0), most);
}

function roundedBound(half: number, decimals: number): number {
  const step = 10 ** -decimals;
  const nearest = Math.round(half / step) * step;
  return nearest < half * 0.99 ? Math.ceil(half / step) * step : nearest;
}

export function withBound(m: M, unit: Unit): string {
  const half = (m.high - m.low) / 2 / unit.si;
  const decimals = boundDecimals(half, unit.decimals);
  const value = fixed(m.value / unit.si, decimals);
  if (Math.abs(m.value - (m.low + m.high) / 2) > 0.02 * half * unit.si)
    return `${value} ${unit.name} (${fixed(m.low / unit.si, decimals)} to ${fixed(m.high / unit.si, decimals)})`;
  return `${value} ${unit.name} ± ${fixed(roundedBound(half, decimals), decimals)}`;
}

export function between(m: M, unit: Unit): string {
  const decimals = boundDecimals((m.high - m.low) / 2 / unit.si, unit.decimals);
  return `${fixed(m.low / unit.si, decimals)} and ${fixed(m.high / unit.si, decimals)} ${unit.name}`;
}

export function feetAndInches(length_m: number): string {
  const halves = Math.round((Math.abs(length_m) / INCH_M) * 2);
  const feet = Math.floor(halves / 24);
  const inches = Math.floor((halves % 24) / 2);
  return `${length_m < 0 && halves ? "−" : ""}${feet}' ${inches}${halves % 2 ? "½" : ""}"`;
}

export const lengthText = (length_m: number, metric: boolean) =>
  metric ? `${length_m.toFixed(2)} m` : feetAndInches(length_m);

export const pitchText = (m: { pitch_deg: M; rise_in_12: M }, metric: boolean) =>
  metric ? `${m.pitch_deg.value.toFixed(1)}°` : `${Math.round(2 * m.rise_in_12.value) / 2} in 12`;

export function percent(share: number): string {
  if (share > 0 && share < 0.005) return "under 1 %";
  if (share > 0.995 && share < 1) return "over 99 %";
  return `${Math.round(100 * share)} %`;
}

export const bytesText = (n: number) =>
  n >= 1e9 ? `${(n / 1e9).toFixed(1)} GB` : n >= 1e6 ? `${(n / 1e6).toFixed(1)} MB` : `${Math.ceil(n / 1e3)} kB`;

export function durationText(seconds: number): string {
  if (seconds < 90) return `${Math.max(Math.round(seconds), 1)} s`;
  if (seconds < 5400) return `${Math.round(seconds / 60)} min`;
  return `${(seconds / 3600).toFixed(1)} h`;
}

// A length that a person typed, in metres: 12.5 (feet or metres), 12' 6 1/2", 12 ft 6 in, 3.81 m.
export function readLength(text: string, metric: boolean): number | null {
  const plain = text.trim().toLowerCase().replace(/½/g, " 1/2").replace(/″|”|in(ch(es)?)?\.?$/g, '"');
  const number = String.raw`(\d+(?:\.\d+)?)`;
  const single = plain.match(new RegExp(`^${number}\\s*(m|ft|'|")?$`));
  if (single) {
    const unit = single[2] ?? (metric ? "m" : "ft");
    return Number(single[1]) * (unit === "m" ? 1 : unit === '"' ? INCH_M : FOOT_M);
  }
  const both = plain.match(new RegExp(`^(\\d+)\\s*(?:'|ft)\\s*${number}?(?:\\s*(\\d+)/(\\d+))?\\s*"?$`));
  if (!both || (both[4] !== undefined && Number(both[4]) === 0)) return null;
  const inches = Number(both[2] ?? 0) + (both[3] ? Number(both[3]) / Number(both[4]) : 0);
  return Number(both[1]) * FOOT_M + inches * INCH_M;
}
