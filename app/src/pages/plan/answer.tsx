/** What to do, first and big: the lap setting, and whether changing pays. */
import type { Of } from "../../api/types";
import { seconds, setting } from "../../words/units";
import { changesBefore, gain_s, type Stairs } from "./stairs";

const HARDLY_S = 0.02;

export function Answer({ stairs, plan, rested }: { stairs: Stairs; plan: Of<"Plan"> | null; rested: boolean }) {
  const lap = setting(stairs.lap, stairs.step);
  const first = rested ? plan?.first_step_setting : null;
  return (
    <section class="answer" aria-label="The answer" aria-live="polite">
      <p class="big">
        <span class="lapvalue">{lap}</span> <span>for the whole lap</span>
      </p>
      {first != null && first !== stairs.lap && (
        <p><strong>Go to {setting(first, stairs.step)} first</strong>, then on by single steps: standing water, cold tyres and glazed pads are not reckoned with.</p>
      )}
      <p>{pays(stairs)}</p>
      {rested && plan?.lap_setting.regret_s && <p class="soft">{sure(plan, stairs)}</p>}
    </section>
  );
}

/** Whether changing the setting during the lap is worth it. */
export function pays(stairs: Stairs): string {
  const gain = gain_s(stairs);
  const lap = setting(stairs.lap, stairs.step);
  if (stairs.changes === 0) return `Changing it during the lap does not pay: leave it at ${lap}.`;
  const times = stairs.changes === 1 ? "one change" : `${stairs.changes} changes`;
  if (gain < HARDLY_S) return `The ${times} below gain next to nothing (${seconds(gain, 3)} a lap): ${lap} all lap is as good.`;
  return `The ${times} below gain about ${seconds(gain)} a lap on that: ${stops(stairs)}.`;
}

/** "55.0 from Mill, 54.0 from Quarry Hairpin". */
function stops(stairs: Stairs): string {
  const moves = changesBefore(stairs);
  const said = stairs.zones.flatMap((zone, i) => (moves[i] ? [`${setting(zone.setting, stairs.step)} from ${zone.name}`] : []));
  return said.slice(0, 4).join(", ") + (said.length > 4 ? " and so on" : "");
}

function sure(plan: Of<"Plan">, stairs: Stairs): string {
  const most = plan.lap_setting.regret_s!.high;
  return most < 0.005
    ? `Whatever the car file leaves open, no other single setting would be better than ${setting(stairs.lap, stairs.step)} by more than a hundredth.`
    : `Whatever the car file leaves open: another single setting could be better than ${setting(stairs.lap, stairs.step)} by up to ${seconds(most)} a lap.`;
}
