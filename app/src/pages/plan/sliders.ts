/** What the sliders of the plan say: values in the address, moved ones on top until they rest. */
import { computed, signal } from "@preact/signals";
import { read } from "../../api/library";
import { turn } from "../../house/address";
import { desk, type DeskKey } from "../../house/desk";
import { useLoaded } from "../../house/loaded";
import { keep } from "../../house/undo";

export type SliderKey = Extract<DeskKey, "changes" | "boldness" | "grip" | "fuel" | "scatter">;
export const KEYS: SliderKey[] = ["changes", "boldness", "grip", "fuel", "scatter"];

/** Values of sliders on the move, as text; they go into the address when they rest. */
const moving = signal<Partial<Record<SliderKey, string>>>({});

/** The sliders as they stand now; empty where the files' own values count. */
export const sliders = computed<Record<SliderKey, string>>(() => {
  const found = {} as Record<SliderKey, string>;
  for (const key of KEYS) found[key] = moving.value[key] ?? desk.value[key];
  return found;
});

export function move(key: SliderKey, value: string): void {
  moving.value = { ...moving.value, [key]: value };
}

/** Put what was moved into the address, so that it can be undone and sent. */
export function rest(key: SliderKey, label: string): void {
  const now = moving.value[key];
  if (now === undefined) return;
  const before = desk.value[key];
  const { [key]: _, ...others } = moving.value;
  if (now !== before) {
    turn({ [key]: now });
    keep({ label, redo: () => turn({ [key]: now }), undo: () => turn({ [key]: before }) });
  }
  moving.value = others;
}

/** All sliders back to what the files say. */
export function letGo(): void {
  const before = Object.fromEntries(KEYS.map((key) => [key, desk.value[key]]));
  const none = Object.fromEntries(KEYS.map((key) => [key, ""]));
  moving.value = {};
  turn(none);
  keep({ label: "Sliders back to the files", redo: () => turn(none), undo: () => turn(before) });
}

/** The values the files on the desk have themselves; null where a file does not say. */
export interface Own {
  changes: number | null;
  boldness: number;
  grip: number;
  fuel: number | null;
}

interface Written {
  changes_default?: number;
  boldness?: number;
  grip_scale?: number;
  fuel_kg?: number;
  fuel?: { aboard_kg?: unknown };
}

export function useOwn(): Own {
  const { car, driver, conditions } = desk.value;
  const loaded = useLoaded([car, driver, conditions].join(" "), async () => {
    const [ofCar, ofDriver, ofConditions] = await Promise.all([car, driver, conditions].map(written));
    return {
      changes: ofDriver!.changes_default ?? null,
      boldness: ofDriver!.boldness ?? 1,
      grip: ofConditions!.grip_scale ?? 1,
      fuel: ofConditions!.fuel_kg ?? middle(ofCar!.fuel?.aboard_kg),
    };
  });
  return loaded.value.value ?? { changes: null, boldness: 1, grip: 1, fuel: null };
}

/** A file of the library as it is written; nothing for a class of car or a level of driver. */
async function written(reference: string): Promise<Written> {
  const [kind, id] = reference.split("/");
  if (!id) return {};
  return (await read<Written>(kind as "cars" | "drivers" | "conditions", id)).value ?? {};
}

/** The middle of a number of a car file, which may be a range or a value with its scatter. */
function middle(found: unknown): number | null {
  if (typeof found === "number") return found;
  if (typeof found !== "object" || found === null) return null;
  const { value, low, high } = found as Record<string, unknown>;
  if (typeof value === "number") return value;
  return typeof low === "number" && typeof high === "number" ? (low + high) / 2 : null;
}
