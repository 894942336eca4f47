/** What a log's sessions allow to say, and what was done to the copy that is worked on. */
import type { Of } from "../../api/types";
import { inWords } from "./mapping";

export function Sessions({ result }: { result: Of<"ReadLog"> }) {
  const many = result.sessions.length > 1;
  return (
    <>
      {result.sessions.map((session) => (
        <div key={session.run.run_id}>
          <h3>{many ? `Session ${session.run.session}: what` : "What"} it can tell</h3>
          <p class="soft">{minutes(session.run.duration_s)} of driving, {session.run.samples.toLocaleString("en")} samples.</p>
          <ul class="cansay">
            {session.can_say.map((one) => (
              <li key={one.what} class={one.can ? "can" : "cannot"}>
                <span aria-hidden="true">{one.can ? "✓" : "–"}</span> <span class="unseen">{one.can ? "Yes: " : "No: "}</span>
                {one.what}
                {!one.can && <small> needs {one.missing.map(missing).join("; ")}</small>}
              </li>
            ))}
          </ul>
          <Done done={[...result.done, ...session.done]} notes={session.notes} />
        </div>
      ))}
      {result.left_out.length > 0 && (
        <details><summary>Left out of this log</summary><ul>{result.left_out.map((one) => <li key={one}>{one}</li>)}</ul></details>
      )}
    </>
  );
}

function Done({ done, notes }: { done: Of<"DoneFace">[]; notes: string[] }) {
  if (!done.length && !notes.length) return null;
  return (
    <details>
      <summary>What was seen in it and done to the copy</summary>
      <ul>
        {notes.map((one) => <li key={one}>{one}</li>)}
        {done.map((one, i) => <li key={i}>{one.channel && `${one.channel}: `}{one.what}{one.count > 0 && ` (${one.count.toLocaleString("en")})`}</li>)}
      </ul>
    </details>
  );
}

/** "speed_mps or yaw_rate_radps" in words. */
function missing(names: string): string {
  return names.split(" or ").map((way) => way.split(" and ").map(inWords).join(" and ")).join(", or ");
}

function minutes(s: number): string {
  return s < 90 ? `${Math.round(s)} s` : `${Math.round(s / 60)} min`;
}
