/** What lies on the desk: car, road, driver, conditions and the sliders, read from the address. */
import { computed } from "@preact/signals";
import { place, turn, type Query } from "./address";
import { keep } from "./undo";

export interface Desk {
  /** "cars/halden-gt" or a class of car. */
  car: string;
  /** "circuits/brackwater" or "sheets/eight-corners". */
  road: string;
  driver: string;
  conditions: string;
  /** What is known of a car of which only the class is known; empty otherwise. */
  today: string;
  higher: string;
  first: string;
  /** Its range and step as shown, where known. */
  lowest: string;
  highest: string;
  step: string;
  changes: string;
  boldness: string;
  grip: string;
  fuel: string;
  scatter: string;
}

/** What the desk holds when nothing is said: the demo. */
export const BARE: Desk = {
  car: "cars/halden-gt",
  road: "circuits/brackwater",
  driver: "drivers/mara-venn",
  conditions: "conditions/dry",
  today: "",
  higher: "",
  first: "",
  lowest: "",
  highest: "",
  step: "",
  changes: "",
  boldness: "",
  grip: "",
  fuel: "",
  scatter: "",
};

export type DeskKey = keyof Desk;

export const desk = computed<Desk>(() => {
  const found = { ...BARE };
  for (const key of Object.keys(BARE) as DeskKey[]) found[key] = place.value.query[key] ?? BARE[key];
  return found;
});

/** Put something on the desk, so that it can be undone. */
export function lay(changes: Partial<Desk>, label: string): void {
  const query = place.value.query;
  const before: Query = {};
  for (const key of Object.keys(changes)) before[key] = query[key] ?? "";
  turn(changes as Query);
  keep({ label, redo: () => turn(changes as Query), undo: () => turn(before) });
}

/** The fields every job on a road is asked with. */
export function onRoad(): Record<string, unknown> {
  const now = desk.value;
  const asked: Record<string, unknown> = { car: now.car, driver: now.driver };
  asked[now.road.startsWith("sheets/") ? "sheet" : "circuit"] = now.road;
  if (now.today && now.higher && now.first)
    asked.quick = { today: Number(now.today), higher: now.higher, first: now.first, ...range(now) };
  return asked;
}

function range(now: Desk): Record<string, number> {
  const told = (["lowest", "highest", "step"] as const).filter((key) => now[key] !== "");
  return Object.fromEntries(told.map((key) => [key, Number(now[key])]));
}
