/** The plan: a staircase that moves with the sliders, and what stands behind it. */
import { useComputed, useSignal } from "@preact/signals";
import { draft } from "../house/draft";
import { setting } from "../words/units";
import { Progress, Warnings, Wrong } from "../parts/notice";
import { CircuitMap } from "../draw/circuit_map";
import { Staircase, type Place } from "../draw/staircase";
import { Answer } from "./plan/answer";
import { useFirst, useLive, useRested, key, type PlanAnswer } from "./plan/ask";
import { CellPanel, cellInWords } from "./plan/cell";
import { Controls } from "./plan/controls";
import { Doubt } from "./plan/doubt";
import { Keep } from "./plan/keep";
import { Reasons } from "./plan/reasons";
import { fromPlan, moved, type Stairs } from "./plan/stairs";
import "../style/plan.css";

export function PlanPage() {
  const live = useLive();
  const first = useFirst();
  const rested = useRested();
  const near = useSignal<number | null>(null);
  const looked = draft<Place | null>("plan.look", null);
  const wanted = key.value;
  const stairs = useComputed(() => shown(rested.now?.answer ?? null, live.now.value, first.value.value, wanted));
  const plan = rested.now?.answer ?? first.value.value?.answer ?? null;
  const fits = rested.now !== null || first.value.value?.key === wanted; // not of other sliders
  const wrong = live.wrong.value ?? first.value.wrong ?? rested.wrong;
  const now = shown(rested.now?.answer ?? null, live.now.value, first.value.value, wanted) ?? stairs.value;
  const look = now && looked.value && now.zones[looked.value.zone] && now.settings[looked.value.index] !== undefined ? looked.value : null;
  return (
    <>
      <header><h1>Plan</h1></header>
      <div class="stack plan">
        {wrong && <Wrong problem={wrong} />}
        {now ? (
          <div class="parts">
            <div class="stack main">
              <Answer stairs={now} plan={plan?.result ?? null} rested={rested.now !== null} />
              <section class="card" aria-label="Staircase">
                <Staircase
                  stairs={now}
                  looked={look}
                  near={near.value}
                  tell={(place) => cellInWords(now, place)}
                  onLook={(place) => (looked.value = place)}
                  onNear={(zone) => (near.value = zone)}
                />
              </section>
              {look && <CellPanel stairs={now} place={look} plan={rested.now?.answer.result ?? null} onClose={() => (looked.value = null)} />}
            </div>
            <div class="stack side">
              <Controls stairs={now} />
              <Rest rested={rested} stairs={now} live={live.now.value?.stairs ?? null} />
              {plan?.result.outline && (
                <section class="card" aria-label="Map">
                  <h2>Where</h2>
                  <CircuitMap
                    outline={plan.result.outline}
                    zones={mapZones(plan)}
                    stairs={now}
                    near={near.value}
                    onNear={(zone) => (near.value = zone)}
                    onPick={(zone) => (looked.value = { zone, index: now.settings.indexOf(now.zones[zone]!.setting) })}
                  />
                </section>
              )}
            </div>
            {plan && <Reasons stairs={now} plan={plan.result} fits={fits} near={near} />}
          </div>
        ) : (
          !wrong && <p class="soft" role="status">Working out the plan …</p>
        )}
        {plan && fits && <Warnings warnings={plan.warnings} />}
        {plan && fits && <Doubt plan={plan.result} stairs={now} />}
      </div>
    </>
  );
}

interface Reckoned {
  key: string;
  stairs: Stairs;
}

/** The staircase to show: the rested plan of these sliders, else the quick one, else the last. */
function shown(rested: PlanAnswer | null, live: Reckoned | null, first: Reckoned | null, wanted: string): Stairs | null {
  if (rested) return fromPlan(rested.result);
  if (live?.key === wanted) return live.stairs;
  if (first?.key === wanted) return first.stairs;
  return live?.stairs ?? first?.stairs ?? null;
}

function mapZones(plan: PlanAnswer) {
  return plan.result.zones.map((zone) => ({ id: zone.zone_id, brake_s_m: zone.brake_s_m ?? 0, apex_s_m: zone.apex_s_m ?? 0 }));
}

/** What goes on since the sliders rest: the doubts are worked out, then the plan can be kept. */
function Rest({ rested, stairs, live }: { rested: ReturnType<typeof useRested>; stairs: Stairs; live: Stairs | null }) {
  if (rested.work) return <Progress state={rested.work.state} onStop={rested.work.cancel} label="How sure this is" />;
  if (!rested.now) return <p class="soft" role="status">How sure this is follows when the sliders rest.</p>;
  const changed = live ? moved(live, stairs) : [];
  return (
    <section class="card stack" aria-label="Keep">
      {changed.length > 0 && (
        <p>{doubted(live!, stairs, changed)}</p>
      )}
      <Keep rested={rested.now} />
    </section>
  );
}

/** What the doubts have changed of the quick plan. */
function doubted(quick: Stairs, now: Stairs, zones: string[]): string {
  const all = "With all counted that the car file leaves open,";
  if (quick.lap !== now.lap) return `${all} the lap setting is ${setting(now.lap, now.step)} instead of ${setting(quick.lap, now.step)}.`;
  return `${all} another setting is planned in ${zones.length > 3 ? `${zones.length} zones` : zones.join(" and ")}.`;
}
