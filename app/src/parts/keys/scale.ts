/** The unit a number of a file is typed in, and its size in the unit of the file. */
import { units, type Units } from "../../words/units";

export interface Scale {
  unit: string;
  /** One of it in the file's unit, and what it counts from. */
  size: number;
  zero: number;
}

// Exact by definition: international yard and pound, 1959; standard gravity, 1901.
const LB_KG = 0.45359237;
const FT_M = 0.3048;
const IN_M = FT_M / 12;
const LBF_N = LB_KG * 9.80665;
const PSI_BAR = 0.06894757293168;
const MILE_KM = 1.609344;
const HP_W = 550 * FT_M * LBF_N; // 550 foot-pounds a second
const INHG_HPA = 33.86389; // conventional inch of mercury, NIST SP 811, B.8

const IMPERIAL: Record<string, Scale> = {
  kg: { unit: "lb", size: LB_KG, zero: 0 },
  m: { unit: "ft", size: FT_M, zero: 0 },
  m2: { unit: "ft²", size: FT_M ** 2, zero: 0 },
  mm: { unit: "in", size: IN_M * 1e3, zero: 0 },
  mm2: { unit: "in²", size: IN_M ** 2 * 1e6, zero: 0 },
  N: { unit: "lbf", size: LBF_N, zero: 0 },
  "N m": { unit: "lbf ft", size: LBF_N * FT_M, zero: 0 },
  bar: { unit: "psi", size: PSI_BAR, zero: 0 },
  W: { unit: "hp", size: HP_W, zero: 0 },
  "km/h": { unit: "mph", size: MILE_KM, zero: 0 },
  "kg/m3": { unit: "lb/ft³", size: LB_KG / FT_M ** 3, zero: 0 },
  degC: { unit: "°F", size: 5 / 9, zero: 32 },
  hPa: { unit: "inHg", size: INHG_HPA, zero: 0 },
};

/** Nothing on a car is longer; below it lengths are told in inches. */
const CAR_M = 6;

/** How a key with this unit and upper limit is typed by this user, or by one with other units. */
export function scaleOf(unit: string, upper: number | null, system: Units = units.value): Scale {
  const same = { unit: unit === "degC" ? "°C" : unit.replace(/([a-z])(\d)/g, (_, word, power) => word + "⁰¹²³"[power]), size: 1, zero: 0 };
  if (system === "metric") return same;
  if (unit === "m" && upper !== null && upper <= CAR_M) return { unit: "in", size: IN_M, zero: 0 };
  return IMPERIAL[unit] ?? same;
}

const SHOWN_DIGITS = 6;
const KEPT_DIGITS = 8; // more than are shown, so that what was typed comes back as it was

export function shown(kept: number, { size, zero }: Scale): number {
  return size === 1 ? kept : Number((kept / size + zero).toPrecision(SHOWN_DIGITS));
}

export function kept(typed: number, { size, zero }: Scale): number {
  return size === 1 ? typed : Number(((typed - zero) * size).toPrecision(KEPT_DIGITS));
}

/** A text such as "0.26 to 0.58" with its numbers in the user's unit. */
export function textIn(text: string, scale: Scale): string {
  if (scale.size === 1) return text;
  return text.replace(/[-−]?\d+(\.\d+)?/g, (word) => String(Number(shown(Number(word.replace("−", "-")), scale).toPrecision(3))));
}
