/** What is typed on the first page, and what of it can be asked. */
import type { Signal } from "@preact/signals";
import type { Table } from "../../api/library";
import { draft } from "../../house/draft";
import { place } from "../../house/address";
import { numberOf } from "../../parts/field";
import { units } from "../../words/units";
import { EMPTY, sheetOf, type Corner, type Speeds } from "./corners";

export interface Typed {
  car: string;
  today: string;
  higher: "front" | "rear" | "";
  first: "front" | "rear" | "together" | "";
  lowest: string;
  highest: string;
  step: string;
  speeds: Speeds | "";
  corners: Corner[];
}

const NOTHING: Typed = {
  car: "",
  today: "",
  higher: "",
  first: "",
  lowest: "",
  highest: "",
  step: "",
  speeds: "",
  corners: [EMPTY, EMPTY, EMPTY],
};

export function typedNow(): Signal<Typed> {
  return draft<Typed>("start", NOTHING);
}

export function speedsOf(typed: Typed): Speeds {
  return typed.speeds || (units.value === "metric" ? "kmh" : "mph");
}

/** Whether the car is one of the library, which knows its adjuster itself. */
export function isOwn(car: string): boolean {
  return car.startsWith("cars/");
}

export type Quick = Record<"today" | "lowest" | "highest" | "step", number | undefined> & { higher: string; first: string };

/** What is known of the adjuster, or null where the three answers are not all there. */
export function quickOf(typed: Typed): Quick | null {
  const today = numberOf(typed.today);
  if (today === null || !typed.higher || !typed.first) return null;
  const told = (text: string) => numberOf(text) ?? undefined;
  return {
    today,
    higher: typed.higher,
    first: typed.first,
    lowest: told(typed.lowest),
    highest: told(typed.highest),
    step: told(typed.step),
  };
}

export interface Asking {
  sheet: Table;
  /** The plan's request but for the sheet and the number of samples. */
  request: Record<string, unknown>;
}

/** What can be asked of what is typed; null while something is missing. */
export function askingOf(typed: Typed, usualLoad_g: number): Asking | null {
  const sheet = sheetOf(typed.corners, speedsOf(typed), usualLoad_g);
  const quick = quickOf(typed);
  if (!typed.car || !sheet || (!quick && !isOwn(typed.car))) return null;
  const request: Record<string, unknown> = { car: typed.car, driver: driver() };
  if (place.value.query.conditions) request.conditions = [place.value.query.conditions];
  if (quick) request.quick = quick;
  return { sheet, request };
}

/** The driver on the desk if somebody put one there: the demo's is not the user's. */
export function driver(): string {
  return place.value.query.driver ?? "club";
}
