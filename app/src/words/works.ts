/** What works are called in lists, and in which order they stand there. */
import { itemOf } from "../api/library";
import type { WorkState } from "../api/work";
import { capital } from "./text";

/** The name a work was kept under; empty where it was not. */
export function keptName(one: WorkState): string {
  return (one.kept_as && itemOf(one.kept_as)?.name) || "";
}

/** "Debrief: 2 logs at Brackwater". */
export function workTitle(one: WorkState): string {
  const job = capital(one.job);
  return one.title ? `${job}: ${one.title}` : job;
}

/** What somebody gave a name to stands before what came by itself; each part as it was. */
export function keptFirst(works: readonly WorkState[]): WorkState[] {
  return [...works.filter(keptName), ...works.filter((one) => !keptName(one))];
}
