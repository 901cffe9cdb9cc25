// Tape measurements and the other party's numbers, held against the roof.
import { effect, signal, useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, path } from "./api";
import { Comparison } from "./compare";
import { adopt, doing, metric, pointed, roof, route, working } from "./state";
import type { M, RoofData } from "./types";
import { fixed, METRES, percent, withBound, type Unit } from "./units";

interface Cause {
  text: string;
  odds: number;
  about: string[];
}
export interface Reading {
  where: string;
  of: string;
  edges: string[];
  stated: string;
  length_m: number;
  u_m: number;
  model_m: M;
  e_n: number;
  verdict: "agree" | "conflict" | "cannot_tell";
  reason: string;
  causes: Cause[];
  used: boolean;
}
interface Tape {
  readings: Reading[];
  scale: M | null;
  scale_conflict: boolean;
}
export interface Compared {
  lines: {
    where: string;
    item: string;
    unit: string;
    theirs: number;
    net: M;
    with_waste: M | null;
    basis: string;
    difference: number;
    within: boolean;
    chance_more: number;
    from: string[];
  }[];
  causes: Cause[];
}
interface Checks {
  tape_table: string;
  tape: Tape | null;
  other_table: string;
  names_table: string;
  comparison: Compared | null;
}

export const checks = signal<Checks | null>(null);
effect(() => {
  void route.value.job;
  checks.value = null;
});
const FEET: Unit = { name: "ft", si: 0.3048, decimals: 2 };
const VERDICTS = { agree: "agrees", conflict: "in conflict", cannot_tell: "cannot tell" };
const HOWS = ["steel tape", "tape", "laser", "wheel", "from the ground"];
const HEADING = "edge,length,unit,how";

export async function loadChecks(id: string) {
  const found = await ask<Checks>("GET", path("jobs", id) + "/checks");
  if (route.value.job === id) checks.value = found;
}

export function ChecksPage() {
  const id = route.value.job;
  useEffect(() => void doing("Loading …", () => loadChecks(id)), [id]);
  if (!roof.value) return <p>Measure the job first.</p>;
  if (!checks.value) return <p>Loading …</p>;
  return (
    <>
      <TapeCheck />
      <Comparison />
    </>
  );
}

function TapeCheck() {
  const id = route.value.job;
  const text = useSignal(checks.value?.tape_table || HEADING + "\n");
  const edge = useSignal(roof.value!.roof.edges[0]?.id ?? "");
  const length = useSignal("");
  const how = useSignal(HOWS[0]);
  const add = () => {
    if (!length.value.trim()) return;
    const unit = metric.value ? "m" : /['"]/.test(length.value) ? "ft-in" : "decimal-ft";
    const cells = [edge.value, length.value.trim(), unit, how.value];
    const line = cells.map((cell) => (/[",]/.test(cell) ? `"${cell.replace(/"/g, '""')}"` : cell)).join(",");
    text.value = `${text.value.replace(/\n*$/, "\n")}${line}\n`;
    length.value = "";
  };
  const check = (adjust: boolean) =>
    doing("Holding against the roof …", async () => {
      adopt(await ask<RoofData>("PUT", path("jobs", id) + "/tape", { content: text.value, adjust }));
      await loadChecks(id);
    });
  return (
    <section aria-labelledby="tape">
      <h2 id="tape">Tape measurements</h2>
      <p class="note">
        Tape from a ladder only if it stands safely, and never near power lines; many lengths can be taped from the ground.
      </p>
      <form
        class="row"
        aria-label="Add a tape measurement"
        onSubmit={(event) => {
          event.preventDefault();
          add();
        }}
      >
        <label>
          Edge
          <select value={edge.value} onChange={(event) => (edge.value = event.currentTarget.value)}>
            {roof.value!.roof.edges.map((one) => (
              <option key={one.id} value={one.id}>
                {one.id} {one.kind.replace("_", " ")}
              </option>
            ))}
          </select>
        </label>
        <label>
          Length, {metric.value ? "m" : "ft"}
          <input size={10} autocomplete="off" value={length.value} onInput={(e) => (length.value = e.currentTarget.value)} />
        </label>
        <label>
          How
          <select value={how.value} onChange={(event) => (how.value = event.currentTarget.value)}>
            {HOWS.map((one) => (
              <option key={one}>{one}</option>
            ))}
          </select>
        </label>
        <button type="submit">Add</button>
      </form>
      <label>
        Table: type or paste; a line a length
        <textarea rows={7} spellcheck={false} value={text.value} onInput={(e) => (text.value = e.currentTarget.value)} />
      </label>
      <div class="row">
        <button type="button" class="main" disabled={!!working.value} onClick={() => check(false)}>
          Check
        </button>
        <button type="button" disabled={!!working.value} onClick={() => check(true)}>
          Check, and adjust the roof to those that agree
        </button>
      </div>
      {checks.value?.tape && <Readings tape={checks.value.tape} />}
    </section>
  );
}

function Readings({ tape }: { tape: Tape }) {
  const unit = metric.value ? { ...METRES, decimals: 3 } : FEET;
  const count = (verdict: string) => tape.readings.filter((one) => one.verdict === verdict).length;
  return (
    <>
      <p>
        <strong>
          {count("agree")} of {tape.readings.length} agree, {count("conflict")} in conflict, {count("cannot_tell")} cannot tell.
        </strong>
        {tape.scale && ` Together they say lengths ${percentDifference(tape.scale)} of the roof's`}
        {tape.scale && (tape.scale_conflict ? ", which contradicts its scale." : ".")}
      </p>
      <div class="scroll" tabIndex={0} role="group" aria-label="Readings">
        <table>
          <thead>
            <tr>
              <th scope="col">Of</th>
              <th scope="col" class="number">Taped</th>
              <th scope="col" class="number">By the roof</th>
              <th scope="col" class="number">Difference</th>
              <th scope="col" class="number">E_n</th>
              <th scope="col">Verdict</th>
              <th scope="col">Likely</th>
            </tr>
          </thead>
          <tbody>
            {tape.readings.map((one) => (
              <tr key={one.where + one.of}>
                <th scope="row">
                  <button type="button" class="quiet" onClick={() => showEdges(one.edges)}>
                    {one.of}
                    <span class="unseen">, show on the roof</span>
                  </button>
                </th>
                <td class="number">{one.stated}</td>
                <td class="number">{withBound(one.model_m, unit)}</td>
                <td class="number">
                  {fixed((one.length_m - one.model_m.value) / unit.si, unit.decimals)} {unit.name}
                </td>
                <td class="number">{one.e_n.toFixed(2)}</td>
                <td>
                  {one.verdict === "conflict" ? <strong>{VERDICTS.conflict}</strong> : VERDICTS[one.verdict]}
                  {one.used && ", used"}
                </td>
                <td class="wide">
                  {one.reason}
                  {one.causes.map((cause) => `${cause.text} (${percent(cause.odds)})`).join("; ")}
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </>
  );
}

const percentDifference = (m: M) =>
  `${m.value >= 0 ? "+" : "−"}${fixed(Math.abs(100 * m.value), 2)} % ± ${fixed(50 * (m.high - m.low), 2)} %`;

function showEdges(ids: string[]) {
  pointed.value = ids;
  location.hash = location.hash.replace(/\/checks$/, "/roof");
}
