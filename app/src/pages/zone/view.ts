/** What the zone's pictures read from the answer. */
import type { Of } from "../../api/types";
import type { Car, Wheel } from "../../draw/ellipses";

export type ZoneView = Of<"ZoneView">;
export type ZoneSetting = Of<"ZoneSetting">;

export const WHEELS: Record<string, string> = {
  front_inside: "inside front",
  front_outside: "outside front",
  rear_inside: "inside rear",
  rear_outside: "outside rear",
};

/** Places are counted from the apex backwards: they stay the same when he brakes earlier. */
export function fromApex(one: ZoneSetting, back: number): number {
  return Math.max(one.profile.s_m.length - 1 - back, 0);
}

/** The place to begin at: where the front or the rear is used most while he brakes. */
export function startAt(view: ZoneView): number {
  const { hardest } = worked(view.settings[0]!);
  return hardest ? view.settings[0]!.profile.s_m.length - 1 - hardest.place : 0;
}

export interface Worked {
  wheel: string;
  place: number;
  use: number;
}

/** The wheel used most while the pedal is pressed, and those that slide. */
export function worked(one: ZoneSetting): { hardest: Worked | null; sliding: string[] } {
  let hardest: Worked | null = null;
  const sliding = new Set<string>();
  for (const wheel of one.wheels)
    one.profile.pedal_frac.forEach((pedal, k) => {
      if (pedal <= 0) return;
      if (wheel.sliding[k]) sliding.add(wheel.wheel);
      else if (!hardest || wheel.use_frac[k]! > hardest.use) hardest = { wheel: wheel.wheel, place: k, use: wheel.use_frac[k]! };
    });
  return { hardest, sliding: [...sliding] };
}

/** Which part of the zone a place lies in, in the words of the plan. */
export function phaseAt(one: ZoneSetting, place: number): string {
  const { lateral_mps2, speed_mps, pedal_frac } = one.profile;
  const bend = lateral_mps2.map((side, k) => Math.abs(side) / speed_mps[k]! ** 2);
  // He turns in where the road first bends by a tenth of what it does at most.
  const turnIn = bend.findIndex((now) => now > 0.1 * Math.max(...bend));
  if (turnIn < 0 || place < turnIn) return "in the straight part of the stop";
  const release = pedal_frac.findLastIndex((pedal) => pedal > 0);
  return 2 * place < turnIn + release ? "while braking into the turn" : "as the brakes are let off";
}

export function carAt(one: ZoneSetting, back: number, name: string): Car {
  const k = fromApex(one, back);
  const wheels: Wheel[] = one.wheels.map((wheel) => ({
    along_N: wheel.along_N[k]!,
    across_N: wheel.across_N[k]!,
    mostAlong_N: wheel.capacity_along_N[k]!,
    mostAcross_N: wheel.capacity_across_N[k]!,
    use: wheel.use_frac[k]!,
    sliding: wheel.sliding[k]!,
  }));
  return { name, wheels };
}

/** The greatest force any tyre could make in the zone, which sets the scale of the picture. [N] */
export function greatest(view: ZoneView): number {
  const all = view.settings.flatMap((one) => one.wheels.flatMap((wheel) => [...wheel.capacity_along_N, ...wheel.capacity_across_N]));
  return Math.max(...all, 1);
}
