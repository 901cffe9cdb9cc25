// The job's form: each change is saved at once, and what cannot be taken is said beside its field.
import { effect, signal } from "@preact/signals";
import type { ComponentChildren } from "preact";
import { ask, path, Refusal } from "./api";
import { job, route, tell } from "./state";
import type { Form } from "./types";

const fault = signal<{ field: string; text: string } | null>(null);
const draft = signal<Form | null>(null); // with the value that was refused, so that it can be mended

effect(() => {
  void route.value.job;
  fault.value = null;
  draft.value = null;
});

const COUNTED = ["pipe_boots", "roof_vents", "chimneys", "skylights"];

export async function saveForm(content: Form): Promise<boolean> {
  const found = job.value!;
  try {
    const saved = await ask<{ form: Form; problem: string }>("PUT", path("jobs", found.id) + "/form", { content });
    job.value = { ...job.value!, form: saved.form, problem: saved.problem, name: saved.form.job.name ?? found.id };
    fault.value = null;
    draft.value = null;
    return true;
  } catch (error) {
    if (error instanceof Refusal) {
      fault.value = { field: error.field, text: error.message };
      draft.value = content;
    } else tell(error);
    return false;
  }
}

function put(form: Form, where: (string | number)[], value: unknown): Form {
  const copy = structuredClone(form);
  let inner: any = copy;
  for (const step of where.slice(0, -1)) inner = inner[step] ??= {};
  inner[where[where.length - 1]] = value;
  return copy;
}

export function JobForm({ form: saved }: { form: Form }) {
  const form = draft.value ?? saved;
  const change = (where: (string | number)[], value: unknown) => void saveForm(put(form, where, value));
  const found = job.value!;
  const layers = [0, 1, 2, 3, 4, 5].map((n) => [n, String(n)] as [number, string]);
  return (
    <section aria-labelledby="form" class="form">
      <h2 id="form">The job</h2>
      <fieldset>
        <legend>Job</legend>
        <Text form={form} at={["job", "name"]} label="Name" change={change} />
        <Choice
          form={form}
          at={["job", "unit"]}
          label="Unit of the cloud"
          options={[[null, "as the file says"], ["m", "metres"], ["ft", "feet"], ["us-ft", "US survey feet"]]} // prettier-ignore
          change={change}
        />
        <Choice
          form={form}
          at={["system"]}
          label="Roof system"
          value={form.system?.name ?? found.usual_system}
          options={[...new Set([...found.systems, form.system?.name ?? found.usual_system])].map((s) => [s, s])}
          change={(_, name) => change(["system"], { name })}
        />
      </fieldset>
      <fieldset>
        <legend>Seen on site</legend>
        <Num form={form} at={["site", "storeys"]} label="Storeys" whole change={change} />
        <Choice form={form} at={["site", "shingle_layers"]} label="Layers of shingles to tear off" options={layers} change={change} />
        <Choice form={form} at={["site", "felt_layers"]} label="Layers of felt to tear off" options={layers} change={change} />
        <Choice
          form={form}
          at={["site", "deck"]}
          label="Deck"
          options={[["solid", "solid"], ["spaced", "spaced boards"]]} // prettier-ignore
          change={change}
        />
        <Choice
          form={form}
          at={["site", "ice_barrier"]}
          label="Ice barrier asked for"
          options={[[null, "not known"], [true, "yes"], [false, "no"]]} // prettier-ignore
          change={change}
        />
        <Num form={form} at={["site", "overhang_m"]} label="Overhang where hidden, in metres" change={change} />
        <Text form={form} at={["site", "region"]} label="Region" empty="" change={change} />
      </fieldset>
      <Counts form={form} change={change} />
      <References form={form} change={change} />
      <p class="note">
        Saved as job.toml in the job's folder. Who owes which line is set in the takeoff. Measure from the ground or the
        air where you can; local codes and the manufacturer's instructions come first.
      </p>
    </section>
  );
}

interface FieldProps {
  form: Form;
  at: (string | number)[];
  label: string;
  change: (where: (string | number)[], value: unknown) => void;
}

const valueAt = (form: Form, at: (string | number)[]) => at.reduce<any>((inner, step) => inner?.[step], form);

function Field({ at, label, children }: { at: (string | number)[]; label: string; children: ComponentChildren }) {
  const place = at.join(".");
  const wrong = fault.value?.field === place || fault.value?.field.startsWith(place + ".") ? fault.value!.text : "";
  return (
    <label class="field">
      {label}
      {children}
      {wrong && (
        <span class="fault" role="alert" id={`fault-${place}`}>
          {wrong}
        </span>
      )}
    </label>
  );
}

function Text({ form, at, label, change, empty = null }: FieldProps & { empty?: string | null }) {
  return (
    <Field at={at} label={label}>
      <input
        value={valueAt(form, at) ?? ""}
        autocomplete="off"
        onChange={(event) => change(at, event.currentTarget.value || empty)}
      />
    </Field>
  );
}

function Num({ form, at, label, change, whole }: FieldProps & { whole?: boolean }) {
  const parse = (text: string) => {
    const plain = text.trim().replace(",", ".");
    return plain === "" ? null : Number.isNaN(Number(plain)) ? text : Number(plain);
  };
  return (
    <Field at={at} label={label}>
      <input
        value={valueAt(form, at) ?? ""}
        inputMode={whole ? "numeric" : "decimal"}
        autocomplete="off"
        size={8}
        onChange={(event) => change(at, parse(event.currentTarget.value))}
      />
    </Field>
  );
}

type Option = [string | number | boolean | null, string];

function Choice({ form, at, label, change, options, value }: FieldProps & { options: Option[]; value?: string }) {
  const now = value ?? valueAt(form, at) ?? null;
  return (
    <Field at={at} label={label}>
      <select
        value={String(options.findIndex(([option]) => option === now))}
        onChange={(event) => change(at, options[Number(event.currentTarget.value)][0])}
      >
        {options.map(([, text], i) => (
          <option key={text} value={String(i)}>
            {text}
          </option>
        ))}
      </select>
    </Field>
  );
}

function Counts({ form, change }: { form: Form; change: FieldProps["change"] }) {
  const names = [...new Set([...COUNTED, ...Object.keys(form.counts)])];
  const set = (_: unknown, name: string, value: unknown) => {
    const counts = { ...form.counts };
    if (value === null) delete counts[name];
    else counts[name] = value;
    change(["counts"], counts);
  };
  return (
    <fieldset>
      <legend>Counted on site</legend>
      {names.map((name) => (
        <Num
          key={name}
          form={form}
          at={["counts", name]}
          label={name.replace(/_/g, " ")}
          whole
          change={(where, value) => set(where, name, value)}
        />
      ))}
    </fieldset>
  );
}

function References({ form, change }: { form: Form; change: FieldProps["change"] }) {
  const rows: any[] = form.reference;
  const add = () =>
    (draft.value = put(form, ["reference"], [...rows, { name: null, between: ["", ""], board: null, length: null, unit: "ft", u: 0.02 }])); // prettier-ignore
  return (
    <fieldset>
      <legend>Known lengths</legend>
      <p class="note">
        The ends are names of marks in the photos, or points x, y, z of the cloud. u is the standard uncertainty: for a
        steel tape held by two people about 0.01 ft.
      </p>
      {rows.map((row, i) => (
        <div class="row card" key={i} role="group" aria-label={`Known length ${i + 1}`}>
          <Text form={form} at={["reference", i, "name"]} label="Name" change={change} />
          {row.board ? (
            <p>Printed target {row.board.ids.join(" and ")} ({row.board.dictionary})</p> // prettier-ignore
          ) : (
            <>
              <End form={form} at={["reference", i, "between", 0]} label="From" change={change} />
              <End form={form} at={["reference", i, "between", 1]} label="To" change={change} />
              <Num form={form} at={["reference", i, "length"]} label="Length" change={change} />
            </>
          )}
          <Choice
            form={form}
            at={["reference", i, "unit"]}
            label="Unit"
            options={[["ft", "ft"], ["m", "m"], ["us-ft", "us-ft"]]} // prettier-ignore
            change={change}
          />
          <Num form={form} at={["reference", i, "u"]} label="u" change={change} />
          <button type="button" class="quiet" onClick={() => change(["reference"], rows.filter((_, j) => j !== i))}>
            Remove<span class="unseen"> known length {i + 1}</span>
          </button>
        </div>
      ))}
      {fault.value?.field === "reference" && <p class="fault">{fault.value.text}</p>}
      <button type="button" onClick={add}>
        Add a known length
      </button>
    </fieldset>
  );
}

function End({ form, at, label, change }: FieldProps) {
  const value = valueAt(form, at);
  return (
    <Field at={at} label={label}>
      <input
        value={Array.isArray(value) ? value.join(", ") : (value ?? "")}
        size={14}
        autocomplete="off"
        onChange={(event) => {
          const text = event.currentTarget.value.trim();
          const numbers = text.split(/[\s,;]+/).map(Number);
          change(at, numbers.length === 3 && numbers.every(Number.isFinite) ? numbers : text);
        }}
      />
    </Field>
  );
}
