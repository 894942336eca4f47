/** What the page Show is asked for: zone, settings, pedal and repeats, all in the address. */
import { desk } from "../../house/desk";
import { place, turn, type Query } from "../../house/address";
import { keep } from "../../house/undo";
import { units } from "../../words/units";
import type { Envelope, Of } from "../../api/types";
import { asked as moved, SAMPLES, type PlanAnswer } from "../plan/ask";

export type Way = "wrong" | "steps" | "chosen";

export interface Wish {
  /** Id of a zone; empty for the whole lap. */
  zone: string;
  way: Way;
  steps: number;
  settings: number[];
  press: number;
  repeat: number;
}

/** The pedal's slider; one press of "harder" moves it by `PRESS.more`. */
export const PRESS = { least: 0.8, most: 1.4, step: 0.05, more: 0.1 };

/** A harder pedal than this one, nothing where there is none. */
export function harder(press: number): number | undefined {
  const more = Number((press + PRESS.more).toFixed(2));
  return more <= PRESS.most ? more : undefined;
}

/** So many settings besides the planned one, as the job takes them. */
export const SETTINGS_MOST = 12;
const WAYS: readonly string[] = ["wrong", "steps", "chosen"];

/** Read the wish out of the address; what is missing or nonsense is the usual. */
export function wishOf(query: Query): Wish {
  const number = (key: string, usual: number) => {
    const found = Number(query[key]);
    return query[key] && Number.isFinite(found) ? found : usual;
  };
  const settings = (query.try ?? "").split(",").filter(Boolean).map(Number).filter(Number.isFinite);
  return {
    zone: query.zone ?? "",
    way: (WAYS.includes(query.way ?? "") ? query.way : settings.length ? "chosen" : "wrong") as Way,
    steps: Math.max(1, Math.round(number("off", 2))),
    settings: settings.slice(0, SETTINGS_MOST),
    press: number("press", 1),
    repeat: Math.max(0, Math.round(number("repeat", 0))),
  };
}

/** Change the wish, so that it can be undone. */
export function wish(changes: Query, label: string): void {
  const before = Object.fromEntries(Object.keys(changes).map((key) => [key, place.value.query[key] ?? ""]));
  turn(changes);
  keep({ label, redo: () => turn(changes), undo: () => turn(before) });
}

/** Take a setting in or out of those to be tried. */
export function toggled(settings: readonly number[], one: number): number[] {
  const left = settings.filter((each) => Math.abs(each - one) > 1e-6);
  return left.length < settings.length ? left : [...settings, one].sort((a, b) => a - b).slice(0, SETTINGS_MOST);
}

/** The request; `plan` is the plan the page Plan shows, where it is made already. */
export function showRequest(now: Wish, plan = ""): Record<string, unknown> {
  const asked: Record<string, unknown> = {
    ...moved.value,
    conditions: desk.value.conditions,
    samples: SAMPLES,
    press_frac: now.press,
    repeat: now.repeat,
    units: units.value,
  };
  if (plan) asked.plan = plan;
  if (now.zone) asked.zone = now.zone;
  if (now.way === "chosen") asked.settings = now.settings;
  if (now.way === "steps") asked.steps = now.steps;
  return asked;
}

/** Every setting of an adjuster, lowest first. */
export function settingsOf(adjuster: Of<"AdjusterFace">): number[] {
  const count = Math.round((adjuster.max - adjuster.min) / adjuster.step);
  return Array.from({ length: count + 1 }, (_, i) => Number((adjuster.min + i * adjuster.step).toFixed(6)));
}

const ROLES: [role: string, said: string][] = [
  ["car", "the car"],
  ["zones", "the circuit or its zones"],
  ["driver", "the driver"],
  ["conditions", "the conditions"],
];

/** What of the choices on the page is newer than the runs on it; `plan` is that of the page Plan. */
export function newerThan(runs: Envelope<Of<"Show">>, now: Wish, plan: PlanAnswer | null): string[] {
  const { result } = runs;
  const tried = now.way === "chosen" ? now.settings : [];
  const steps = now.way === "steps" ? now.steps : null;
  const settings = String([...result.settings].sort()) !== String([...tried].sort()) || result.steps !== steps;
  const found = [
    settings && "the settings to try",
    Math.abs(result.press_frac - now.press) > 1e-6 && "the pedal",
    result.repeat !== now.repeat && "how often each is driven",
  ];
  if (!plan) return found.filter((one) => one !== false);
  if (JSON.stringify(result.moved) !== JSON.stringify(plan.result.moved)) found.push("the numbers moved on the plan");
  else for (const [role, said] of ROLES) found.push(runs.inputs[role]?.revision !== plan.inputs[role]?.revision && said);
  const planned = result.practice.some((one) => settingOf(plan, one.zone_id) !== one.planned_setting);
  if (planned) found.push("the planned setting");
  return found.filter((one) => one !== false);
}

/** The planned setting of a zone; nothing before the plan is made, and for the whole lap. */
export function settingOf(plan: PlanAnswer | null, zone: string): number | undefined {
  return plan?.result.zones.find((one) => one.zone_id === zone)?.setting;
}
