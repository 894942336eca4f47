/** What was reported before, one sentence each, newest first; each can be taken back. */
import { useSignal } from "@preact/signals";
import type { Problem } from "../../api/call";
import { Wrong } from "../../parts/notice";
import { when } from "../../words/files";
import { setting } from "../../words/units";
import { ahead, type Line, type Plan } from "./ask";

const FIRST = 8;

interface Props {
  lines: Line[];
  plan: Plan;
  wrong: Problem | null;
  onTakeBack: (line: Line) => void;
}

export function History({ lines, plan, wrong, onTakeBack }: Props) {
  const all = useSignal(false);
  const shown = all.value ? lines : lines.slice(0, FIRST);
  return (
    <section class="card" aria-labelledby="history-head">
      <h2 id="history-head">So far</h2>
      {wrong && <Wrong problem={wrong} />}
      {!lines.length && !wrong && <p class="soft">Nothing reported yet with this car, road and driver.</p>}
      <ol class="reports">
        {shown.map((line) => <One key={line.report + line.at} line={line} plan={plan} onTakeBack={() => onTakeBack(line)} />)}
      </ol>
      {lines.length > FIRST && (
        <button type="button" onClick={() => (all.value = !all.value)}>{all.value ? "Only the latest" : `All ${lines.length}`}</button>
      )}
    </section>
  );
}

function One({ line, plan, onTakeBack }: { line: Line; plan: Plan; onTakeBack: () => void }) {
  const { step } = plan.adjuster;
  const name = line.zone.replace(/ \([^()]*\)$/, "");
  const moved = ahead(plan, line.from, line.to);
  const next = moved === 0 ? `stay at ${setting(line.to, step)}` : `to ${setting(line.to, step)}, ${moved > 0 ? "forward" : "rearward"}`;
  return (
    <li>
      <p>
        <strong>{name}</strong>: {line.symptom} at {setting(line.from, step)}; {next}. <time class="soft" dateTime={line.at}>{when(line.at)}</time>
      </p>
      <div class="row">
        <details><summary>Why</summary><p>{line.because}</p></details>
        <button type="button" class="bare" aria-label={`Take back the report of ${name}, ${when(line.at)}`} onClick={onTakeBack}>Take back</button>
      </div>
    </li>
  );
}

