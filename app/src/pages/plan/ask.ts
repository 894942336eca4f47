/** The plan from the server: at once while sliders move, with its doubts once they rest. */
import { computed, signal, useSignal, type Signal } from "@preact/signals";
import { useEffect, useMemo } from "preact/hooks";
import { ask, job, problem, type Problem } from "../../api/call";
import { itemOf } from "../../api/library";
import type { Envelope, Of } from "../../api/types";
import { follow, work, type Work, type WorkState } from "../../api/work";
import { desk, onRoad } from "../../house/desk";
import { useLoaded, type Loaded } from "../../house/loaded";
import { newestWins } from "./latest";
import { sliders } from "./sliders";
import { fromLive, fromPlan, type Stairs } from "./stairs";

export type PlanAnswer = Envelope<Of<"Plan">>;

export const SAMPLES = 64;
const REST_MS = 2000;

/** The fields of a job on the road with the sliders over them. */
export const asked = computed<Record<string, unknown>>(() => {
  const { changes, boldness, grip, fuel, scatter } = sliders.value;
  const found: Record<string, unknown> = onRoad();
  if (changes !== "") found.changes = Number(changes);
  if (boldness !== "") found.boldness = Number(boldness);
  if (grip !== "") found.grip_scale = Number(grip);
  if (fuel !== "") found.fuel_kg = Number(fuel);
  if (scatter !== "") found.scatter_scale = Number(scatter);
  return found;
});

/** Changes when anything on the desk is changed, or saved anew in the library. */
const things = computed(() => {
  const { car, road, driver, conditions } = desk.value;
  return [car, road, road.replace("circuits/", "zones/"), driver, conditions]
    .map((one) => `${one}@${itemOf(one)?.revision ?? ""}`)
    .join(" ");
});
export const key = computed(() => `${things.value} ${JSON.stringify(asked.value)}`);

export interface Known {
  key: string;
  stairs: Stairs;
}

/** The staircase of the sliders as they are now, or of a moment ago. */
export function useLive(): { now: Signal<Known | null>; wrong: Signal<Problem | null> } {
  const now = useSignal<Known | null>(null);
  const wrong = useSignal<Problem | null>(null);
  const asking = useMemo(
    () =>
      newestWins<{ key: string; body: object }, Envelope<Of<"Live">>>(
        ({ body }, signal) => job("live", body, signal),
        (given, question) => {
          now.value = { key: question.key, stairs: fromLive(given.result) };
          wrong.value = null;
        },
        (thrown) => (wrong.value = problem(thrown)),
      ),
    [],
  );
  useEffect(() => asking.stop, []);
  useEffect(() => asking.ask({ key: key.value, body: { ...asked.value, conditions: desk.value.conditions } }), [key.value]);
  return { now, wrong };
}

export interface Rested {
  key: string;
  answer: PlanAnswer;
  work_id: string;
}

/** Plans made before, so that going back to one costs nothing. */
const made = signal<Rested[]>([]);
const MADE_MOST = 12;
// In the browser's session, for after a reload: a key's work, and whether it is done.
const WORK_OF = "foreaft.plan.work ";
const DONE_OF = "foreaft.plan.done ";

export interface Resting {
  /** The plan of the sliders as they stand; null until it is made. */
  now: Rested | null;
  /** The work under way, and how to stop it. */
  work: Work<PlanAnswer> | null;
  wrong: Problem | null;
  /** Make it after all, where it was stopped, went wrong, or is gone from the server. */
  again: () => void;
}

/** The plan with its doubts, made when everything has rested for two seconds; not while `off`. */
export function useRested(off = false): Resting {
  const wanted = key.value;
  const running = useSignal<Work<PlanAnswer> | null>(null);
  const wrong = useSignal<Problem | null>(null);
  const turn = useSignal(0);
  useEffect(() => {
    wrong.value = null;
    running.value = null;
    if (off || made.peek().some((one) => one.key === wanted)) return;
    const timer = setTimeout(() => {
      const begun = begin(wanted);
      running.value = begun;
      begun.answer
        .catch((thrown) => {
          if (key.peek() === wanted) wrong.value = problem(thrown);
        })
        .finally(() => {
          if (running.peek() === begun) running.value = null;
        });
    }, sessionStorage.getItem(WORK_OF + wanted) || turn.peek() ? 0 : REST_MS);
    return () => {
      clearTimeout(timer);
      // On another page the work goes on; with other sliders nobody wants it any more.
      if (key.peek() !== wanted) running.peek()?.cancel();
    };
  }, [wanted, off, turn.value]);
  const now = made.value.find((one) => one.key === wanted) ?? null;
  const again = () => {
    made.value = made.peek().filter((one) => one.key !== wanted);
    for (const kept of [WORK_OF, DONE_OF]) sessionStorage.removeItem(kept + wanted);
    turn.value++;
  };
  return { now, work: running.value, wrong: wrong.value, again };
}

/** Begin the plan of a key, or follow the work that was begun before a reload. */
function begin(wanted: string): Work<PlanAnswer> {
  const known = sessionStorage.getItem(WORK_OF + wanted);
  const fresh = () => work<PlanAnswer>("plan", { ...asked.peek(), conditions: [desk.peek().conditions], samples: SAMPLES });
  if (!known) return noted(wanted, fresh());
  sessionStorage.removeItem(WORK_OF + wanted);
  const state = signal<WorkState | null>(null);
  const cancel = () => void ask("DELETE", `work/${known}`).catch(() => undefined);
  const answer = follow<PlanAnswer>(known, state).catch(() => fresh().answer);
  return noted(wanted, { state, answer, cancel });
}

function noted(wanted: string, begun: Work<PlanAnswer>): Work<PlanAnswer> {
  const forget = begun.state.subscribe((state) => {
    if (state) sessionStorage.setItem(WORK_OF + wanted, state.work_id);
  });
  const answer = begun.answer.then(
    (given) => {
      const one = { key: wanted, answer: given, work_id: begun.state.peek()?.work_id ?? "" };
      made.value = [...made.peek().filter((other) => other.key !== wanted), one].slice(-MADE_MOST);
      sessionStorage.setItem(DONE_OF + wanted, one.work_id);
      forget();
      return given;
    },
    (thrown) => {
      sessionStorage.removeItem(WORK_OF + wanted);
      forget();
      throw thrown;
    },
  );
  return { ...begun, answer };
}

/** The rested plan of the sliders as they stand, as other jobs take it; empty where none is made. */
export const planReference = computed(() => {
  const id = made.value.find((one) => one.key === key.value)?.work_id ?? sessionStorage.getItem(DONE_OF + key.value);
  return id ? `works/${id}` : "";
});

/** The plan as other pages show it: the rested one where it is made, else that of the middle of the car file. */
export async function planSoFar(reference: string, end: AbortSignal): Promise<Of<"Plan">> {
  const id = reference.replace("works/", "");
  const known = made.peek().find((one) => one.work_id === id);
  if (known) return known.answer.result;
  if (id)
    try {
      return (await follow<PlanAnswer>(id, signal(null))).result;
    } catch {
      // Works are kept for a while only; without it the quick plan counts.
    }
  const body = { ...asked.peek(), conditions: [desk.peek().conditions], samples: 0 };
  return (await job<PlanAnswer>("plan", body, end)).result;
}

/** The plan of the middle of the car file alone: soon there, for the map and the reasons. */
export function useFirst(): Signal<Loaded<Known & { answer: PlanAnswer }>> {
  const wanted = key.value;
  return useLoaded(
    things.value,
    async (signal) => {
      const body = { ...asked.peek(), conditions: [desk.peek().conditions], samples: 0 };
      const answer = await job<PlanAnswer>("plan", body, signal);
      return { key: wanted, answer, stairs: fromPlan(answer.result) };
    },
  );
}
