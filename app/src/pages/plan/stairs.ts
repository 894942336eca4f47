/** A plan as its pictures need it, from the quick answer while a slider moves or the rested one. */
import type { Of } from "../../api/types";

export type Advice = "set" | "no_matter" | "cannot_tell";
export type End = "front" | "rear";

export interface ZoneStairs {
  id: string;
  name: string;
  setting: number;
  own: number;
  flatLow: number;
  flatHigh: number;
  advice: Advice;
  /** One entry for each setting, in the order of `Stairs.settings`. */
  cost_us: number[];
  time_s: number[];
  brake_m: number[];
  pFront: number[];
  pRear: number[];
  feasible: boolean[];
}

export interface Point {
  changes: number;
  cost_us: number;
}

export interface Stairs {
  min: number;
  max: number;
  step: number;
  higher: End;
  settings: number[];
  zones: ZoneStairs[];
  lap: number;
  lapCost_us: number;
  changes: number;
  cost_us: number;
  /** The best plan with so many changes, fewest first. */
  frontier: Point[];
}

export function fromPlan(plan: Of<"Plan">): Stairs {
  return {
    ...plan.adjuster,
    higher: plan.adjuster.higher_means,
    settings: (plan.zones[0]?.field ?? []).map((cell) => cell.setting),
    zones: plan.zones.map(zoneOfPlan),
    lap: plan.lap_setting.setting,
    lapCost_us: plan.lap_setting.cost_us,
    changes: plan.total.changes,
    cost_us: plan.total.cost_us,
    frontier: plan.frontier,
  };
}

function zoneOfPlan(zone: Of<"ZonePlan">): ZoneStairs {
  const of = <K extends keyof Of<"Cell">>(key: K) => zone.field.map((cell) => cell[key]);
  return {
    id: zone.zone_id,
    name: zone.name,
    setting: zone.setting,
    own: zone.own_setting,
    flatLow: zone.flat_low,
    flatHigh: zone.flat_high,
    advice: zone.advice,
    cost_us: of("cost_us"),
    time_s: of("time_s"),
    brake_m: of("brake_distance_m"),
    pFront: of("p_front"),
    pRear: of("p_rear"),
    feasible: of("feasible"),
  };
}

export function fromLive(live: Of<"Live">): Stairs {
  return {
    ...live.adjuster,
    higher: live.adjuster.higher_means,
    settings: live.settings,
    zones: live.zones.map((zone) => ({
      id: zone.zone_id,
      name: zone.name,
      setting: zone.setting,
      own: zone.own_setting,
      flatLow: zone.flat_low,
      flatHigh: zone.flat_high,
      advice: zone.advice,
      cost_us: zone.cost_us,
      time_s: zone.time_s,
      brake_m: zone.brake_distance_m,
      pFront: zone.p_front,
      pRear: zone.p_rear,
      feasible: zone.feasible,
    })),
    lap: live.lap_setting.setting,
    lapCost_us: live.lap_setting.cost_us,
    changes: live.total.changes,
    cost_us: live.total.cost_us,
    frontier: live.frontier,
  };
}

/** Losses in seconds between which the field changes its shade; the last shade is open-ended. */
export const FIELD_EDGES_S = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5];

/** What each setting loses against the best of its zone, in seconds; null where not possible. */
export function losses(zone: ZoneStairs): (number | null)[] {
  const able = zone.cost_us.filter((_, i) => zone.feasible[i]);
  const best = Math.min(...able);
  return zone.cost_us.map((cost, i) => (zone.feasible[i] ? (cost - best) / 1e6 : null));
}

/** 0 for the best shade to 6; null where the setting is not possible. */
export function shade(loss_s: number | null): number | null {
  return loss_s === null ? null : FIELD_EDGES_S.filter((edge) => loss_s >= edge).length;
}

/** Steps towards the front between two settings; negative towards the rear. */
export function stepsForward(stairs: Stairs, from: number, to: number): number {
  const steps = Math.round((to - from) / stairs.step);
  return (stairs.higher === "front" ? steps : -steps) || 0;
}

/** The change made before each zone, in steps towards the front; the first follows the last. */
export function changesBefore(stairs: Stairs): number[] {
  return stairs.zones.map((zone, i) => {
    const before = stairs.zones.at(i - 1)!;
    return stepsForward(stairs, before.setting, zone.setting);
  });
}

/** Place of a setting in the list; -1 where it is none. */
export function indexOf(stairs: Stairs, setting: number): number {
  return stairs.settings.findIndex((one) => Math.abs(one - setting) < stairs.step / 1e3);
}

/** What the plan gains on the lap setting left alone, in seconds of expected lap time. */
export function gain_s(stairs: Stairs): number {
  return (stairs.lapCost_us - stairs.cost_us) / 1e6;
}

/** Zones whose setting differs between two plans of the same lap. */
export function moved(before: Stairs, after: Stairs): string[] {
  const settings = new Map(before.zones.map((zone) => [zone.id, zone.setting]));
  return after.zones
    .filter((zone) => Math.abs((settings.get(zone.id) ?? zone.setting) - zone.setting) > after.step / 1e3)
    .map((zone) => zone.name);
}
