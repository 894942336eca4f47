/** What the page Show is asked for: zone, settings, pedal and repeats, all in the address. */
import { desk, onRoad } from "../../house/desk";
import { place, turn, type Query } from "../../house/address";
import { keep } from "../../house/undo";
import { units } from "../../words/units";
import type { Of } from "../../api/types";

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

export function showRequest(now: Wish): Record<string, unknown> {
  const asked: Record<string, unknown> = {
    ...onRoad(),
    conditions: desk.value.conditions,
    press_frac: now.press,
    repeat: now.repeat,
    units: units.value,
  };
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
