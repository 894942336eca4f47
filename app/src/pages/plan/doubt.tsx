/** For the engineer: what more changes would bring, what the doubt hangs on, and the numbers. */
import type { Of } from "../../api/types";
import { percent, seconds, setting } from "../../words/units";
import type { Stairs } from "./stairs";

export function Doubt({ plan, stairs }: { plan: Of<"Plan">; stairs: Stairs | null }) {
  if (!stairs) return null;
  return (
    <section class="stack" aria-label="Behind the plan">
      {plan.matters.length > 0 && <Matters plan={plan} />}
      <details>
        <summary>What each change more would bring</summary>
        <Frontier plan={plan} />
      </details>
      <details>
        <summary>Every zone in numbers</summary>
        <Zones plan={plan} />
      </details>
    </section>
  );
}

/** What to measure to be surer. */
function Matters({ plan }: { plan: Of<"Plan"> }) {
  const top = plan.matters.slice(0, 5);
  return (
    <div>
      <h2>To be surer, measure</h2>
      <ul>
        {top.map((one) => (
          <li key={one.key}>
            <strong>{one.label}</strong>: {one.measurement} <span class="soft">({percent(one.share_of_spread_frac)} of the doubt)</span>
          </li>
        ))}
      </ul>
    </div>
  );
}

function Frontier({ plan }: { plan: Of<"Plan"> }) {
  const none = plan.frontier[0]!;
  // Where a change more does not pay, the best plan with at most so many is the one before.
  const points = plan.frontier.filter((point, i, all) => point.changes !== all[i - 1]?.changes);
  return (
    <div class="scroll">
      <table>
        <thead>
          <tr>
            {["Changes", "Gained a lap", "of it at the limit", "margin kept", "risk", "car turning", "attention and forgetting"].map((head) => (
              <th key={head} scope="col">{head}</th>
            ))}
          </tr>
        </thead>
        <tbody>
          {points.map((point) => (
            <tr key={point.changes}>
              <th scope="row">{point.changes}</th>
              <td class="number">{seconds((none.cost_us - point.cost_us) / 1e6, 3)}</td>
              {(["limit_s", "margin_s", "risk_s", "rotation_s"] as const).map((part) => (
                <td key={part} class="number">{seconds(none[part] - point[part], 3, true)}</td>
              ))}
              <td class="number">{seconds(none.attention_s + none.forgotten_s - point.attention_s - point.forgotten_s, 3, true)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

function Zones({ plan }: { plan: Of<"Plan"> }) {
  const step = plan.adjuster.step;
  const ideal = (share: number | null) => (share === null ? "–" : percent(share));
  return (
    <div class="scroll">
      <table>
        <thead>
          <tr>
            {["Zone", "Setting", "Share at the road", "Ideal: braking", "turn-in", "release", "Limits", "Pedal left", "Sure"].map((head) => (
              <th key={head} scope="col">{head}</th>
            ))}
          </tr>
        </thead>
        <tbody>
          {plan.zones.map((zone) => (
            <tr key={zone.zone_id}>
              <th scope="row">{zone.name}</th>
              <td class="number">{setting(zone.setting, step)}</td>
              <td class="number">{percent(zone.front_share_frac)}</td>
              <td class="number">{ideal(zone.ideal_share_brake_frac)}</td>
              <td class="number">{ideal(zone.ideal_share_turn_in_frac)}</td>
              <td class="number">{ideal(zone.ideal_share_release_frac)}</td>
              <td>{zone.limiting_axle === "front" ? "▲" : "▼"} {zone.limiting_axle}, {zone.limiting_phase}</td>
              <td class="number">{percent(zone.margin_frac)}</td>
              <td class="number">{zone.setting_sure_frac === null ? "–" : percent(zone.setting_sure_frac)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
