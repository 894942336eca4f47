/** A car file as plain values. */

export type Uncertain = number | { value?: number; sd?: number; low?: number; high?: number; source?: string };

export interface AdjusterValue {
  min: number;
  max: number;
  step: number;
  meaning: string;
  higher_means?: "front" | "rear";
}

export interface CarValue {
  id: string;
  name: string;
  class_name?: string;
  adjuster?: AdjusterValue;
  anchor?: { setting: number; first_to_let_go: "front" | "rear" | "together"; mid_corner?: string };
  [key: string]: unknown;
}

/** One key of a car file, as the server tells it. */
export interface Key {
  key: string;
  unit: string;
  lower: number | null;
  upper: number | null;
  typical: string;
  meaning: string;
  measure: string;
  kind: "number" | "exact" | "whole" | "choice" | "text" | "flag";
  choices?: string[];
}

/** The value at a dotted key; undefined where the file does not say. Lists are left to the text. */
export function at(value: unknown, key: string): unknown {
  return key.split(".").reduce<unknown>(
    (inside, word) => (inside && typeof inside === "object" && !Array.isArray(inside) ? (inside as Record<string, unknown>)[word] : undefined),
    value,
  );
}

/** A number of a car file as one types it: "1360 ±8", "0.44 to 0.46", "2.62". */
export function written(found: unknown): string {
  if (found === undefined || found === null) return "";
  if (typeof found !== "object") return String(found);
  const { value, sd, low, high } = found as Exclude<Uncertain, number>;
  if (low !== undefined && high !== undefined) return `${low} to ${high}`;
  return sd ? `${value} ±${sd}` : String(value);
}

const NUMBER = String.raw`([+-]?\d*[.,]?\d+(?:e[+-]?\d+)?)`;
const RANGE = new RegExp(`^${NUMBER}\\s*(?:to|\\.\\.|–|-)\\s*${NUMBER}$`, "i");
const AROUND = new RegExp(`^${NUMBER}\\s*(?:±|\\+-|\\+/-)\\s*${NUMBER}$`, "i");
const ONE = new RegExp(`^${NUMBER}$`, "i");

/** What was typed as a number of a car file; null for nothing, undefined where it means nothing. */
export function uncertain(typed: string, source: string): Uncertain | null | undefined {
  const text = typed.trim().replaceAll("−", "-");
  const numbers = (match: RegExpMatchArray) => match.slice(1).map((word) => Number(word.replace(",", ".")));
  const told = source ? { source } : {};
  if (text === "") return null;
  const one = text.match(ONE);
  if (one) return source ? { value: numbers(one)[0]!, ...told } : numbers(one)[0]!;
  const around = text.match(AROUND);
  if (around) return { value: numbers(around)[0]!, sd: numbers(around)[1]!, ...told };
  const range = text.match(RANGE);
  if (range) return { low: numbers(range)[0]!, high: numbers(range)[1]!, ...told };
  return undefined;
}

/** The source written beside a number, if any. */
export function sourceOf(found: unknown): string {
  return found && typeof found === "object" ? ((found as { source?: string }).source ?? "") : "";
}
