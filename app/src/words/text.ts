/** Words as they stand in a sentence, and what is no number though one belongs there. */
import { numberOf } from "../parts/field";

export function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/** With a capital letter and a full stop. */
export function sentence(text: string): string {
  return capital(text) + (/[.!?]$/.test(text) ? "" : ".");
}

/** What is wrong with what was typed as a number; null where it is one, or nothing at all. */
export function noNumber(typed: string): string | null {
  return typed.trim() === "" || numberOf(typed) !== null ? null : `“${typed.trim()}” is not a number: type digits, as in 54.5.`;
}
