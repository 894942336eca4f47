/** What the page asks: the zones with their planned settings, the next setting, and the history. */
import { ask, job } from "../../api/call";
import type { Envelope, Of } from "../../api/types";
import { desk, onRoad } from "../../house/desk";
import { setting } from "../../words/units";

export type Plan = Of<"Plan">;
export type Advised = Envelope<Of<"Advice">>;
export type Symptom = Of<"AdviseRequest">["symptom"];

/** One line of the history. */
export interface Line {
  /** What the report is called when it is taken back. */
  report: string;
  at: string;
  zone: string;
  symptom: string;
  from: number;
  to: number;
  because: string;
}

/** What was told of one zone. */
export interface Said {
  zone: string;
  symptom: Symptom;
  setting: number;
  times: number;
  passes: number;
}

export function askAdvice(said: Said): Promise<Advised> {
  return job("advise", { ...onRoad(), conditions: desk.value.conditions, ...said, remember: true });
}

/** The history of this car, road and driver, newest first; a report named is taken out of it first. */
export async function askHistory(take_back?: string): Promise<Line[]> {
  const { quick: _, ...whose } = onRoad();
  const answer = await ask<Envelope<{ lines: Line[] }>>("POST", "history", { ...whose, take_back });
  return answer.result.lines.reverse();
}

/** The history is one per car, road and driver; so are the things kept on this page. */
export function whose(): string {
  const { car, road, driver } = desk.value;
  return `${car}|${road}|${driver}`;
}

/** Which zone a line speaks of: its id stands in brackets. */
export function zoneOf(line: Line): string {
  return /\(([^()]*)\)$/.exec(line.zone)?.[1] ?? line.zone;
}

/** Every setting the adjuster shows, from the lowest. */
export function settingsOf(plan: Plan): number[] {
  const { min, max, step } = plan.adjuster;
  return Array.from({ length: Math.round((max - min) / step) + 1 }, (_, i) => Number(setting(min + i * step, step)));
}

/** Steps to the front from one setting to another. */
export function ahead(plan: Plan, from: number, to: number): number {
  return Math.round(((to - from) / plan.adjuster.step) * (plan.adjuster.higher_means === "front" ? 1 : -1));
}
