/** A file of keys as plain values, and its numbers as one types them. */
import { capital } from "../../words/text";
import { kept, scaleOf, shown, type Scale } from "./scale";

export type Uncertain = number | { value?: number; sd?: number; low?: number; high?: number; source?: string };

/** One key of a file, as the server tells it. */
export interface Key {
  key: string;
  unit: string;
  lower: number | null;
  upper: number | null;
  typical: string;
  meaning: string;
  measure: string;
  kind: "number" | "exact" | "whole" | "choice" | "text" | "flag";
  choices?: string[] | null;
}

const SAME: Scale = { unit: "", size: 1, zero: 0 };

export function scaleFor(about: Key): Scale {
  return scaleOf(about.unit, about.upper);
}

/** The value at a dotted key; undefined where the file does not say. Lists are left to the text. */
export function at(value: unknown, key: string): unknown {
  return key.split(".").reduce<unknown>(
    (inside, word) => (inside && typeof inside === "object" && !Array.isArray(inside) ? (inside as Record<string, unknown>)[word] : undefined),
    value,
  );
}

/** A number of a file as one types it: "1360 ±8", "0.44 to 0.46", "2.62". */
export function written(found: unknown, scale: Scale = SAME): string {
  if (found === undefined || found === null) return "";
  if (typeof found === "number") return String(shown(found, scale));
  if (typeof found !== "object") return String(found);
  const { value, sd, low, high } = found as Exclude<Uncertain, number>;
  if (low !== undefined && high !== undefined) return `${shown(low, scale)} to ${shown(high, scale)}`;
  const middle = value === undefined ? "" : String(shown(value, scale));
  return sd ? `${middle} ±${shown(sd, { ...scale, zero: 0 })}` : middle;
}

const NUMBER = String.raw`([+-]?\d*[.,]?\d+(?:e[+-]?\d+)?)`;
const RANGE = new RegExp(`^${NUMBER}\\s*(?:to|\\.\\.|–|-)\\s*${NUMBER}$`, "i");
const AROUND = new RegExp(`^${NUMBER}\\s*(?:±|\\+-|\\+/-)\\s*${NUMBER}$`, "i");
const ONE = new RegExp(`^${NUMBER}$`, "i");

/** What was typed as a number of a file; null for nothing, undefined where it means nothing. */
export function uncertain(typed: string, source: string, scale: Scale = SAME): Uncertain | null | undefined {
  const text = typed.trim().replaceAll("−", "-");
  const numbers = (match: RegExpMatchArray) => match.slice(1).map((word) => Number(word.replace(",", ".")));
  const told = source ? { source } : {};
  if (text === "") return null;
  const one = text.match(ONE);
  if (one) {
    const value = kept(numbers(one)[0]!, scale);
    return source ? { value, ...told } : value;
  }
  const around = text.match(AROUND);
  if (around) return { value: kept(numbers(around)[0]!, scale), sd: kept(numbers(around)[1]!, { ...scale, zero: 0 }), ...told };
  const range = text.match(RANGE);
  if (range) return { low: kept(numbers(range)[0]!, scale), high: kept(numbers(range)[1]!, scale), ...told };
  return undefined;
}

/** The source written beside a number, if any. */
export function sourceOf(found: unknown): string {
  return found && typeof found === "object" ? ((found as { source?: string }).source ?? "") : "";
}

/** What was typed for a key, as the file holds it; null removes it, undefined means nothing. */
export function meant(about: Key, typed: string, source: string): unknown {
  if (typed.trim() === "") return null;
  if (about.kind === "flag") return typed === "true";
  if (about.kind === "choice" || about.kind === "text") return typed.trim();
  const number = uncertain(typed, about.kind === "number" ? source : "", scaleFor(about));
  return about.kind === "number" || typeof number === "number" ? number : undefined;
}

/** What a key means, with its end where both ends have one. */
export function labelOf(about: Key): string {
  const end = about.key.includes(".front.") ? "Front: " : about.key.includes(".rear.") ? "Rear: " : "";
  const text = about.meaning || about.key;
  return end ? end + text : capital(text);
}
