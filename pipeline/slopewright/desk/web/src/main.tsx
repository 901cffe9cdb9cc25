// The page: what is chosen by the address, news from the server, messages.
import { render } from "preact";
import { ChecksPage } from "./checks";
import { Files } from "./files";
import { Jobs } from "./jobs";
import { MarksPage } from "./marks";
import { ReportPage } from "./reportpage";
import { RoofPage } from "./roofpage";
import { busy, connected, go, job, listen, metric, roof, route, run, said, STEPS, working, type Step } from "./state";
import { TakeoffPage } from "./takeoff";

const NAMES: Record<Step, string> = {
  files: "Files and job", marks: "Marks", roof: "Roof", takeoff: "Takeoff", checks: "Checks", report: "Report",
}; // prettier-ignore

function Page() {
  const { job: id } = route.value;
  return (
    <>
      <a class="skip" href="#main" onClick={skip}>
        Skip to the content
      </a>
      <header class="top">
        <a href="#/" class="brand">
          slopewright
        </a>
        {id && <span class="job-name">{job.value?.name ?? ""}</span>}
        {busy.value && id && <span class="state">{run.value?.state === "queued" ? "waits" : "measuring …"}</span>}
        <label class="check units">
          <input type="checkbox" checked={metric.value} onChange={(e) => (metric.value = e.currentTarget.checked)} />
          Show metric
        </label>
      </header>
      <Said />
      {id ? <JobPage /> : <Jobs />}
    </>
  );
}

function skip(event: Event) {
  event.preventDefault();
  const main = document.getElementById("main");
  main?.setAttribute("tabindex", "-1");
  main?.focus();
}

function Said() {
  const told = said.value;
  return (
    <div class="said" role="status">
      {!connected.value && <p class="fault">The server does not answer; the page goes on when it is started again.</p>}
      {working.value && <p>{working.value}</p>}
      {told && (
        <p class={told.bad ? "fault" : ""}>
          {told.text}{" "}
          {told.undo && (
            <button type="button" onClick={told.undo}>
              Undo
            </button>
          )}
          <button type="button" class="quiet" onClick={() => (said.value = null)}>
            Close
          </button>
        </p>
      )}
    </div>
  );
}

function JobPage() {
  const { step } = route.value;
  const found = job.value;
  if (!found) return <main id="main">Loading …</main>;
  const shown = STEPS.filter((name) => name !== "marks" || found.photos > 0);
  return (
    <>
      <nav class="steps" aria-label="Steps of the job">
        {shown.map((name) => (
          <a
            key={name}
            href={`#/${encodeURIComponent(found.id)}/${name}`}
            aria-current={name === step ? "page" : undefined}
            class={!roof.value && ["roof", "takeoff", "checks", "report"].includes(name) ? "later" : ""}
          >
            {NAMES[name]}
          </a>
        ))}
      </nav>
      <main id="main">
        <h1>{NAMES[step]}</h1>
        {step === "files" && <Files />}
        {step === "marks" && <MarksPage />}
        {step === "roof" && <RoofPage />}
        {step === "takeoff" && <TakeoffPage />}
        {step === "checks" && <ChecksPage />}
        {step === "report" && <ReportPage />}
      </main>
    </>
  );
}

listen();
if (!location.hash) go("");
const root = document.getElementById("page")!;
root.replaceChildren();
render(<Page />, root);
