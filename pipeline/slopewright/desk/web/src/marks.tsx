// Marking: named points in photos, to a fraction of a pixel; where cameras are known, where the point must lie.
import { useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { epipolar, meet, project, type Pixel } from "./camera";
import { PhotoCanvas, type Dot, type Stroke } from "./photo";
import { cameras, marks, marksFault, marksReady, photosOf, placeOf, saveMarks, sizeOf } from "./photodata";
import { said } from "./state";
import type { Mark } from "./types";

const U_PX = 1.0; // standard uncertainty of a mark set by hand on a sharp corner, common practice

export function MarksPage() {
  const photos = photosOf();
  const photo = useSignal(photos[0] ?? "");
  const active = useSignal("");
  const canvas = useRef<HTMLCanvasElement>(null);
  const view = useRef<PhotoCanvas | null>(null);
  const now = photos.includes(photo.value) ? photo.value : (photos[0] ?? "");
  const mark = marks.value.find((one) => one.name === active.value) ?? marks.value[0];

  const place = (at: Pixel) => {
    const name = marks.value.some((one) => one.name === active.value) ? active.value : (marks.value[0]?.name ?? "");
    if (!name) {
      said.value = { text: "Name a mark first, then click its place.", bad: true };
      return;
    }
    const rounded: Pixel = [Math.round(at[0] * 1000) / 1000, Math.round(at[1] * 1000) / 1000];
    saveMarks(marks.value.map((one) => (one.name === name ? { ...one, photos: { ...one.photos, [current.current]: rounded } } : one))); // prettier-ignore
  };
  const current = useRef(now);
  current.current = now;
  const nudge = (by: Pixel) => {
    const name = active.value || marks.value[0]?.name;
    const at = marks.value.find((one) => one.name === name)?.photos[current.current];
    if (at) place([at[0] + by[0], at[1] + by[1]]);
  };

  useEffect(() => {
    if (!canvas.current) return undefined;
    const made = new PhotoCanvas(canvas.current, place, nudge);
    view.current = made;
    (window as any).slopewright = { photo: made };
    return () => made.dispose();
  }, []);
  useEffect(() => {
    if (!now || !view.current) return;
    void (async () => {
      try {
        const [width, height] = await sizeOf(now);
        await view.current?.open(placeOf(now), width, height);
      } catch (error) {
        said.value = { text: error instanceof Error ? error.message : `${now}: cannot be shown`, bad: true };
      }
    })();
  }, [now]);
  useEffect(() => {
    const { dots, strokes } = drawn(now, mark);
    view.current?.show(dots, strokes);
  });
  if (!photos.length) return <p>This job has no photos.</p>;
  return (
    <>
      <p class="note">
        Mark the ends of a known length in two photos or more. Click to place, drag to move the photo, wheel or + and − to
        zoom. Keys, with the photo in focus: arrows move the mark by a pixel, with Shift by a tenth; Alt and arrows move the
        photo; Enter places the mark in the middle; 0 shows the whole photo.
      </p>
      <Thumbs photos={photos} now={now} mark={mark} choose={(name) => (photo.value = name)} />
      <div class="marking">
        <div class="photo-box">
          <canvas ref={canvas} tabIndex={0} role="application" aria-label={`Photo ${now}, to mark`} />
          <div class="view-tools">
            <button type="button" onClick={() => view.current?.zoom(1.5)} aria-label="Photo larger">
              +
            </button>
            <button type="button" onClick={() => view.current?.zoom(1 / 1.5)} aria-label="Photo smaller">
              −
            </button>
            <button type="button" onClick={() => view.current?.fit()}>
              Whole photo
            </button>
            {mark?.photos[now] && (
              <button type="button" onClick={() => view.current?.centre(mark.photos[now], 4)}>
                Go to {mark.name}
              </button>
            )}
            <span>{now}</span>
          </div>
        </div>
        <MarkList now={now} active={mark?.name ?? ""} choose={(name) => (active.value = name)} open={(name) => (photo.value = name)} />
      </div>
    </>
  );
}

function Thumbs({ photos, now, mark, choose }: { photos: string[]; now: string; mark?: Mark; choose: (name: string) => void }) {
  return (
    <div class="thumbs" role="group" aria-label="Photos">
      {photos.map((name) => (
        <button type="button" key={name} aria-pressed={name === now} onClick={() => choose(name)}>
          <img src={`${placeOf(name)}/thumb.jpg`} alt="" loading="lazy" width={128} height={96} />
          {mark?.photos[name] ? "● " : ""}
          {name}
        </button>
      ))}
    </div>
  );
}

function MarkList({ now, active, choose, open }: { now: string; active: string; choose: (name: string) => void; open: (name: string) => void }) {
  const name = useSignal("");
  const fault = useSignal("");
  const add = () => {
    const plain = name.value.trim();
    if (!plain) fault.value = "need a name";
    else if (marks.value.some((one) => one.name === plain)) fault.value = `there is a mark ${plain} already`;
    else {
      saveMarks([...marks.value, { name: plain, u_px: U_PX, photos: {} }]);
      choose(plain);
      name.value = fault.value = "";
    }
  };
  return (
    <section aria-labelledby="marks" class="side">
      <h2 id="marks">Marks</h2>
      {marksFault.value && (
        <p class="fault" role="alert">
          {marksFault.value}
        </p>
      )}
      <form
        class="row"
        onSubmit={(event) => {
          event.preventDefault();
          add();
        }}
      >
        <label>
          New mark
          <input value={name.value} size={12} autocomplete="off" onInput={(e) => (name.value = e.currentTarget.value)} />
        </label>
        <button type="submit" disabled={!marksReady.value}>
          Add
        </button>
      </form>
      <p class="fault" role="alert">
        {fault.value}
      </p>
      {marks.value.map((mark) => (
        <OneMark key={mark.name} mark={mark} now={now} active={mark.name === active} choose={choose} open={open} />
      ))}
    </section>
  );
}

interface OneProps {
  mark: Mark;
  now: string;
  active: boolean;
  choose: (name: string) => void;
  open: (name: string) => void;
}

function OneMark({ mark, now, active, choose, open }: OneProps) {
  const places = Object.entries(mark.photos);
  const off = residuals(mark);
  const without = (photo: string) => {
    const { [photo]: _, ...rest } = mark.photos;
    saveMarks(marks.value.map((one) => (one === mark ? { ...one, photos: rest } : one)));
  };
  return (
    <div class="card">
      <button type="button" class="pick" aria-pressed={active} onClick={() => choose(mark.name)}>
        {mark.name}
      </button>{" "}
      in {places.length} {places.length === 1 ? "photo" : "photos"}
      <button type="button" class="quiet" onClick={() => saveMarks(marks.value.filter((one) => one !== mark))}>
        Delete<span class="unseen"> {mark.name}</span>
      </button>
      {active && places.length > 0 && (
        <table>
          <thead>
            <tr>
              <th scope="col">Photo</th>
              <th scope="col" class="number">x, y [px]</th>
              <th scope="col" class="number">Off [px]</th>
              <th scope="col">
                <span class="unseen">Remove</span>
              </th>
            </tr>
          </thead>
          <tbody>
            {places.map(([photo, [x, y]]) => (
              <tr key={photo} class={photo === now ? "on" : ""}>
                <th scope="row">
                  <button type="button" class="quiet" onClick={() => open(photo)}>
                    {photo}
                  </button>
                </th>
                <td class="number">
                  {x.toFixed(2)}, {y.toFixed(2)}
                </td>
                <td class="number">{photo in off ? off[photo].toFixed(1) : ""}</td>
                <td>
                  <button type="button" class="quiet" onClick={() => without(photo)}>
                    Remove<span class="unseen"> from {photo}</span>
                  </button>
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      )}
    </div>
  );
}

const known = (mark: Mark) =>
  Object.entries(mark.photos)
    .filter(([photo]) => cameras.value[photo])
    .map(([photo, pixel]) => ({ photo, camera: cameras.value[photo], pixel }));

// How far each place of a mark is from where the others put it.
function residuals(mark: Mark): Record<string, number> {
  const seen = known(mark);
  const found: Record<string, number> = {};
  if (seen.length < 2) return found;
  const at = meet(seen);
  for (const { photo, camera, pixel } of seen) {
    const back = at && project(camera, at);
    if (back) found[photo] = Math.hypot(back[0] - pixel[0], back[1] - pixel[1]);
  }
  return found;
}

function drawn(photo: string, mark?: Mark): { dots: Dot[]; strokes: Stroke[] } {
  const dots: Dot[] = marks.value
    .filter((one) => one.photos[photo])
    .map((one) => ({ name: one.name, at: one.photos[photo], chosen: one === mark }));
  const strokes: Stroke[] = [];
  const camera = cameras.value[photo];
  const elsewhere = mark ? known(mark).filter((one) => one.photo !== photo) : [];
  if (!mark || !camera || !elsewhere.length) return { dots, strokes };
  const at = elsewhere.length > 1 ? meet(elsewhere) : null;
  const back = at && project(camera, at);
  if (back) dots.push({ name: `${mark.name} expected`, at: back, chosen: false, predicted: true });
  else for (const one of elsewhere) strokes.push({ points: epipolar(one.camera, one.pixel, camera), colour: "#1667a8", width: 1.5 });
  return { dots, strokes };
}
