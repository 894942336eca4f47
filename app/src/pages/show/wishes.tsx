/** The choices of Show: where, which settings, how hard, how often. */
import type { Of } from "../../api/types";
import { desk } from "../../house/desk";
import { turn } from "../../house/address";
import { Choices, Select, Slider } from "../../parts/field";
import { percent, setting } from "../../words/units";
import { PRESS, SETTINGS_MOST, settingsOf, toggled, wish, type Way, type Wish } from "./ask";

type Plan = Of<"Live">;

const OFTEN = [
  { value: "0", label: "Once, as meant" },
  { value: "20", label: "20 times with his scatter" },
  { value: "100", label: "100 times" },
  { value: "400", label: "400 times" },
];

export function Wishes({ now, plan, planned }: { now: Wish; plan: Plan | null; planned: number | undefined }) {
  return (
    <>
      <ZonePick now={now} plan={plan} planned={planned} />
      <Choices<Way>
        label="Besides the planned setting, try"
        value={now.way}
        options={[
          { value: "wrong", label: "the nearest where something goes wrong" },
          { value: "steps", label: "some steps to either side" },
          { value: "chosen", label: "settings I pick" },
        ]}
        onPick={(way) => wish({ way: way === "wrong" ? "" : way, ...(way === "wrong" ? { try: "" } : {}) }, "What to try")}
      />
      {now.way === "steps" && (
        <Slider
          label="Steps to either side"
          value={now.steps}
          min={1}
          max={20}
          step={1}
          shown={now.steps === 1 ? "1 step" : `${now.steps} steps`}
          onMove={(steps) => turn({ off: String(steps) })}
          onRest={(before, after) => rested("off", before, after, "Steps to either side")}
        />
      )}
      {now.way === "chosen" && plan && <Chips now={now} plan={plan} planned={planned} />}
      <Slider
        label="Press the pedal"
        value={now.press}
        min={PRESS.least}
        max={PRESS.most}
        step={PRESS.step}
        shown={pressed(now.press)}
        onMove={(press) => turn({ press: press === 1 ? "" : String(press) })}
        onRest={(before, after) => rested("press", before, after, "Pedal")}
        help="At every setting, the planned one too."
      />
      <Select
        label="Drive each setting"
        value={String(now.repeat)}
        options={OFTEN.some((one) => one.value === String(now.repeat)) ? OFTEN : [...OFTEN, { value: String(now.repeat), label: `${now.repeat} times` }]}
        help="More runs tell how often it goes wrong, and take longer."
        onPick={(repeat) => wish({ repeat: repeat === "0" ? "" : repeat }, "How often")}
      />
    </>
  );
}

function rested(key: string, before: number, after: number, label: string): void {
  if (before === after) return;
  turn({ [key]: String(before) });
  wish({ [key]: String(after) }, label);
}

/** How hard the pedal is pressed, in words. */
export function pressed(frac: number): string {
  if (Math.abs(frac - 1) < 1e-6) return "as planned";
  return `${percent(Math.abs(frac - 1))} ${frac > 1 ? "harder" : "less hard"} than planned`;
}

interface Picking<P> {
  now: Wish;
  plan: P;
  /** The planned setting of the zone, once the plan is made. */
  planned: number | undefined;
}

function ZonePick({ now, plan, planned }: Picking<Plan | null>) {
  const lap = !desk.value.road.startsWith("sheets/");
  const zones = plan?.zones ?? [];
  const first = zones[0]?.zone_id;
  // A zone sheet has no lap: its first zone is the one to begin with.
  if (!lap && !now.zone && first) queueMicrotask(() => turn({ zone: first }));
  const known = zones.map((zone) => ({ value: zone.zone_id, label: zone.name }));
  if (now.zone && !known.some((one) => one.value === now.zone)) known.unshift({ value: now.zone, label: now.zone });
  const options = [...(lap ? [{ value: "", label: "The whole lap" }] : []), ...known];
  const help = plan && planned !== undefined ? `Planned here: ${setting(planned, plan.adjuster.step)}.` : undefined;
  return <Select label="Where" value={now.zone} options={options} help={help} onPick={(zone) => wish({ zone }, "Zone to drive")} />;
}

function Chips({ now, plan, planned }: Picking<Plan>) {
  const { adjuster } = plan;
  const full = now.settings.length >= SETTINGS_MOST;
  const pick = (one: number) => wish({ way: "chosen", try: toggled(now.settings, one).join(",") }, `Setting ${setting(one, adjuster.step)}`);
  const more = adjuster.higher_means === "front" ? "towards the front ▲" : "towards the rear ▼";
  return (
    <fieldset>
      <legend>Settings to try</legend>
      <p class="soft">Bigger numbers go {more}. Up to {SETTINGS_MOST}; the planned one is always driven.</p>
      <div class="chips">
        {settingsOf(adjuster).map((one) => {
          const own = planned !== undefined && Math.abs(planned - one) < 1e-6;
          const on = own || now.settings.some((each) => Math.abs(each - one) < 1e-6);
          return (
            <button
              key={one}
              type="button"
              aria-pressed={on}
              disabled={own || (full && !on)}
              aria-label={own ? `${setting(one, adjuster.step)}, planned` : undefined}
              onClick={() => pick(one)}
            >
              {setting(one, adjuster.step)}{own && <small aria-hidden="true">plan</small>}
            </button>
          );
        })}
      </div>
    </fieldset>
  );
}
