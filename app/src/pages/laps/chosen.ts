/** Which logs are looked at, and how: all of it in the address, so that Learn and Trial get it too. */
import type { Of } from "../../api/types";
import { place, turn, type Query } from "../../house/address";
import { desk } from "../../house/desk";
import { keep } from "../../house/undo";
import { units } from "../../words/units";

/** References in one word of an address; a comma may stand in the name of a log. */
export function listText(references: readonly string[]): string {
  return references.map((one) => one.replaceAll("%", "%25").replaceAll(",", "%2C")).join(",");
}

export function listOf(text: string | undefined): string[] {
  return (text ?? "").split(",").filter(Boolean).map((one) => one.replaceAll("%2C", ",").replaceAll("%25", "%"));
}

export interface Chosen {
  logs: string[];
  /** The log of another driver; empty where there is none. */
  against: string;
  /** What somebody said of the columns, "mappings/...": of several logs each takes its own. */
  mappings: string[];
  /** No mapping is to be taken by itself, even if it fits. */
  unmapped: boolean;
  /** Whether the circuit is made from the log, not taken from the desk. */
  own: boolean;
  /** A plan the laps are held against: "works/..." or "plans/..."; empty for none. */
  plan: string;
}

export function chosenOf(query: Query): Chosen {
  return {
    logs: listOf(query.logs),
    against: query.against ?? "",
    mappings: listOf(query.mapping).filter((one) => one !== "none"),
    unmapped: listOf(query.mapping).includes("none"),
    own: query.circuit_from === "log",
    plan: query.plan ?? "",
  };
}

/** Change the choice, so that it can be undone. */
export function choose(changes: Query, label: string): void {
  const before = Object.fromEntries(Object.keys(changes).map((key) => [key, place.value.query[key] ?? ""]));
  turn(changes);
  keep({ label, redo: () => turn(changes), undo: () => turn(before) });
}

/** Take a mapping for some columns, and leave out another; the address says what holds by then. */
export function chooseMapping(take: string, leave: string, label: string): void {
  const kept = listOf(place.peek().query.mapping).filter((one) => one !== leave && one !== take);
  choose({ mapping: listText([...kept, ...(take ? [take] : [])]) }, label);
}

export interface Names {
  driver: string;
  other: string;
}

/** The request of the debrief. */
export function debriefRequest(now: Chosen, names: Names): Partial<Of<"DebriefRequest">> {
  const { car, road, driver, conditions, today, higher, first } = desk.value;
  const asked: Record<string, unknown> = { logs: now.logs, car, driver, conditions, units: units.value };
  if (today && higher && first) asked.quick = { today: Number(today), higher, first };
  if (!now.own && road.startsWith("circuits/")) asked.circuit = road;
  if (names.driver.trim()) asked.driver_name = names.driver.trim();
  if (now.against) {
    asked.against = now.against;
    if (names.other.trim()) asked.other_name = names.other.trim();
  }
  if (now.mappings.length) asked.mapping = now.mappings;
  if (now.plan) asked.plan = now.plan;
  return asked as Partial<Of<"DebriefRequest">>;
}
