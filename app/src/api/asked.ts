/** The work of an answer in sight, with what it was asked: a newer one may be under way, or have failed. */
import { useLoaded } from "../house/loaded";
import { ask } from "./call";
import type { WorkState } from "./work";

export function useAsked(id: string | null): WorkState | null {
  const found = useLoaded(id, (signal) => ask<WorkState>("GET", `work/${id}`, undefined, signal));
  return found.value.value?.work_id === id ? found.value.value : null;
}
