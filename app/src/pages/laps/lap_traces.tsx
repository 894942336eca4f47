/** Laps over each other along the whole lap: speed, brake, and time behind the best. */
import { useSignal } from "@preact/signals";
import { useMemo } from "preact/hooks";
import type { Of } from "../../api/types";
import { Traces as Plots } from "../../draw/traces";
import { STROKES, type Panel, type TraceLine } from "../../draw/traces_plot";
import { length, lengthNumber, percent, seconds, speed, units } from "../../words/units";
import { behind, keyOf, nameOf, type LapTrace, type Traces } from "./traces";

const MOST = STROKES.length;

export function LapTraces({ all, result, stretch }: { all: Traces; result: Of<"Debrief">; stretch: [number, number] | null }) {
  const chosen = useSignal<string[]>(usual(all));
  const laps = chosen.value.map((key) => all.laps.find((one) => keyOf(one) === key)).filter((one): one is LapTrace => !!one);
  const drawn = useMemo(() => prepared(all, laps, result.other_name), [all, chosen.value.join(), units.value]);
  const places = useMemo(() => result.zones.map((zone) => ({ s_m: zone.brake_s_m, name: zone.name })), [result]);
  if (!all.laps.length) return null;
  const toggle = (key: string) => {
    const left = chosen.value.filter((one) => one !== key);
    chosen.value = left.length < chosen.value.length ? left : [...chosen.value, key].slice(0, MOST);
  };
  const best = laps.toSorted((a, b) => a.duration_s - b.duration_s)[0];
  return (
    <section class="card stack noprint">
      <h2>Along the lap</h2>
      <div class="chips noprint" role="group" aria-label="Laps drawn">
        {all.laps.map((one) => {
          const on = chosen.value.includes(keyOf(one));
          return (
            <button key={keyOf(one)} type="button" aria-pressed={on} disabled={!on && chosen.value.length >= MOST} onClick={() => toggle(keyOf(one))}>
              {nameOf(one, result.other_name)} <small>{seconds(one.duration_s)}</small>
            </button>
          );
        })}
      </div>
      {best && (
        <Plots
          label={`Speed, brake and time behind ${nameOf(best, result.other_name)} along the lap, ${laps.length} laps. Arrow keys move, plus and minus zoom.`}
          s_m={drawn.s_m}
          panels={drawn.panels}
          lines={drawn.lines}
          places={places}
          showPlace={(s) => length(s)}
          unit_m={1 / lengthNumber(1)}
          stretch={stretch}
        />
      )}
    </section>
  );
}

/** The driver's best lap and his middle one; the other's best. */
function usual(all: Traces): string[] {
  const byTime = (whose: string) => all.laps.filter((one) => one.whose === whose).toSorted((a, b) => a.duration_s - b.duration_s);
  const own = byTime("driver");
  const picked = [own[0], own[Math.floor(own.length / 2)], byTime("other")[0]];
  return [...new Set(picked.filter((one): one is LapTrace => !!one).map(keyOf))];
}

function prepared(all: Traces, laps: LapTrace[], other: string | null): { s_m: number[]; panels: Panel[]; lines: TraceLine[] } {
  const low = Math.max(0, Math.round(-all.first_s_m / all.step_m));
  const high = low + Math.floor(all.length_m / all.step_m) + 1;
  const s_m = Array.from({ length: high - low }, (_, i) => i * all.step_m);
  const best = laps.toSorted((a, b) => a.duration_s - b.duration_s)[0];
  const per = units.value === "metric" ? 3.6 : 3600 / 1609.344; // so that the axis has round numbers
  const lines = laps.map((lap) => ({
    name: nameOf(lap, other),
    panels: [lap.speed_mps.map((v) => (v === null ? null : v * per)), lap.brake_frac, best ? behind(lap, best) : lap.time_s].map((one) => one.slice(low, high)),
  }));
  const panels: Panel[] = [
    { name: "speed", height: 240, show: (value) => speed(value / per) },
    { name: "brake", height: 110, show: percent },
    { name: "behind", height: 130, show: (value) => seconds(value, 2, true) },
  ];
  return { s_m, panels, lines };
}
