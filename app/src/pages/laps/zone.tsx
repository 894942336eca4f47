/** One zone of a debrief: its passes laid over each other, how steady they are, and against whom. */
import type { Of } from "../../api/types";
import { Strips, type Strip, type StripMark } from "../../draw/strips";
import { length, percent, setting, speed } from "../../words/units";
import { cut, nameOf, window_, type Traces } from "./traces";
import { EVENTS, named, short } from "./words";
import { GripUse } from "./grip";

type Debrief = Of<"Debrief">;
type Zone = Of<"DebriefZone">;

export function OneZone({ zone, result, traces }: { zone: Zone; result: Debrief; traces: Traces | null }) {
  return (
    <section class="card stack" aria-label={zone.name}>
      <h2>{zone.name}</h2>
      {zone.technique_first && (
        <p><strong>Technique first.</strong> The release scatters by {percent(zone.release_scatter_frac ?? 0)} of the peak; two steps of the adjuster change {((zone.two_steps_frac ?? 0) * 100).toFixed(1)} % of the limit. No setting can be judged here yet.</p>
      )}
      <div class="two even">
        <div class="stack">
          {traces && <ZoneStrips zone={zone} result={result} traces={traces} />}
          {zone.against_plan && <Planned zone={zone} />}
          {zone.against_other.length > 0 && <Other zone={zone} other={result.other_name ?? "the other"} />}
        </div>
        <div class="stack">
          <Steadiness zone={zone} />
          <GripUse zone={zone} result={result} />
        </div>
      </div>
    </section>
  );
}

function ZoneStrips({ zone, result, traces }: { zone: Zone; result: Debrief; traces: Traces }) {
  const L = result.circuit.length_m;
  const part = cut(traces, zone.apex_s_m, ...window_(zone, L));
  const best = zone.best_lap_id;
  const otherBest = traces.laps.filter((one) => one.whose === "other").toSorted((a, b) => a.duration_s - b.duration_s)[0];
  const strips: Strip[] = part.laps
    .filter(({ trace }) => trace.whose === "driver" || trace === otherBest)
    .map(({ trace, speed_mps, brake_frac }) => ({
      name: nameOf(trace, result.other_name),
      role: trace.whose === "other" ? "other" : trace.lap_id === best ? "best" : "usual",
      speed_mps,
      brake_frac,
    }));
  const drawn = new Set(traces.laps.map((one) => one.lap_id));
  const marks: StripMark[] = result.events
    .filter((one) => one.zone_id === zone.zone_id && one.s_m !== null && one.kind !== "unused" && drawn.has(one.lap_id))
    .map((one) => ({ s_m: short(one.s_m! - zone.apex_s_m, L), words: `${one.lap_id}: ${EVENTS[one.kind]}`, axle: one.axle }));
  return (
    <Strips
      zone={zone.name}
      s_m={part.s_m}
      strips={strips}
      brake_m={short(zone.brake_s_m - zone.apex_s_m, L)}
      turn_in_m={short(zone.turn_in_s_m - zone.apex_s_m, L)}
      plan_brake_m={zone.against_plan ? short(zone.against_plan.brake_s_m - zone.apex_s_m, L) : null}
      marks={marks}
    />
  );
}

function Steadiness({ zone }: { zone: Zone }) {
  const rows = zone.scatter.filter((one) => one.measure !== "brake_s_m");
  const brake = zone.scatter.find((one) => one.measure === "brake_s_m");
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="How steady">
      <table>
        <thead><tr><th scope="col">Usual pass</th><th scope="col" class="number">Middle</th><th scope="col" class="number">Scatter</th></tr></thead>
        <tbody>
          {brake && <tr><th scope="row">brake point, before turn-in</th><td class="number">{length(zone.turn_in_s_m - zone.brake_s_m)}</td><td class="number">{brake.sd === null ? "" : `± ${length(brake.sd, 1)}`}</td></tr>}
          {rows.map((one) => {
            const { name, show } = named(one.measure);
            return <tr key={one.measure}><th scope="row">{name}</th><td class="number">{show(one.median)}</td><td class="number">{one.sd === null ? "" : `± ${show(one.sd)}`}</td></tr>;
          })}
        </tbody>
      </table>
    </div>
  );
}

function Planned({ zone }: { zone: Zone }) {
  const plan = zone.against_plan!;
  const driven = plan.setting_driven === null ? "" : `, driven at ${dialled(plan.setting_driven)}`;
  return (
    <p>
      <strong>Against the plan:</strong> the brake {later(plan.later_m)}{plan.give_or_take_m !== null && ` ± ${length(plan.give_or_take_m)}`}, coming in at {speed(plan.approach_driven_mps)}, planned {speed(plan.approach_mps)}; let off at {plan.depth_driven_frac.toFixed(2)} of the way from turn-in to apex, planned {plan.depth_frac.toFixed(2)}; planned setting {dialled(plan.setting)}{driven}.
    </p>
  );
}

function later(later_m: number): string {
  if (length(Math.abs(later_m)) === length(0)) return "as planned";
  return `${length(Math.abs(later_m))} ${later_m > 0 ? "later" : "earlier"}`;
}

function dialled(value: number): string {
  return setting(value, 0.01).replace(/\.?0+$/, "");
}

function Other({ zone, other }: { zone: Zone; other: string }) {
  const rows = zone.against_other.map((one) => ({ ...one, ...named(one.measure) }));
  const sure = rows.filter((one) => one.sure && one.show(one.mine) !== one.show(one.theirs));
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label={`Against ${other}`}>
      {sure.length === 0 && <p>No difference to {other} that is larger than the scatter.</p>}
      {sure.length > 0 && (
        <table>
          <caption>Surely different from {other}</caption>
          <thead><tr><th scope="col">What</th><th scope="col" class="number">This driver</th><th scope="col" class="number">{other}</th></tr></thead>
          <tbody>
            {sure.map((one) => {
              const brake = one.measure === "brake_s_m";
              const show = (value: number) => (brake ? `${length(zone.turn_in_s_m - value)} before turn-in` : one.show(value));
              return <tr key={one.measure}><th scope="row">{one.name}</th><td class="number">{show(one.mine)}</td><td class="number">{show(one.theirs)}</td></tr>;
            })}
          </tbody>
        </table>
      )}
    </div>
  );
}
