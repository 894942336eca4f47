/** What the kinds of things are called, what they are for, and where they are opened. */
import type { Item, Kind } from "../../api/library";
import { about } from "../../house/about";
import type { DeskKey } from "../../house/desk";

export interface Shelf {
  kind: Kind;
  title: string;
  /** What one of them is called in a sentence. */
  one: string;
  use: string;
  /** The place on the desk it can take. */
  desk?: DeskKey;
  /** The page it is opened on, and what goes into the address. */
  open?: (item: Item) => { path: string; more?: Record<string, string> };
  /** Can be edited here, as text. */
  text?: boolean;
}

export const SHELVES: Shelf[] = [
  { kind: "cars", title: "Cars", one: "car", use: "Weights, tyres, brakes and the adjuster, each with its range.", desk: "car", open: (item) => ({ path: `/car/${item.id}` }) },
  { kind: "circuits", title: "Circuits", one: "circuit", use: "The road as points; its braking zones are cut from it.", desk: "road", open: (item) => ({ path: `/circuit/${item.id}` }) },
  { kind: "zones", title: "Zones of circuits", one: "zones", use: "Names, depths and times to adjust, per circuit.", open: (item) => ({ path: `/circuit/${item.id}` }) },
  { kind: "sheets", title: "Zone sheets", one: "sheet", use: "Corners typed by hand: enough for a plan without a map.", desk: "road", open: (item) => ({ path: `/sheet/${item.id}` }) },
  { kind: "drivers", title: "Drivers", one: "driver", use: "How finely the pedal is worked, and what a mistake costs.", desk: "driver", open: (item) => ({ path: `/driver/${item.id}` }), text: true },
  { kind: "conditions", title: "Conditions", one: "conditions", use: "Grip, fuel and air of a day.", desk: "conditions", open: (item) => ({ path: `/conditions/${item.id}` }), text: true },
  { kind: "logs", title: "Logs", one: "log", use: "What the car recorded: for a debrief, for learning, for a trial.", open: (item) => ({ path: "/laps", more: { logs: `logs/${item.id}` } }) },
  { kind: "mappings", title: "Mappings", one: "mapping", use: "Which column of a logger is which channel.", text: true },
  { kind: "plans", title: "Plans", one: "plan", use: "Plans that were kept, for the card, the show and the debrief.", open: (item) => ({ path: "/card", more: { plan: `plans/${item.id}` } }) },
];

export function shelfOf(kind: Kind): Shelf {
  return SHELVES.find((one) => one.kind === kind)!;
}

export function reference(item: Item): string {
  return `${item.kind}/${item.id}`;
}

/** The note of an item in words: a class by its title. */
export function noteOf(item: Item): string {
  return about.value?.classes.find((one) => one.name === item.note)?.title ?? item.note;
}

/** Names can be changed inside these files; the others are named by their file. */
export function isNamedInside(kind: Kind): boolean {
  return kind === "cars" || kind === "drivers" || kind === "conditions";
}

/** Logs stay what they are, and zones go with their circuit. */
export function canBeCopied(kind: Kind): boolean {
  return kind !== "logs" && kind !== "zones";
}
