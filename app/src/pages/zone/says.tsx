/** The zone in two sentences: which tyre works hardest, and what the other setting would change. */
import { length, percent, seconds, setting } from "../../words/units";
import { phaseAt, WHEELS, worked, type Worked, type ZoneSetting, type ZoneView } from "./view";

interface Props {
  view: ZoneView;
  first: ZoneSetting;
  other: ZoneSetting | null;
}

export function Says({ view, first, other }: Props) {
  return (
    <section class="answer" aria-label="The answer" aria-live="polite">
      <p class="big"><span class="lapvalue">{setting(first.setting, view.adjuster.step)}</span> <span>{role(view, first.setting)}</span></p>
      <p>{hardest(first)}</p>
      {other && other.setting !== first.setting && <p>{difference(view, first, other)}</p>}
      {view.advice === "no_matter" && (
        <p>From {setting(view.flat_low, view.adjuster.step)} to {setting(view.flat_high, view.adjuster.step)} it does not matter here: less than a hundredth of a second lies between them, mistakes counted.</p>
      )}
    </section>
  );
}

function role(view: ZoneView, value: number): string {
  if (value === view.plan_setting) return value === view.lap_setting ? "as planned, and for the whole lap" : "as planned";
  if (value === view.lap_setting) return "the lap setting";
  return value === view.own_setting ? "the best for this zone alone" : `looked at; ${setting(view.plan_setting, view.adjuster.step)} is planned`;
}

export function hardest(one: ZoneSetting): string {
  const { hardest: most, sliding } = worked(one);
  const names = sliding.map((wheel) => WHEELS[wheel]);
  const slides = names.length ? `The ${names.join(" and the ")} wheel slides on the way.` : "";
  if (!most) return slides || "There is no braking here.";
  const before = -one.profile.s_m[most.place]!;
  const where = before < 0.5 ? "at the apex" : `${length(before)} before the apex`;
  return `${slides} The ${WHEELS[most.wheel]} tyre works hardest, ${phaseAt(one, most.place)}: ${percent(most.use)} of what it can hold, ${where}. ${beside(one, most)}`.trim();
}

/** One wheel is not its axle, and the axle is what the plan keeps a margin from. */
function beside(one: ZoneSetting, most: Worked): string {
  const end = most.wheel.startsWith("front") ? "front" : "rear";
  const both = one.profile[`${end}_use_frac`][most.place]!;
  if (percent(both) === percent(most.use)) return `The ${end} axle as a whole is at as much.`;
  return `It is one wheel of two: the ${end} axle as a whole is at ${percent(both)} there, and lets go only when both its wheels are spent.`;
}

/** What the other setting would change, from the plan's own field. */
export function difference(view: ZoneView, first: ZoneSetting, other: ZoneSetting): string {
  const step = view.adjuster.step;
  const longer = other.brake_distance_m - first.brake_distance_m;
  const cost = (value: number) => view.field.find((cell) => cell.setting === value)!.cost_us;
  const lost = (cost(other.setting) - cost(first.setting)) / 1e6;
  const braking = Math.abs(longer) < 0.05 ? "brakes in the same distance" : `brakes ${length(Math.abs(longer), 1)} ${longer > 0 ? "longer" : "shorter"}`;
  const time = Math.abs(lost) < 0.0005 ? "costs the same" : `${lost > 0 ? "loses" : "gains"} ${seconds(Math.abs(lost), 3)} a lap, mistakes counted`;
  return `${setting(other.setting, step)} instead ${braking} and ${time}.`;
}
