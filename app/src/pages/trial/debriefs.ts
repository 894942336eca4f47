/** Debriefs of the library's logs: their laps are judged, and tell how a driver scatters. */
import { ask } from "../../api/call";
import type { WorkState } from "../../api/work";
import { useLoaded } from "../../house/loaded";
import { when } from "../../words/files";

/** Those that wrote their file, newest first. */
export function useDebriefs(): { value: string; label: string; asked: Record<string, unknown> }[] {
  const found = useLoaded("works", () => ask<WorkState[]>("GET", "work"));
  return (found.value.value ?? [])
    .filter((one) => one.job === "debrief" && one.files.includes("debrief.json"))
    .map((one) => ({ value: `works/${one.work_id}/debrief.json`, label: `Debrief: ${one.title}, ${when(one.started_at)}`, asked: one.asked }));
}
