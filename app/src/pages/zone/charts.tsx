/** The zone's charts: braking distance over the settings; share, speed and deceleration on the way. */
import { Chart, type Axis, type Line, type Mark, type Point } from "../../draw/chart";
import { decel, G_MPS2, length, lengthNumber, lengthUnit, percent, setting, speed, speedNumber, speedUnit } from "../../words/units";
import { fromApex, type ZoneSetting, type ZoneView } from "./view";

export function Distances({ view }: { view: ZoneView }) {
  const able = view.field.filter((cell) => cell.feasible);
  const step = view.adjuster.step;
  if (able.length < 2) return <p>At none of these settings can the car do this zone.</p>;
  const far = able.map((cell) => lengthNumber(cell.brake_distance_m));
  const [low, high] = [Math.min(...far), Math.max(...far)];
  const room = Math.max((high - low) * 0.25, 0.5);
  const best = able[far.indexOf(low)]!;
  const points: Point[] = able.map((cell, i) => [cell.setting, far[i]!]);
  const fine = high - low < 6 ? 1 : 0;
  return (
    <>
      <h2>Braking distance at each setting</h2>
      <Chart
        title="Braking distance at each setting"
        about={`Shortest at ${setting(best.setting, step)} with ${length(best.brake_distance_m, 1)}.`}
        x={{ name: "setting", low: able[0]!.setting, high: able.at(-1)!.setting, show: (v) => setting(v, step) }}
        y={{ name: lengthUnit(), low: low - room, high: high + room, show: (v) => v.toFixed(fine) }}
        lines={[{ name: "distance", points, role: "ink" }]}
        marks={distanceMarks(view)}
        caption="As this driver brakes, with the margin kept; mistakes are not in it."
      />
    </>
  );
}

function distanceMarks(view: ZoneView): Mark[] {
  const same = view.plan_setting === view.lap_setting;
  const named: [number, string][] = same ? [[view.plan_setting, "plan and lap"]] : [[view.plan_setting, "plan"], [view.lap_setting, "lap"]];
  for (const one of view.settings) if (!named.some(([value]) => value === one.setting)) named.push([one.setting, "looked at"]);
  const inOrder = named.sort(([a], [b]) => a - b);
  return inOrder.map(([value, word], i) => {
    const cell = view.field.find((one) => one.setting === value)!;
    return { at: [value, lengthNumber(cell.brake_distance_m)], label: `${word} ${setting(value, view.adjuster.step)}`, sign: "dot", side: i % 2 ? "below" : "above" };
  });
}

/** Distance before the apex, negative, so that one drives from left to right. */
function way(view: ZoneView): Axis {
  const low = Math.min(...view.settings.map((one) => one.profile.s_m[0]!));
  return { name: `${lengthUnit()} before the apex`, low: lengthNumber(low), high: 0, show: (v) => (-v || 0).toFixed(0) };
}

function along(one: ZoneSetting, values: (number | null)[]): Point[] {
  return one.profile.s_m.flatMap((s, k): Point[] => (values[k] == null ? [] : [[lengthNumber(s), values[k]!]]));
}

function hereLine(view: ZoneView, at: number, y: Axis): Line {
  const one = view.settings[0]!;
  const s = lengthNumber(one.profile.s_m[fromApex(one, at)]!);
  return { name: "here", points: [[s, y.low], [s, y.high]], role: "soft", thin: true };
}

/** Shares over which the picture runs: the settings', and the ideal while there is real braking. */
function shareRange(view: ZoneView): [number, number] {
  const { decel_mps2, ideal_torque_share_frac } = view.settings[0]!.profile;
  const most = Math.max(...decel_mps2);
  const braked = ideal_torque_share_frac.filter((share, k): share is number => share !== null && decel_mps2[k]! > 0.3 * most);
  const all = [...view.settings.slice(0, 2).map((one) => one.torque_share_frac), ...braked];
  return [Math.max(Math.min(...all) - 0.08, 0), Math.min(Math.max(...all) + 0.06, 1)];
}

export function Shares({ view, at }: { view: ZoneView; at: number }) {
  const one = view.settings[0]!;
  const { profile } = one;
  const ideal = along(one, profile.ideal_torque_share_frac);
  const [low, high] = shareRange(view);
  const y: Axis = { name: "front share of the brakes", low, high, show: percent };
  const x = way(view);
  const shown = view.settings.slice(0, 2);
  const higher = Math.max(...shown.map((other) => other.torque_share_frac));
  return (
    <>
      <h2>Its share and the ideal one</h2>
      <Chart
        title="Its share and the ideal one"
        about={`The setting's share is ${percent(one.torque_share_frac)} all the way; the ideal begins at ${percent(ideal[0]?.[1] ?? 0)}.`}
        x={x}
        y={y}
        bands={[{ name: "window", low: along(one, profile.window_low_frac), high: along(one, profile.window_high_frac) }]}
        lines={[
          hereLine(view, at, y),
          { name: "ideal", points: ideal, role: "soft" },
          ...shown.map((other, i): Line => ({ name: `setting ${i}`, points: [[x.low, other.torque_share_frac], [0, other.torque_share_frac]], role: "ink", dash: i > 0 })),
        ]}
        marks={shown.map((other): Mark => ({ at: [x.low * 0.1, other.torque_share_frac], label: setting(other.setting, view.adjuster.step), sign: "dot", side: other.torque_share_frac === higher ? "above" : "below" }))}
        caption="Grey line: the share that would use both ends alike at this braking. Shaded: shares with which neither end is asked for more than it has."
      />
    </>
  );
}

interface What {
  title: string;
  unit: () => string;
  of: (one: ZoneSetting) => number[];
  axis: (value: number) => number;
  digits: number;
  say: (value: number) => string;
}

const WHAT: Record<"speed" | "decel", What> = {
  speed: { title: "Speed", unit: speedUnit, of: (one) => one.profile.speed_mps, axis: speedNumber, digits: 0, say: speed },
  decel: { title: "Deceleration", unit: () => "g", of: (one) => one.profile.decel_mps2, axis: (v) => v / G_MPS2, digits: 1, say: decel },
};

export function Motion({ view, at, what }: { view: ZoneView; at: number; what: keyof typeof WHAT }) {
  const { title, unit, of, axis, digits, say } = WHAT[what];
  const shown = view.settings.slice(0, 2);
  const high = Math.max(...shown.flatMap(of).map(axis));
  const y: Axis = { name: unit(), low: 0, high: 1.08 * high, show: (v) => v.toFixed(digits) };
  const first = of(view.settings[0]!);
  return (
    <>
      <h2>{title}</h2>
      <Chart
        title={`${title} on the way to the apex`}
        about={`From ${say(first[0]!)} where the braking begins to ${say(first.at(-1)!)} at the apex.`}
        x={way(view)}
        y={y}
        height={190}
        lines={[hereLine(view, at, y), ...shown.map((one, i): Line => ({ name: `setting ${i}`, points: along(one, of(one).map(axis)), role: "ink", dash: i > 0 }))]}
      />
    </>
  );
}
