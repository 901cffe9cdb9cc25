// A job's files and its form: what job.toml holds, saved there field by field.
import { useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, path } from "./api";
import { JobForm } from "./form";
import { Bar, Drop } from "./parts";
import { Progress } from "./progress";
import { doing, job, loadJob } from "./state";
import { send, sendings } from "./upload";
import { bytesText } from "./units";

export function Files() {
  const found = job.value!;
  const sending = sendings.value.filter((one) => one.job === found.id && one.state !== "done");
  const done = sendings.value.filter((one) => one.job === found.id && one.state === "done").length;
  useEffect(() => {
    if (done) void loadJob(found.id);
  }, [done]);
  return (
    <>
      <section aria-labelledby="files">
        <h2 id="files">Files</h2>
        <FileTable />
        <Drop onFiles={(files) => void send(found.id, files)}>
          <p>Drop more files here.</p>
        </Drop>
        {sending.length > 0 && (
          <ul class="sendings" aria-label="Files being sent">
            {sending.slice(0, 12).map((one) => (
              <li key={one.name}>
                {one.name}{" "}
                {one.state === "refused" ? (
                  <span class="fault" role="alert">
                    {one.text}{" "}
                    {/already/.test(one.text) && (
                      <button type="button" class="quiet" onClick={() => again(one.file, found.id)}>
                        Replace it
                      </button>
                    )}
                    <button
                      type="button"
                      class="quiet"
                      onClick={() => (sendings.value = sendings.value.filter((other) => other !== one))}
                    >
                      Leave it out
                    </button>
                  </span>
                ) : (
                  <>
                    <Bar share={one.sent / one.size} label={`Share of ${one.name} sent`} /> {one.text}
                  </>
                )}
              </li>
            ))}
            {sending.length > 12 && <li>and {sending.length - 12} more</li>}
          </ul>
        )}
      </section>
      <Progress />
      {found.form ? <JobForm form={found.form} /> : <p class="fault">{found.form_fault}</p>}
    </>
  );
}

function again(file: File, id: string) {
  sendings.value = sendings.value.filter((one) => one.file !== file);
  void send(id, [file], true);
}

function FileTable() {
  const found = job.value!;
  const all = useSignal(false);
  const files = found.files.filter((file) => file.name !== "job.toml" && file.name !== "marks.json");
  const shown = all.value ? files : files.slice(0, 8);
  if (!files.length) return <p>No files yet.</p>;
  return (
    <>
      <div class="scroll">
        <table>
          <thead>
            <tr>
              <th scope="col">File</th>
              <th scope="col">Kind</th>
              <th scope="col" class="number">
                Size
              </th>
              <th scope="col">
                <span class="unseen">Remove</span>
              </th>
            </tr>
          </thead>
          <tbody>
            {shown.map((file) => (
              <tr key={file.name}>
                <th scope="row">{file.name}</th>
                <td>{file.kind}</td>
                <td class="number">{bytesText(file.size)}</td>
                <td>
                  <button type="button" class="quiet" onClick={() => remove(found.id, file.name)}>
                    Remove<span class="unseen"> {file.name}</span>
                  </button>
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      {files.length > shown.length && (
        <button type="button" class="quiet" onClick={() => (all.value = true)}>
          Show all {files.length}
        </button>
      )}
    </>
  );
}

async function remove(id: string, name: string) {
  await doing("Removing …", () => ask("DELETE", path("jobs", id, "files", name)));
  await loadJob(id);
}
