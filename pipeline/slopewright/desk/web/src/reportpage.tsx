// The report as its reader will see it, and every file of the run to save.
import { path } from "./api";
import { job, roof } from "./state";

const WHAT: Record<string, string> = {
  "report.pdf": "the report", "plan.svg": "plan drawing", "plan.dxf": "plan for drawing programs",
  "takeoff.csv": "quantities as a table", "takeoff.json": "quantities for programs", "roof.json": "the measured roof",
  "roof.glb": "3D model", "roof.obj": "3D model, plain", "roof.city.json": "building for city models",
  "run.json": "where it all came from", "roof.gpkg": "planes and edges for maps", "roof.geojson": "the same as text",
  "cloud.laz": "points of the roof, each with its plane", "layout.json": "every shingle that was laid",
  "tape.json": "tape measurements against the roof", "compare.json": "the other party's numbers against ours",
  "covariance.json": "how areas and lengths vary together", "state.json": "state and journal of corrections",
}; // prettier-ignore

export function ReportPage() {
  const data = roof.value;
  if (!data) return <p>Measure the job first.</p>;
  const place = (name: string) => `/api${path("jobs", job.value!.id)}/outputs/${name.split("/").map(encodeURIComponent).join("/")}`;
  const stamp = `${data.journal.length}-${data.system}-${data.options.metric}`;
  return (
    <>
      <section aria-labelledby="report">
        <h2 id="report">Report</h2>
        <p>
          <a class="button main" href={`${place("report.pdf")}?save=true`} download>
            Save report.pdf
          </a>{" "}
          <a href={place("report.pdf")} target="_blank" rel="noopener">
            Open it in a window of its own, to print
          </a>
        </p>
        <iframe key={stamp} class="report" title="The report" src={place("report.pdf")} />
      </section>
      <section aria-labelledby="saves">
        <h2 id="saves">Files</h2>
        <ul class="saves">
          {data.files.map((name) => (
            <li key={name}>
              <a href={`${place(name)}?save=true`} download>
                {name}
              </a>
              {WHAT[name] && <span>, {WHAT[name]}</span>}
            </li>
          ))}
        </ul>
      </section>
    </>
  );
}
