/** What the measures and events of a debrief are called, and how their values are shown. */
import type { Of } from "../../api/types";
import { decel, length, percent, seconds, setting, speed } from "../../words/units";

export type Pass = Of<"DebriefPass">;
export type Event = Of<"DebriefEvent">;

export const EVENTS: Record<Event["kind"], string> = {
  lock_up: "lock-up",
  rotation: "rotation on entry",
  wide: "running wide",
  unused: "braking left unused",
  double_stab: "double stab",
};

/** The sign of an event: a triangle for the end that let go, filled or not. */
export function signOf(event: Pick<Event, "kind" | "axle">): string {
  if (event.kind === "double_stab") return "○";
  if (event.kind === "unused") return "–";
  if (event.kind === "wide") return "△";
  return event.axle === "rear" ? "▼" : "▲";
}

export interface Measure {
  key: string;
  name: string;
  /** Which way is better; "" where neither is. */
  better: "more" | "less" | "";
  of: (pass: Pass) => number | null;
  show: (value: number) => string;
}

export const MEASURES: Measure[] = [
  { key: "lost", name: "time lost to the best pass", better: "less", of: (p) => p.lost_s, show: (v) => seconds(v) },
  { key: "lost_other", name: "time lost to the other driver", better: "less", of: (p) => p.lost_other_s, show: (v) => seconds(v, 2, true) },
  { key: "brake", name: "brake point, before turn-in", better: "", of: () => null, show: (v) => length(v) },
  { key: "approach", name: "approach speed", better: "more", of: (p) => p.approach_speed_mps, show: speed },
  { key: "slowest", name: "lowest speed", better: "more", of: (p) => p.min_speed_mps, show: speed },
  { key: "peak", name: "peak deceleration", better: "more", of: (p) => p.peak_decel_mps2, show: decel },
  { key: "mfdd", name: "MFDD", better: "more", of: (p) => p.mfdd_mps2, show: decel },
  { key: "depth", name: "release point (0 turn-in, 1 apex)", better: "", of: (p) => p.depth_frac, show: (v) => v.toFixed(2) },
  { key: "left", name: "brake left at turn-in", better: "", of: (p) => p.brake_left_frac, show: percent },
  { key: "grip", name: "use of grip, of what was shown", better: "more", of: (p) => p.grip_use_shown_frac, show: percent },
  { key: "model", name: "use of grip, by the model", better: "more", of: (p) => p.grip_use_frac, show: percent },
  { key: "share", name: "pressure share", better: "", of: (p) => p.pressure_share_frac, show: percent },
  { key: "setting", name: "setting", better: "", of: (p) => p.setting, show: (v) => setting(v, stepOf(v)) },
];

/** As many decimals as the logged setting has, and no more than two. */
function stepOf(value: number): number {
  return [1, 0.1, 0.01].find((step) => Math.abs(value / step - Math.round(value / step)) < 1e-6) ?? 0.01;
}

/** The value of a measure in a pass of a zone; the brake point counts from the turn-in. */
export function valueOf(measure: Measure, pass: Pass, zone: Of<"DebriefZone">, length_m: number): number | null {
  if (measure.key !== "brake") return measure.of(pass);
  return pass.brake_s_m === null ? null : -short(pass.brake_s_m - zone.turn_in_s_m, length_m);
}

/** A difference of places the short way round. */
export function short(difference_m: number, length_m: number): number {
  return ((((difference_m + length_m / 2) % length_m) + length_m) % length_m) - length_m / 2;
}

/** A measure by the name the debrief gives it. */
export function named(measure: string): { name: string; show: (value: number) => string } {
  return BY_DEBRIEF[measure] ?? { name: measure, show: (value) => value.toFixed(2) };
}

const BY_DEBRIEF: Record<string, { name: string; show: (value: number) => string }> = {
  brake_s_m: { name: "brake point", show: (v) => length(v) },
  approach_speed_mps: { name: "approach speed", show: speed },
  min_speed_mps: { name: "lowest speed", show: speed },
  brake_nominal_m: { name: "braking distance at nominal speed", show: (v) => length(v) },
  peak_decel_mps2: { name: "peak deceleration", show: decel },
  mean_decel_mps2: { name: "mean deceleration", show: decel },
  mfdd_mps2: { name: "MFDD", show: decel },
  depth_frac: { name: "release point (0 turn-in, 1 apex)", show: (v) => v.toFixed(2) },
  brake_left_frac: { name: "brake left at turn-in", show: percent },
  release_shape_frac: { name: "release shape (0.5 a straight line)", show: (v) => v.toFixed(2) },
  pressure_share_frac: { name: "pressure share", show: percent },
  use_shown_frac: { name: "use of grip, of what was shown", show: percent },
  use_model_frac: { name: "use of grip, by the model", show: percent },
  time_s: { name: "time", show: (v) => seconds(v) },
};
