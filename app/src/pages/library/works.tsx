/** Long work that was done here: opened again on the page it belongs to. */
import { ask } from "../../api/call";
import type { WorkState } from "../../api/work";
import { useLoaded } from "../../house/loaded";
import { Link } from "../../house/rail";
import { Wrong } from "../../parts/notice";
import { when } from "../../words/files";
import { keptFirst, keptName, workTitle } from "../../words/works";

const PAGES: Record<string, string> = {
  plan: "/plan",
  show: "/show",
  debrief: "/laps",
  learn: "/learn",
  trial: "/trial",
};

const STATES: Record<WorkState["state"], string> = {
  waiting: "waits for its turn",
  running: "under way",
  done: "done",
  failed: "failed",
  cancelled: "stopped",
  interrupted: "broken off when Foreaft was ended",
};

export function Works({ wanted }: { wanted: string }) {
  const found = useLoaded("works", () => ask<WorkState[]>("GET", "work"));
  const list = keptFirst(found.value.value ?? []).filter((one) => `${keptName(one)} ${workTitle(one)}`.toLowerCase().includes(wanted));
  if (found.value.wrong) return <Wrong problem={found.value.wrong} />;
  if (!list.length) return null;
  return (
    <section class="card" aria-labelledby="works-head">
      <h2 id="works-head">Works</h2>
      <p class="soft">The latest forty, with all they made; those kept under a name come first.</p>
      <ul class="things">
        {list.map((one) => (
          <li key={one.work_id} class="thing">
            <div class="thingname">
              {PAGES[one.job] ? <Link path={PAGES[one.job]!} more={{ work: one.work_id }}><Name of={one} /></Link> : <Name of={one} />}
              <small>{[keptName(one) && workTitle(one), when(one.started_at), STATES[one.state] + (one.error ? `: ${one.error.message}` : "")].filter(Boolean).join(" · ")}</small>
            </div>
            {one.files.length > 0 && (
              <details class="more">
                <summary>{one.files.length} files</summary>
                <ul>
                  {one.files.map((file) => (
                    <li key={file}><a href={`/api/work/${one.work_id}/files/${file.split("/").map(encodeURIComponent).join("/")}`} download>{file}</a></li>
                  ))}
                </ul>
              </details>
            )}
          </li>
        ))}
      </ul>
    </section>
  );
}

function Name({ of: one }: { of: WorkState }) {
  return <strong><bdi>{keptName(one) || workTitle(one)}</bdi></strong>;
}
