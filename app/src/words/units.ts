/** The one formatter: everything people see in numbers goes through here. SI comes in. */
import { effect, signal } from "@preact/signals";

export type Units = "metric" | "imperial";

const KEY = "foreaft.units";
export const units = signal<Units>(localStorage.getItem(KEY) === "imperial" ? "imperial" : "metric");
effect(() => localStorage.setItem(KEY, units.value));

// Exact by definition: international yard and pound, 1959.
const M_PER_FT = 0.3048;
const M_PER_MILE = 1609.344;
const PA_PER_PSI = 6894.757293168;
export const G_MPS2 = 9.80665; // standard gravity, exact by definition

/** "212 km/h" or "132 mph". */
export function speed(mps: number): string {
  return units.value === "metric"
    ? `${Math.round(mps * 3.6)} km/h`
    : `${Math.round((mps * 3600) / M_PER_MILE)} mph`;
}

/** A speed as a plain number in the unit of `speed`, for the axis of a chart. */
export function speedNumber(mps: number): number {
  return units.value === "metric" ? mps * 3.6 : (mps * 3600) / M_PER_MILE;
}

export function speedUnit(): string {
  return units.value === "metric" ? "km/h" : "mph";
}

/** A length as a plain number in the unit of `length`, for the axis of a chart. */
export function lengthNumber(m: number): number {
  return units.value === "metric" ? m : m / M_PER_FT;
}

export function lengthUnit(): string {
  return units.value === "metric" ? "m" : "ft";
}

/** "86 m" or "282 ft"; with `decimals` where small differences count. */
export function length(m: number, decimals = 0): string {
  return units.value === "metric"
    ? `${m.toFixed(decimals)} m`
    : `${(m / M_PER_FT).toFixed(decimals ? Math.max(0, decimals - 1) : 0)} ft`;
}

export function pressure(Pa: number): string {
  return units.value === "metric"
    ? `${(Pa / 1e5).toFixed(1)} bar`
    : `${Math.round(Pa / PA_PER_PSI)} psi`;
}

export function decel(mps2: number): string {
  return `${(mps2 / G_MPS2).toFixed(2)} g`;
}

/** "0.04 s"; a sign where `signed`. */
export function seconds(s: number, decimals = 2, signed = false): string {
  const text = Math.abs(s).toFixed(decimals);
  const sign = s < 0 && Number(text) !== 0 ? "−" : signed && Number(text) !== 0 ? "+" : "";
  return `${sign}${text} s`;
}

export function percent(frac: number): string {
  return `${Math.round(frac * 100)} %`;
}

const MOST_DECIMALS = 4; // no adjuster is read finer than that

/**
 * A setting with the decimals of its adjuster, no more and no less. Settings lie whole steps apart,
 * so each shows the decimals of the first one: whoever counts by one from 47.5 never sees a whole
 * number. A number between the settings, such as a mean, has the decimals of the step.
 */
export function setting(value: number, step: number): string {
  const ofStep = decimalsOf(step);
  return value.toFixed(Math.max(ofStep, decimalsOf(value, ofStep)));
}

/** How many decimals give a number exactly, rounding of floats aside. */
export function decimalsOf(number: number, otherwise = MOST_DECIMALS): number {
  for (let places = 0; places <= MOST_DECIMALS; places += 1)
    if (Math.abs(number - Number(number.toFixed(places))) < 1e-9) return places;
  return otherwise;
}
