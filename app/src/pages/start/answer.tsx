/** The answer: one number for the lap, big; then what each corner would like. */
import { capital } from "../../words/text";
import { setting } from "../../words/units";
import { EndSign } from "../../parts/figure";
import { Cautions, Progress, Warnings, Wrong } from "../../parts/notice";
import type { Answer, Answered } from "./asking";

type Plan = Answer["result"];
type Zone = Plan["zones"][number];

export function AnswerPart({ from }: { from: Answered }) {
  const { busy } = from.now.value;
  const answer = from.surer.value ?? from.now.value.value;
  if (from.wrong.value?.code === "cannot_tell") return <Wrong problem={from.wrong.value} />;
  if (!answer) return busy ? <p class="soft" role="status">Working it out…</p> : null;
  return (
    <section class="card stack startanswer" aria-labelledby="answer-head" aria-busy={busy}>
      <Lap plan={answer.result} warnings={answer.warnings} former={busy} />
      {from.under.value && <Progress state={from.state} onStop={from.under.value.cancel} label="Trying 64 cars of this kind" />}
      {from.wrong.value && <Wrong problem={from.wrong.value} />}
      <Corners plan={answer.result} />
      <Warnings warnings={answer.warnings.filter((one) => !SAID.includes(one.code))} />
      <Cautions cautions={answer.cautions} />
    </section>
  );
}

/** Warnings that are told in the answer's own sentences. */
const SAID = ["class_and_anchor_only"];

/** The number; a `former` one answers what was typed before, and says so in the place of its sign. */
function Lap({ plan, warnings, former }: { plan: Plan; warnings: Answer["warnings"]; former: boolean }) {
  const { step } = plan.adjuster;
  const honest = warnings.find((one) => one.code === "class_and_anchor_only");
  return (
    <header>
      <h2 id="answer-head">One setting for the whole lap</h2>
      <p class="digits"><output>{setting(plan.lap_setting.setting, step)}</output> {former ? <strong class="former" role="status">before your change; working out the new answer…</strong> : <Way plan={plan} />}</p>
      {honest && <p>{capital(honest.text.split(":")[0]!)}.</p>}
      <p class="soft">
        A bigger number puts more braking on the {plan.adjuster.higher_means}. Lost count of the clicks: go to {setting(plan.panic_setting, step)}, one step forward.
      </p>
    </header>
  );
}

/** How far it is from today's setting, with the sign of the end it moves to. */
function Way({ plan }: { plan: Plan }) {
  if (plan.anchor_setting === null) return null;
  const ahead = steps(plan, plan.lap_setting.setting, plan.anchor_setting);
  if (ahead === 0) return <span class="way">which is what you run today</span>;
  const end = ahead > 0 ? "front" : "rear";
  const count = Math.abs(ahead);
  return (
    <span class={`way ${end}`}>
      <svg viewBox="0 0 20 20" width="20" height="20" aria-hidden="true"><EndSign end={end} x={10} y={10} size={18} /></svg>
      {count} {count === 1 ? "step" : "steps"} {end === "front" ? "FORWARD" : "REARWARD"} of today's {setting(plan.anchor_setting, plan.adjuster.step)}
    </span>
  );
}

/** Steps forward from one setting to another; negative: rearward. */
export function steps(plan: Plan, to: number, from: number): number {
  const forward = plan.adjuster.higher_means === "front" ? 1 : -1;
  return Math.round((forward * (to - from)) / plan.adjuster.step);
}

function Corners({ plan }: { plan: Plan }) {
  const all = plan.zones.every((one) => one.advice === "no_matter");
  return (
    <section aria-labelledby="corners-head">
      <h3 id="corners-head">{plan.total.changes ? `With ${plan.total.changes} changes a lap` : "Corner by corner"}</h3>
      {all && <p>In none of these corners does the setting matter enough to touch the adjuster for it.</p>}
      <div class="scroll">
        <table class="corneranswers">
          <thead>
            <tr><th scope="col">Corner</th><th scope="col" class="number">Setting</th><th scope="col">One step either way</th></tr>
          </thead>
          <tbody>{plan.zones.map((zone) => <CornerLine key={zone.zone_id} zone={zone} plan={plan} />)}</tbody>
        </table>
      </div>
    </section>
  );
}

function CornerLine({ zone, plan }: { zone: Zone; plan: Plan }) {
  const { step } = plan.adjuster;
  const [low, high] = [setting(zone.flat_low, step), setting(zone.flat_high, step)];
  return (
    <tr>
      <th scope="row">{zone.name}</th>
      <td class="number"><strong>{setting(zone.setting, step)}</strong></td>
      <td>
        {zone.advice === "no_matter" && <><strong>Does not matter here, from {low} to {high}</strong>: less than a hundredth of a second between them. </>}
        {zone.advice === "cannot_tell" && <strong>Cannot tell yet. </strong>}
        {stepSentence(zone.reason)}
        {zone.advice === "cannot_tell" && zone.settles && <span class="soft"> What would settle it: {zone.settles}.</span>}
      </td>
    </tr>
  );
}

/** The sentence of a reason that says what a step does. */
export function stepSentence(reason: string): string {
  return reason.split(/(?<=[.!?]) (?=[A-Z])/).find((one) => one.startsWith("One step")) ?? "";
}
