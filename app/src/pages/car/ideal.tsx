/** The share this car could use, at a deceleration, a speed and a cornering load one chooses. */
import { job } from "../../api/call";
import type { Envelope, Of } from "../../api/types";
import { Chart, type Band, type Line, type Mark, type Point } from "../../draw/chart";
import { place, turn } from "../../house/address";
import { useLoaded } from "../../house/loaded";
import { keep } from "../../house/undo";
import { Slider } from "../../parts/field";
import { Wrong } from "../../parts/notice";
import { percent, setting, speed } from "../../words/units";
import type { AdjusterValue } from "./value";

type Ideal = Of<"Ideal">;
type IdealPoint = Ideal["points"][number];
const DECELS = Array.from({ length: 20 }, (_, i) => 0.1 * (i + 1));

interface Knob {
  key: "decel" | "speed" | "side";
  label: string;
  min: number;
  max: number;
  step: number;
  start: number;
  show: (value: number) => string;
}

const KNOBS: Knob[] = [
  { key: "decel", label: "Deceleration", min: 0.1, max: 2, step: 0.1, start: 1, show: (v) => `${v.toFixed(1)} g` },
  { key: "speed", label: "Speed", min: 30, max: 300, step: 5, start: 120, show: (v) => speed(v / 3.6) },
  { key: "side", label: "Cornering load", min: 0, max: 2, step: 0.1, start: 0, show: (v) => `${v.toFixed(1)} g` },
];

function knob(key: Knob["key"]): number {
  const typed = Number(place.value.query[key]);
  return place.value.query[key] && Number.isFinite(typed) ? typed : KNOBS.find((one) => one.key === key)!.start;
}

export function IdealPart({ car, adjuster, revision }: { car: string; adjuster: AdjusterValue | undefined; revision: string }) {
  const at = { decel: knob("decel"), speed: knob("speed"), side: knob("side") };
  const asked = { car, decel_g: DECELS, speed_kmh: [at.speed], lateral_g: at.side > 0 ? [0, at.side] : [0] };
  const found = useLoaded(`${revision} ${JSON.stringify(asked)}`, (signal) => job<Envelope<Ideal>>("ideal", asked, signal), 40);
  const { value, wrong } = found.value;
  return (
    <section class="card" aria-labelledby="ideal-head">
      <h2 id="ideal-head">The share it could use</h2>
      <p>Both ends reach their grip together at the ideal share. In the grey band either end still has grip left.</p>
      <div class="two even">
        <div class="stack">
          {KNOBS.map((one) => <Move key={one.key} knob={one} />)}
          {value && <Answer points={value.result.points} at={at} settings={value.result.settings} adjuster={adjuster} />}
        </div>
        {value && <Picture answer={value.result} at={at} />}
      </div>
      {wrong && <Wrong problem={wrong} />}
    </section>
  );
}

function Move({ knob: one }: { knob: Knob }) {
  const now = knob(one.key);
  const set = (value: number) => turn({ [one.key]: String(value) });
  return (
    <Slider
      label={one.label}
      value={now}
      min={one.min}
      max={one.max}
      step={one.step}
      shown={one.show(now)}
      onMove={set}
      onRest={(before, after) => keep({ label: `${one.label} ${one.show(after)}`, undo: () => set(before), redo: () => set(after) })}
    />
  );
}

interface At {
  decel: number;
  speed: number;
  side: number;
}

function Answer({ points, at, settings, adjuster }: { points: IdealPoint[]; at: At; settings: Ideal["settings"]; adjuster: AdjusterValue | undefined }) {
  const here = nearest(points, at);
  if (!here?.feasible || here.ideal_share_frac === null)
    return <p role="status"><strong>Out of reach:</strong> {outOf(here)}</p>;
  const inside = settings.filter(
    (one) => one.front_share_frac >= (here.window_low_frac ?? 0) && one.front_share_frac <= (here.window_high_frac ?? 1),
  );
  return (
    <p role="status">
      Ideal here: <strong>{percent(here.ideal_share_frac)} front</strong>. {adjuster && within(inside, settings.length, adjuster)}
    </p>
  );
}

function within(inside: Ideal["settings"], all: number, adjuster: AdjusterValue): string {
  if (!inside.length) return "No setting of this adjuster can do it.";
  if (inside.length === all) return "Every setting of the adjuster can do it.";
  const numbers = inside.map((one) => one.setting);
  return `Settings ${setting(Math.min(...numbers), adjuster.step)} to ${setting(Math.max(...numbers), adjuster.step)} can do it.`;
}

function outOf(here: IdealPoint | undefined): string {
  const why = { front: "the front", rear: "the rear", lateral: "cornering alone", none: "something" };
  return here ? `${why[here.limit]} takes more grip than there is.` : "no such point.";
}

function nearest(points: IdealPoint[], at: At): IdealPoint | undefined {
  return side(points, at.side).find((one) => Math.abs(one.decel_mps2 / 9.80665 - at.decel) < 0.05);
}

function side(points: IdealPoint[], load_g: number): IdealPoint[] {
  return points.filter((one) => Math.abs(one.lateral_mps2 / 9.80665 - load_g) < 0.02);
}

function Picture({ answer, at }: { answer: Ideal; at: At }) {
  const now = side(answer.points, at.side);
  const straight = side(answer.points, 0);
  const along = (one: IdealPoint, y: number | null): Point | null => (one.feasible && y !== null ? [one.decel_mps2 / 9.80665, y] : null);
  const line = (list: IdealPoint[], pick: (one: IdealPoint) => number | null) =>
    list.map((one) => along(one, pick(one))).filter((point): point is Point => point !== null);
  const lines: Line[] = [{ name: "ideal", points: line(now, (one) => one.ideal_share_frac), role: "ink" }];
  if (at.side > 0) lines.push({ name: "straight", points: line(straight, (one) => one.ideal_share_frac), role: "soft", dash: true, thin: true });
  const band: Band = { name: "window", low: line(now, (one) => one.window_low_frac), high: line(now, (one) => one.window_high_frac) };
  const here = nearest(answer.points, at);
  const mark: Mark[] = here?.feasible && here.ideal_share_frac !== null ? [{ at: [here.decel_mps2 / 9.80665, here.ideal_share_frac], label: percent(here.ideal_share_frac), sign: "dot" }] : [];
  const ends = lines[0]!.points.at(-1)?.[0];
  return (
    <Chart
      title="Ideal share over deceleration"
      about={ends === undefined ? "The car cannot brake here at all." : `The car can slow by up to ${ends.toFixed(1)} g here.`}
      x={{ name: "deceleration", low: 0, high: 2, show: (v) => `${v.toFixed(1)} g` }}
      y={{ name: "front share", low: 0.3, high: 1, show: percent }}
      lines={lines}
      bands={[band]}
      marks={mark}
      caption={at.side > 0 ? "Broken line: the same without cornering." : undefined}
    />
  );
}
