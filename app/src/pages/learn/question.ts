/** What is asked of the logs, and whether an answer in sight still answers it. */
import { has } from "../../api/kept";
import { itemOf } from "../../api/library";
import type { WorkState } from "../../api/work";
import { desk } from "../../house/desk";
import { numberOf } from "../../parts/field";
import { noNumber } from "../../words/text";
import type { Chosen } from "../laps/chosen";

export type Question = Record<string, unknown>;
/** What the adjuster showed, by log, as it was typed. */
export type Typed = Record<string, string>;

/** The request; settings count only where every log has one. */
export function learnRequest(now: Chosen, typed: Typed): Question {
  const { car, conditions, today, higher, first } = desk.value;
  const asked: Question = { logs: now.logs, car, conditions };
  const settings = now.logs.map((log) => numberOf(typed[log] ?? ""));
  if (settings.length && settings.every((one) => one !== null)) asked.settings = settings;
  if (today && higher && first) asked.quick = { today: Number(today), higher, first };
  if (now.mappings.length) asked.mapping = now.mappings;
  return asked;
}

/** Why these settings cannot be asked with; empty where they can. */
export function lacking(logs: string[], typed: Typed): string {
  const settings = logs.map((log) => typed[log] ?? "");
  if (settings.some((one) => noNumber(one))) return "Nothing can be learned while a setting is not a number.";
  const told = settings.filter((one) => one.trim()).length;
  return told && told < logs.length ? "Type the setting of every log, or of none." : "";
}

const PARTS: [word: string, field: string][] = [
  ["the car", "car"],
  ["what is known of it", "quick"],
  ["the conditions", "conditions"],
  ["the settings typed", "settings"],
  ["the columns of the logs", "mapping"],
];

/** What has changed since a work was asked, in words: asked otherwise, or edited since. */
export function changedSince({ asked, started_at }: Pick<WorkState, "asked" | "started_at">, now: Question): string[] {
  const differs = (field: string) => !has(asked, { [field]: now[field] }) || edited(now[field], started_at);
  return PARTS.filter(([, field]) => differs(field)).map(([word]) => word);
}

function edited(reference: unknown, started_at: string): boolean {
  const item = typeof reference === "string" ? itemOf(reference) : undefined;
  return item !== undefined && Date.parse(item.saved_at) > Date.parse(started_at);
}
