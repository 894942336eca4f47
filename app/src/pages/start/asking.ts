/** Asking for the answer: the corners kept as a zone sheet, a plan at once, and a surer one after. */
import { useSignal, type Signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, job, problem, Refused, type Problem } from "../../api/call";
import { items, type Item, type Table } from "../../api/library";
import type { Envelope, Of } from "../../api/types";
import { work, type Work, type WorkState } from "../../api/work";
import { draft } from "../../house/draft";
import { useLoaded, type Loaded } from "../../house/loaded";
import type { Asking } from "./typed";

export type Answer = Envelope<Of<"Plan">>;

const RESTS_MS = 350;
const REFINE_AFTER_MS = 900;
const SAMPLES = 64;
const SHEET = "my-corners";

/** The sheet these corners were last kept as. */
interface Kept {
  id: string;
  revision: string;
  text: string;
}

export function keptSheet(): Signal<Kept | null> {
  return draft<Kept | null>("start.sheet", null);
}

/** Keep the corners as a zone sheet of their own, which no other tab or program has touched. */
async function keepSheet(sheet: Table, signal: AbortSignal): Promise<string> {
  const kept = keptSheet();
  const text = JSON.stringify(sheet);
  const last = kept.value;
  if (last?.text === text && isThere(last)) return `sheets/${last.id}`;
  let item: Item;
  try {
    item = await put(last?.id ?? freeId(), sheet, last?.revision ?? null, signal);
  } catch (error) {
    if (!(error instanceof Refused) || ![404, 409].includes(error.status)) throw error;
    item = await put(freeId(last?.id), sheet, null, signal); // somebody else's sheet by now
  }
  kept.value = { id: item.id, revision: item.revision, text };
  return `sheets/${item.id}`;
}

function isThere(one: Kept): boolean {
  return items.value?.some((item) => item.kind === "sheets" && item.id === one.id && item.revision === one.revision) ?? true;
}

function put(id: string, value: Table, based_on: string | null, signal: AbortSignal): Promise<Item> {
  return ask<{ item: Item }>("PUT", `library/sheets/${id}`, { value, based_on, draft: true }, signal).then((got) => got.item);
}

function freeId(taken?: string): string {
  const known = new Set((items.value ?? []).filter((one) => one.kind === "sheets").map((one) => one.id));
  if (taken) known.add(taken);
  let number = 1;
  const id = () => (number === 1 ? SHEET : `${SHEET}-${number}`);
  while (known.has(id())) number += 1;
  return id();
}

export interface Answered {
  now: Signal<Loaded<Answer>>;
  /** The same answer over many cars of the class, once there. */
  surer: Signal<Answer | null>;
  under: Signal<Work<Answer> | null>;
  state: Signal<WorkState | null>;
  wrong: Signal<Problem | null>;
}

/** The answer to what is typed; a surer one follows when typing rests. */
export function useAnswer(asking: Asking | null): Answered {
  const key = asking && JSON.stringify(asking);
  const now = useLoaded(key, (signal) => first(asking!, signal), RESTS_MS);
  const surer = useSignal<Answer | null>(null);
  const under = useSignal<Work<Answer> | null>(null);
  const state = useSignal<WorkState | null>(null);
  const wrong = useSignal<Problem | null>(null);
  useEffect(() => {
    surer.value = wrong.value = null;
    const found = now.value;
    if (!asking || found.busy || found.wrong || !found.value) return;
    let over = false;
    const timer = setTimeout(() => {
      const request = { ...asking.request, sheet: `sheets/${keptSheet().value!.id}`, samples: SAMPLES };
      const begun = work<Answer | Answer[]>("plan", request, true); // nobody looks for it later
      under.value = begun as Work<Answer>;
      begun.state.subscribe((one) => { if (!over) state.value = one; });
      begun.answer.then(
        (answer) => { if (!over) surer.value = one(answer); },
        (error) => { if (!over && !stopped(error)) wrong.value = problem(error); },
      ).finally(() => { if (!over) under.value = null; });
    }, REFINE_AFTER_MS);
    return () => {
      over = true;
      clearTimeout(timer);
      under.value?.cancel();
      under.value = null;
    };
  }, [key, now.value.busy]);
  return { now, surer, under, state, wrong };
}

async function first(asking: Asking, signal: AbortSignal): Promise<Answer> {
  const sheet = await keepSheet(asking.sheet, signal);
  return one(await job<Answer | Answer[]>("plan", { ...asking.request, sheet, samples: 0 }, signal));
}

function one(answer: Answer | Answer[]): Answer {
  return Array.isArray(answer) ? answer[0]! : answer;
}

function stopped(error: unknown): boolean {
  return error instanceof Refused && ["cancelled", "page"].includes(error.problem.code);
}
