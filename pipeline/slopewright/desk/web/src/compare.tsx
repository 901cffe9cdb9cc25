// The other party's quantities beside ours: within our bounds or not, and what would explain it.
import { useSignal } from "@preact/signals";
import { ask, path } from "./api";
import { checks, loadChecks, type Compared } from "./checks";
import { adopt, doing, pointed, route, working } from "./state";
import type { RoofData } from "./types";
import { fixed, percent } from "./units";

const HEADING = "item,quantity,unit\n";
const NAMES = '[items]\n# "their wording" = "our name", or = "ignore"\n';

export function Comparison() {
  const id = route.value.job;
  const text = useSignal(checks.value?.other_table || HEADING);
  const names = useSignal(checks.value?.names_table || NAMES);
  const compare = () =>
    doing("Comparing …", async () => {
      const worded = names.value.trim() === NAMES.trim() ? "" : names.value;
      adopt(await ask<RoofData>("PUT", path("jobs", id) + "/comparison", { content: text.value, names: worded }));
      await loadChecks(id);
    });
  return (
    <section aria-labelledby="compare">
      <h2 id="compare">The other party's numbers</h2>
      <label>
        Table: a line a quantity, named as in the takeoff, or roof area, eave, rake, ridge, hip, valley
        <textarea rows={7} spellcheck={false} value={text.value} onInput={(e) => (text.value = e.currentTarget.value)} />
      </label>
      <details>
        <summary>Their wording</summary>
        <label>
          What their items are called by us
          <textarea rows={5} spellcheck={false} value={names.value} onInput={(e) => (names.value = e.currentTarget.value)} />
        </label>
      </details>
      <div class="row">
        <button type="button" class="main" disabled={!!working.value} onClick={compare}>
          Compare
        </button>
      </div>
      {checks.value?.comparison && <Result compared={checks.value.comparison} />}
    </section>
  );
}

function Result({ compared }: { compared: Compared }) {
  const within = compared.lines.filter((line) => line.within).length;
  return (
    <>
      <p>
        <strong>
          {within} of {compared.lines.length} {compared.lines.length === 1 ? "line is" : "lines are"} within our 95 % bounds.
        </strong>
      </p>
      {compared.causes.length > 0 && (
        <>
          <p>What would explain the differences, with the odds among the usual mistakes:</p>
          <ul>
            {compared.causes.map((cause) => (
              <li key={cause.text}>
                {percent(cause.odds)}: {cause.text}
              </li>
            ))}
          </ul>
        </>
      )}
      <div class="scroll" tabIndex={0} role="group" aria-label="Lines compared">
        <table>
          <thead>
            <tr>
              <th scope="col">Item</th>
              <th scope="col" class="number">Theirs</th>
              <th scope="col" class="number">Ours, 95 %</th>
              <th scope="col" class="number">Difference</th>
              <th scope="col">Verdict</th>
              <th scope="col" class="number">True is more</th>
              <th scope="col">From</th>
            </tr>
          </thead>
          <tbody>
            {compared.lines.map((line) => {
              const ours = line.basis === "net" || !line.with_waste ? line.net : line.with_waste;
              const half = (ours.high - ours.low) / 2;
              return (
                <tr key={line.where}>
                  <th scope="row">{line.item}</th>
                  <td class="number">
                    {fixed(line.theirs, 1)} {line.unit}
                  </td>
                  <td class="number">
                    {fixed(ours.value, 1)} {line.unit} ± {fixed(half, 1)}, {line.basis}
                  </td>
                  <td class="number">{fixed(line.difference, 1)}</td>
                  <td>{line.within ? "within" : <strong>outside</strong>}</td>
                  <td class="number">{line.chance_more < 0.001 ? "under 0.1 %" : percent(line.chance_more)}</td>
                  <td>
                    {line.from.length > 0 && (
                      <button type="button" class="quiet" onClick={() => showOn(line.from)}>
                        {line.from.slice(0, 4).join(", ")}
                        <span class="unseen"> of {line.item}, show on the roof</span>
                      </button>
                    )}
                  </td>
                </tr>
              );
            })}
          </tbody>
        </table>
      </div>
    </>
  );
}

function showOn(ids: string[]) {
  pointed.value = ids;
  location.hash = location.hash.replace(/\/checks$/, "/roof");
}
