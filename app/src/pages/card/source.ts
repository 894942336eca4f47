/** Which plan is printed: one named in the address, else the one the page Plan shows. */
import type { Signal } from "@preact/signals";
import { ask } from "../../api/call";
import { itemOf, read } from "../../api/library";
import { useKeptWork, type KeptWork } from "../../api/kept";
import type { Envelope, Of } from "../../api/types";
import type { WorkState } from "../../api/work";
import { desk } from "../../house/desk";
import { useLoaded, type Loaded } from "../../house/loaded";
import { asked, key, SAMPLES, useRested, type Resting } from "../plan/ask";

export type PlanEnvelope = Envelope<Of<"Plan">>;
type Made = PlanEnvelope | PlanEnvelope[];

export interface Source {
  /** "works/..." or "plans/...". */
  reference: string;
  plan: PlanEnvelope;
  /** The same lap in other conditions, by reference of the conditions. */
  others: { conditions: string; name: string; reference: string }[];
}

/** The plan and its backs, out of a work's answer and its files. */
export function sourceOf(work_id: string, made: Made, files: readonly string[]): Source {
  const [first, ...rest] = Array.isArray(made) ? made : [made];
  const folders = files.filter((one) => one.endsWith("/plan.json"));
  const others = rest.flatMap((one) => {
    const name = one.result.conditions_name;
    const file = folders.find((each) => each === `${folder(name)}/plan.json`) ?? (folders.length === 1 ? folders[0] : undefined);
    const conditions = `conditions/${one.inputs.conditions?.id ?? ""}`;
    return file ? [{ conditions, name, reference: `works/${work_id}/${file}` }] : [];
  });
  return { reference: `works/${work_id}`, plan: first!, others };
}

// As the products name a folder after its conditions.
function folder(name: string): string {
  return name.toLowerCase().replace(/[^\p{L}\p{N}]/gu, "-").replace(/^-+|-+$/g, "") || "conditions";
}

/** The plan of a reference. */
export async function sourceAt(reference: string, stop?: AbortSignal): Promise<Source> {
  if (reference.startsWith("plans/")) {
    const held = await read<PlanEnvelope>("plans", reference.slice("plans/".length));
    if (!held.value) throw new Error("This plan cannot be read.");
    return { reference, plan: held.value, others: [] };
  }
  const id = reference.split("/")[1] ?? "";
  const [made, state] = await Promise.all([
    ask<Made>("GET", `work/${id}/answer`, undefined, stop),
    ask<WorkState>("GET", `work/${id}`, undefined, stop),
  ]);
  return sourceOf(id, made, state.files);
}

export interface Sources {
  now: Source | null;
  named: Signal<Loaded<Source>>;
  /** The plan of the page Plan. */
  rested: Resting;
  /** The same together with its back. */
  pair: KeptWork<Made>;
  /** Make the plan of the desk, with a back for these conditions if any. */
  make: (wet: string) => void;
}

export function useSource(reference: string, wet: string): Sources {
  const { conditions } = desk.value;
  const revision = reference.startsWith("plans/") ? itemOf(reference)?.revision : "";
  const named = useLoaded(reference ? `${reference} ${revision}` : null, (stop) => sourceAt(reference, stop));
  const rested = useRested(reference !== "" || wet !== "");
  // Found by its key alone, which knows what the files say: they may have been changed since.
  const pair = useKeptWork<Made>("plan", wet ? `card ${key.value} ${wet}@${itemOf(wet)?.revision ?? ""}` : null, null);
  const found = named.value.wrong ? null : named.value.value; // the last good one is of another reference
  const now = reference ? (found?.reference === reference ? found : null) : wet ? ofDesk(pair, conditions) : restedSource(rested);
  const make = (back: string) => {
    if (!back || back === conditions) rested.again();
    else pair.start({ ...asked.peek(), conditions: [conditions, back], samples: SAMPLES });
  };
  return { now, named, rested, pair, make };
}

function restedSource({ now }: Resting): Source | null {
  return now && { reference: `works/${now.work_id}`, plan: now.answer, others: [] };
}

/** A plan that was opened from the list of works may be for other conditions: not this one. */
function ofDesk(own: KeptWork<Made>, conditions: string): Source | null {
  if (!own.answer.value || !own.id.value) return null;
  const found = sourceOf(own.id.value, own.answer.value, own.files.value);
  const known = found.plan.inputs.conditions?.id;
  return !known || `conditions/${known}` === conditions ? found : null;
}
