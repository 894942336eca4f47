/** Zones by passes: one measure at a time, with what went wrong where it did. */
import { useSignal } from "@preact/signals";
import type { Of } from "../../api/types";
import { Select } from "../../parts/field";
import { seconds } from "../../words/units";
import { EVENTS, MEASURES, signOf, valueOf, type Measure } from "./words";

type Debrief = Of<"Debrief">;
type Zone = Of<"DebriefZone">;

export function WorkTable({ result, picked, onPick }: { result: Debrief; picked: string; onPick: (zone_id: string) => void }) {
  const key = useSignal("lost");
  const known = MEASURES.filter((one) => result.zones.some((zone) => result.passes.some((pass) => pass.zone_id === zone.zone_id && valueOf(one, pass, zone, result.circuit.length_m) !== null)));
  const measure = known.find((one) => one.key === key.value) ?? known[0] ?? MEASURES[0]!;
  const laps = result.laps.filter((lap) => result.passes.some((pass) => pass.lap_id === lap.lap_id));
  return (
    <>
      <div class="noprint"><Select label="Show" value={measure.key} options={known.map((one) => ({ value: one.key, label: one.name }))} onPick={(one) => (key.value = one)} /></div>
      <div class="scroll" tabIndex={0} role="region" aria-label={`Zones and passes: ${measure.name}`}>
        <table class="passes">
          <caption class="unseen">{measure.name} in each zone of each lap</caption>
          <thead>
            <tr>
              <th scope="col">Zone</th>
              <th scope="col" class="number">Usual loss</th>
              {laps.map((lap) => <th key={lap.lap_id} scope="col" class="number">{lap.lap_id}{lap.kind !== "full" && <small> {lap.kind}</small>}</th>)}
            </tr>
          </thead>
          <tbody>
            {result.zones.map((zone) => (
              <tr key={zone.zone_id} class={zone.zone_id === picked ? "picked" : undefined}>
                <th scope="row"><button type="button" class="bare" aria-pressed={zone.zone_id === picked} onClick={() => onPick(zone.zone_id)}>{zone.name}</button></th>
                <td class="number">{zone.lost_usual_s === null ? "" : seconds(zone.lost_usual_s)}</td>
                {laps.map((lap) => <Cell key={lap.lap_id} result={result} zone={zone} lap_id={lap.lap_id} measure={measure} />)}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <p class="soft">▲ front wheel locked, ▼ rear, △ ran wide, – braking left unused, ○ double stab. The best value of a zone in which nothing locked, came out or ran wide is bold; a part of a lap may beat the best full one.</p>
    </>
  );
}

function Cell({ result, zone, lap_id, measure }: { result: Debrief; zone: Zone; lap_id: string; measure: Measure }) {
  const passes = result.passes.filter((one) => one.zone_id === zone.zone_id);
  const pass = passes.find((one) => one.lap_id === lap_id);
  const value = pass ? valueOf(measure, pass, zone, result.circuit.length_m) : null;
  const events = result.events.filter((one) => one.zone_id === zone.zone_id && one.lap_id === lap_id);
  const clean = passes.filter((one) => !one.spoilt);
  const all = (clean.length ? clean : passes).map((one) => valueOf(measure, one, zone, result.circuit.length_m)).filter((one): one is number => one !== null);
  const best = measure.better === "more" ? Math.max(...all) : measure.better === "less" ? Math.min(...all) : null;
  return (
    <td class={value !== null && value === best && !(pass?.spoilt && clean.length) ? "number best" : "number"}>
      {value === null ? "" : measure.show(value)}
      {events.map((one, i) => (
        <span key={i} class={`sign ${one.axle ?? ""}`} role="img" aria-label={`${EVENTS[one.kind]}${one.axle ? `, ${one.axle}` : ""}`} title={EVENTS[one.kind]}>{signOf(one)}</span>
      ))}
    </td>
  );
}
