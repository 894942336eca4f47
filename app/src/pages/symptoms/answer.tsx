/** The next setting, big; why; and, folded, what the report has narrowed. */
import { Cautions, Mind, Warnings } from "../../parts/notice";
import { EndSign } from "../../parts/figure";
import { setting } from "../../words/units";
import type { Last } from "../symptoms";
import type { Advised, Plan } from "./ask";

type Advice = Advised["result"];

export function AnswerCard({ last, plan, onMore }: { last: Last; plan: Plan; onMore: () => void }) {
  const { result, warnings, cautions } = last.answer;
  const [, because, ...more] = sentences(result.because);
  return (
    <section class="nextcard stack" aria-label="Next setting" aria-live="polite">
      <p class="nextlabel">Next time, {result.zone_name} at</p>
      <Digits result={result} step={plan.adjuster.step} higher={plan.adjuster.higher_means} />
      {because && <p>{because}</p>}
      {result.cannot_tell && <Mind><p>{result.cannot_tell}</p></Mind>}
      <Warnings warnings={warnings.filter((one) => one.code !== "class_and_anchor_only")} />
      <details>
        <summary>Why, in numbers</summary>
        {more.map((one) => <p key={one}>{one}</p>)}
        <Narrowed result={result} step={plan.adjuster.step} />
        <p class="soft">{result.reports} {result.reports === 1 ? "report" : "reports"} weighed over {result.cars} cars that fit what is known.</p>
      </details>
      <button type="button" onClick={onMore}>It did something else here</button>
      <Cautions cautions={cautions} />
    </section>
  );
}

const WAYS = { front: "One step FORWARD", rear: "One step REARWARD", stay: "Stay" } as const;

function Digits({ result, step, higher }: { result: Advice; step: number; higher: "front" | "rear" }) {
  const { direction } = result;
  return (
    <p class="digits">
      <output>{setting(result.to_setting, step)}</output>
      <span class={`way ${direction === "stay" ? "" : direction}`}>
        {direction !== "stay" && (
          <svg viewBox="0 0 20 20" width="22" height="22" aria-hidden="true"><EndSign end={direction} x={10} y={10} size={18} /></svg>
        )}
        {WAYS[direction]}
        {direction !== "stay" && ` from ${setting(result.from_setting, step)}`}
        <small>bigger is more {higher}</small>
      </span>
    </p>
  );
}

function Narrowed({ result, step }: { result: Advice; step: number }) {
  if (!result.narrowed.length) return <p>This report narrowed nothing that could be told.</p>;
  return (
    <div class="scroll">
      <table>
        <caption class="unseen">What the reports have narrowed</caption>
        <thead><tr><th scope="col">Narrowed</th><th scope="col">Before</th><th scope="col">Now</th></tr></thead>
        <tbody>
          {result.narrowed.map((one) => {
            const show = one.key === "crossover_setting" ? (x: number) => setting(x, step) : plain(one.before_low, one.before_high);
            return (
              <tr key={one.key}>
                <th scope="row">{one.label}{one.unit && <span class="soft"> {one.unit}</span>}</th>
                <td>{show(one.before_low)} to {show(one.before_high)}</td>
                <td>{show(one.low)} to {show(one.high)}</td>
              </tr>
            );
          })}
        </tbody>
      </table>
    </div>
  );
}

/** Numbers of a range with the digits its width deserves: a hundredth of it. */
function plain(low: number, high: number): (x: number) => string {
  const wide = Math.max(Math.abs(high - low), 1e-6);
  const places = Math.min(Math.max(0, 2 - Math.floor(Math.log10(wide)) - 1), 4);
  return (x) => x.toFixed(places);
}

/** The sentences of a reason; the first repeats the big digits. */
export function sentences(text: string): string[] {
  return text.split(/(?<=[.!?]) (?=[A-Z0-9])/);
}
