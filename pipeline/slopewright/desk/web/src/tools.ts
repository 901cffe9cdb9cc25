// The tool in hand: the line that splits a plane, drawn on the plan.
import { signal } from "@preact/signals";

export interface Splitting {
  plane: string;
  start?: [number, number];
  end?: [number, number];
}
export const splitting = signal<Splitting | null>(null);
