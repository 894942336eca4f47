/** The zones in words: the setting, the change before it, and why. */
import type { Signal } from "@preact/signals";
import type { Of } from "../../api/types";
import { EndSign } from "../../parts/figure";
import { Link } from "../../house/rail";
import { percent, setting, speed } from "../../words/units";
import { changesBefore, type Stairs } from "./stairs";

interface Props {
  stairs: Stairs;
  plan: Of<"Plan">;
  /** Whether the plan is of the sliders as they stand: else its speeds are of another day. */
  fits: boolean;
  near: Signal<number | null>;
}

export function Reasons({ stairs, plan, fits, near }: Props) {
  const moves = changesBefore(stairs);
  const settingOf = (id: string) => plan.zones.find((one) => one.zone_id === id)?.setting;
  const old = stairs.zones.some((zone) => settingOf(zone.id) !== zone.setting);
  return (
    <section class="why" aria-labelledby="reasons-head">
      <h2 id="reasons-head">Zone by zone</h2>
      {old && <p class="soft">Reasons for what was moved follow when the sliders rest.</p>}
      <ol class="reasons">
        {stairs.zones.map((zone, i) => {
          const planned = plan.zones.find((one) => one.zone_id === zone.id);
          return (
            <li
              key={zone.id}
              class={near.value === i ? "near" : undefined}
              onPointerEnter={() => (near.value = i)}
              onPointerLeave={() => (near.value = null)}
            >
              <span class="chosen">{setting(zone.setting, stairs.step)}</span>
              <Change steps={moves[i]!} />
              <div>
                <Link path={`/zone/${zone.id}`} more={{ settings: "" }}>{zone.name}</Link>
                {planned && fits && <span class="soft"> {speed(planned.approach_speed_mps)} to {speed(planned.apex_speed_mps)}</span>}
                {planned?.setting === zone.setting && <Why zone={planned} />}
              </div>
            </li>
          );
        })}
      </ol>
    </section>
  );
}

function Change({ steps }: { steps: number }) {
  if (!steps) return <span class="change" />;
  const end = steps > 0 ? "front" : "rear";
  return (
    <span class={`change ${end}`}>
      <svg width="14" height="14" viewBox="0 0 14 14" aria-hidden="true"><EndSign end={end} x={7} y={7} size={11} /></svg>
      {Math.abs(steps)} {end}
    </span>
  );
}

/** The first sentence in sight, the rest behind it. */
function Why({ zone }: { zone: Of<"ZonePlan"> }) {
  const [first, ...others] = sentences(zone.reason);
  const sure = zone.setting_sure_frac;
  return (
    <>
      <p>{first}</p>
      {(others.length > 0 || sure !== null) && (
        <details>
          <summary class="small">More on this</summary>
          {others.length > 0 && <p>{others.join(" ")}</p>}
          {sure !== null && <p class="soft">In {percent(sure)} of the cars the file allows this setting, to the step, is the plan’s.</p>}
        </details>
      )}
    </>
  );
}

/** Cut a text after full stops that are followed by a capital or a number. */
export function sentences(text: string): string[] {
  return text.split(/(?<=[.!?])\s+(?=[A-Z0-9▲▼])/).filter(Boolean);
}
