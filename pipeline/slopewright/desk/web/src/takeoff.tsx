// The takeoff in the order of the work: quantities, orders, where each came from, and who owes it.
import { useSignal } from "@preact/signals";
import { Fragment } from "preact";
import { path } from "./api";
import { job, metric, pointed, present, roof, setStatus, working } from "./state";
import type { Line } from "./types";
import { fixed, percent } from "./units";

const PHASES: Record<string, string> = { tear_off: "Tear off", repair: "Repair", install: "Install", clean_up: "Clean up" };
const STATUSES: [string, string][] = [
  ["in_scope", "in scope"], ["retained", "retained"], ["by_others", "by others"], ["excluded", "excluded"],
  ["code_item", "code item"],
]; // prettier-ignore
const METRIC: Record<string, [number, string]> = { sq: [9.290304, "m²"], lf: [0.3048, "m"] };

export function TakeoffPage() {
  const data = roof.value;
  if (!data) return <p>Measure the job first.</p>;
  const lines = data.takeoff.lines;
  const shown = job.value!;
  const systems = [...new Set([...shown.systems, shown.form?.system?.name ?? shown.usual_system])];
  return (
    <>
      <div class="row">
        <label>
          Roof system
          <select
            value={shown.form?.system?.name ?? shown.usual_system}
            disabled={!!working.value}
            onChange={(event) => switchSystem(event.currentTarget.value)}
          >
            {systems.map((name) => (
              <option key={name}>{name}</option>
            ))}
          </select>
        </label>
        <label class="check">
          <input
            type="checkbox"
            checked={metric.value}
            disabled={!!working.value}
            onChange={(event) => present(null, event.currentTarget.checked)}
          />
          Metric
        </label>
      </div>
      {Object.entries(PHASES).map(([phase, name]) => {
        const some = lines.filter((line) => line.phase === phase);
        return some.length ? <Phase key={phase} id={phase} name={name} lines={some} /> : null;
      })}
      <Courses />
      <p class="note">
        A chance below 1 % that an order runs short follows from the bounds of the areas and lengths. What a policy covers is
        decided by people; a status says only what was asked for.
      </p>
    </>
  );
}

// The courses as they were laid on a plane: what field shingles and their waste were counted from.
function Courses() {
  const { files, roof: found } = roof.value!;
  const planes = found.planes.filter((plane) => files.includes(`courses/${plane.id}.svg`)).map((plane) => plane.id);
  const plane = useSignal("");
  const now = planes.includes(plane.value) ? plane.value : planes[0];
  if (!now) return null;
  return (
    <section aria-labelledby="courses">
      <h2 id="courses">Courses</h2>
      <label>
        Plane{" "}
        <select value={now} onChange={(event) => (plane.value = event.currentTarget.value)}>
          {planes.map((id) => (
            <option key={id}>{id}</option>
          ))}
        </select>
      </label>
      <p>
        <img
          class="courses"
          src={`/api${path("jobs", job.value!.id)}/outputs/courses/${now}.svg?${roof.value!.journal.length}-${roof.value!.system}`}
          alt={`Courses of shingles laid on plane ${now}; layout.json lists every piece`}
        />
      </p>
    </section>
  );
}

async function switchSystem(name: string) {
  if (await present(name, metric.value)) {
    const found = job.value!;
    job.value = { ...found, form: { ...found.form, system: { name } } };
  }
}

function Phase({ id, name, lines }: { id: string; name: string; lines: Line[] }) {
  return (
    <section aria-labelledby={`phase-${id}`}>
      <h2 id={`phase-${id}`}>{name}</h2>
      <div class="scroll" tabIndex={0} role="group" aria-labelledby={`phase-${id}`}>
        <table class="takeoff">
          <thead>
            <tr>
              <th scope="col">Item</th>
              <th scope="col" class="number">Net, 95 %</th>
              <th scope="col" class="number">Waste</th>
              <th scope="col" class="number">Order</th>
              <th scope="col" class="number">Short</th>
              <th scope="col">Status</th>
              <th scope="col">From</th>
            </tr>
          </thead>
          <tbody>
            {lines.map((line) => (
              <Fragment key={line.item}>
                <tr class={line.status === "in_scope" || line.status === "code_item" ? "" : "dim"}>
                  <th scope="row">
                    <details>
                      <summary>{line.item}</summary>
                      <p>{line.rule}</p>
                      <p class="note">Source: {line.source}</p>
                    </details>
                  </th>
                  <td class="number" data-label="Net">{amount(line, line.net)}</td>
                  <td class="number" data-label="Waste">{line.waste.value > 0 ? amount(line, line.waste) : ""}</td>
                  <td class="number" data-label="Order">{line.order ? `${line.order.quantity} ${plural(line.order.unit, line.order.quantity)}` : ""}</td>
                  <td class="number" data-label="Short">{line.order ? short(line.order.chance_short) : ""}</td>
                  <td>
                    <Status line={line} />
                  </td>
                  <td>
                    {line.from.length > 0 && (
                      <button type="button" class="quiet" onClick={() => showOn(line)}>
                        {line.from.slice(0, 4).join(", ")}
                        {line.from.length > 4 ? ` and ${line.from.length - 4} more` : ""}
                        <span class="unseen"> of {line.item}, show on the roof</span>
                      </button>
                    )}
                  </td>
                </tr>
              </Fragment>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

function Status({ line }: { line: Line }) {
  const known = STATUSES.some(([status]) => status === line.status);
  return (
    <select
      aria-label={`Status of ${line.item}`}
      value={line.status}
      disabled={!!working.value}
      onChange={(event) => setStatus(line.item, event.currentTarget.value || null)}
    >
      {!known && <option value={line.status}>{line.status === "check" ? "check: you decide" : line.status}</option>}
      {STATUSES.map(([status, text]) => (
        <option key={status} value={status}>
          {text}
        </option>
      ))}
      <option value="">as the system says</option>
    </select>
  );
}

function showOn(line: Line) {
  pointed.value = line.from;
  location.hash = location.hash.replace(/\/takeoff$/, "/roof");
}

function amount(line: Line, m: { value: number; low: number; high: number }): string {
  const [factor, unit] = (metric.value && METRIC[line.unit]) || [1, line.unit];
  const half = ((m.high - m.low) / 2) * factor;
  const decimals = line.unit === "ea" || line.unit === "sheet" || half >= 20 ? 0 : 1;
  const bound = half >= 0.5 * 10 ** -decimals ? ` ± ${fixed(half, decimals)}` : "";
  return `${fixed(m.value * factor, decimals)} ${unit}${bound}`;
}

const plural = (unit: string, n: number) => (n === 1 || ["ea", "lb", "sq", "lf"].includes(unit) ? unit : `${unit}s`);
const short = (chance: number) => (chance < 0.01 ? "< 1 %" : percent(chance));
