// Corrections in the order in which they were made; each can be taken back and done again, the last first.
import { correct, metric, redo, roof, undo, working } from "./state";
import type { Edit } from "./types";
import { nameOf } from "./kinds";
import { lengthText } from "./units";

export function Journal() {
  const { journal, redo: undone } = roof.value!;
  const excluded = [...stillExcluded(journal)];
  return (
    <section aria-labelledby="journal">
      <h2 id="journal">Corrections by hand</h2>
      {journal.length === 0 ? (
        <p>None. Those you make are listed here and in the report.</p>
      ) : (
        <ol>
          {journal.map((edit, i) => (
            <li key={i}>{inWords(edit)}</li>
          ))}
        </ol>
      )}
      <div class="row">
        <button type="button" disabled={!journal.length || !!working.value} onClick={() => undo()}>
          Undo
        </button>
        <button type="button" disabled={!undone.length || !!working.value} onClick={() => redo()}>
          Redo
        </button>
        {excluded.map((id) => (
          <button type="button" key={id} disabled={!!working.value} onClick={() => correct({ edit: "include_plane", plane: id })}>
            Count {id} again
          </button>
        ))}
      </div>
    </section>
  );
}

function stillExcluded(journal: Edit[]): Set<string> {
  const out = new Set<string>();
  for (const edit of journal) {
    if (edit.edit === "exclude_plane") out.add(String(edit.plane));
    if (edit.edit === "include_plane") out.delete(String(edit.plane));
  }
  return out;
}

export function inWords(edit: Edit): string {
  const length = (key: string) => lengthText(Math.abs(Number(edit[key])), metric.value);
  const pitch = Number(edit.pitch_rad);
  switch (edit.edit) {
    case "fix_pitch":
      return metric.value
        ? `pitch of ${edit.plane} known: ${((pitch * 180) / Math.PI).toFixed(1)}°`
        : `pitch of ${edit.plane} known: ${(12 * Math.tan(pitch)).toFixed(2)} in 12`;
    case "fix_length":
      return `length of ${edit.edge} known: ${length("length_m")}`;
    case "place_boundary":
      return `a spot of ${edit.edge} placed`;
    case "move_boundary":
      return `${edit.edge} moved ${Number(edit.by_m) < 0 ? "inward" : "outward"} by ${length("by_m")}`;
    case "merge_planes":
      return `${edit.first} and ${edit.second} are one plane`;
    case "split_plane":
      return `${edit.plane} split by a line`;
    case "set_kind":
      return `${edit.edge} called ${nameOf(String(edit.kind))}`;
    case "exclude_plane":
      return `${edit.plane} not counted`;
    case "include_plane":
      return `${edit.plane} counted again`;
    default:
      return edit.edit;
  }
}
