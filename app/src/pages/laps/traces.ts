/** The laps of a debrief metre by metre, as its work hands them over. */
import { ask } from "../../api/call";
import { short } from "./words";

export interface LapTrace {
  lap_id: string;
  whose: "driver" | "other";
  duration_s: number;
  speed_mps: (number | null)[];
  brake_frac: (number | null)[];
  time_s: (number | null)[];
}

export interface Traces {
  length_m: number;
  first_s_m: number;
  step_m: number;
  laps: LapTrace[];
}

export function fetchTraces(work_id: string, signal?: AbortSignal): Promise<Traces> {
  return ask<Traces>("GET", `work/${work_id}/files/traces.json`, undefined, signal);
}

/** A lap's name for people: the other driver's carry his name. */
export function nameOf(lap: Pick<LapTrace, "lap_id" | "whose">, other: string | null): string {
  return lap.whose === "other" ? `${other ?? "other"} ${lap.lap_id}` : lap.lap_id;
}

export function keyOf(lap: Pick<LapTrace, "lap_id" | "whose">): string {
  return `${lap.whose === "other" ? "*" : ""}${lap.lap_id}`;
}

export interface Cut {
  s_m: number[];
  laps: { trace: LapTrace; speed_mps: (number | null)[]; brake_frac: (number | null)[] }[];
}

/** The part of the laps round an apex; places count from it, negative before it. */
export function cut(all: Traces, apex_s_m: number, from_m: number, to_m: number): Cut {
  const middle = Math.round((apex_s_m - all.first_s_m) / all.step_m);
  const low = Math.max(0, middle + Math.round(from_m / all.step_m));
  const count = all.laps[0]?.speed_mps.length ?? 0;
  const high = Math.min(count, middle + Math.round(to_m / all.step_m) + 1);
  return {
    s_m: Array.from({ length: Math.max(0, high - low) }, (_, i) => (low + i - middle) * all.step_m),
    laps: all.laps.map((trace) => ({
      trace,
      speed_mps: trace.speed_mps.slice(low, high),
      brake_frac: trace.brake_frac.slice(low, high),
    })),
  };
}

/** How far round the apex a zone is drawn: from before its brake point to past it. */
export function window_(zone: { brake_s_m: number; apex_s_m: number }, length_m: number): [number, number] {
  return [short(zone.brake_s_m - zone.apex_s_m, length_m) - 60, 60];
}

/** Time lost to another lap at every place: positive where this lap is behind. */
export function behind(lap: LapTrace, best: LapTrace): (number | null)[] {
  return lap.time_s.map((time, i) => {
    const other = best.time_s[i];
    return time === null || other === null || other === undefined ? null : time - other;
  });
}
