/** Long work on the server: started, watched, cancelled, and its answer fetched. */
import { signal, type Signal } from "@preact/signals";
import { ask, problem, Refused, type Problem } from "./call";

export interface WorkState {
  work_id: string;
  job: string;
  /** What it is of, by the names people gave; without ids. */
  title: string;
  /** What was sent. */
  asked: Record<string, unknown>;
  /** The plan of the library that was made of it, "plans/..."; empty where none was. */
  kept_as: string;
  state: "waiting" | "running" | "done" | "failed" | "cancelled" | "interrupted";
  what: string;
  done: number;
  of: number;
  started_at: string;
  seconds: number;
  error?: Problem | null;
  files: string[];
}

export interface Work<T> {
  state: Signal<WorkState | null>;
  /** The answer, once there; a `Refused` where the work failed or was cancelled. */
  answer: Promise<T>;
  cancel: () => void;
}

const OVER = ["done", "failed", "cancelled", "interrupted"];

/** Start a job as long work; one that is `unlisted` stands in no list of works. */
export function work<T>(job: string, request: object, unlisted = false): Work<T> {
  const state = signal<WorkState | null>(null);
  let stopped = false;
  const started = ask<{ work_id: string }>("POST", `work/${job}${unlisted ? "?listed=false" : ""}`, request);
  const answer = started.then(({ work_id }) => {
    if (stopped) void ask("DELETE", `work/${work_id}`);
    return follow<T>(work_id, state);
  });
  const cancel = () => {
    stopped = true;
    const id = state.value?.work_id;
    if (id) void ask("DELETE", `work/${id}`);
  };
  return { state, answer, cancel };
}

/** Watch work that was started earlier, perhaps before a reload. */
export async function follow<T>(work_id: string, state: Signal<WorkState | null>): Promise<T> {
  const last = await end(work_id, state);
  if (last.state === "done") return ask<T>("GET", `work/${work_id}/answer`);
  throw new Refused(
    last.error ?? problem(new Error(last.state === "cancelled" ? "Stopped." : "The work did not end.")),
    409,
  );
}

function end(work_id: string, state: Signal<WorkState | null>): Promise<WorkState> {
  return new Promise((resolve, reject) => {
    const events = new EventSource(`/api/work/${work_id}/events`);
    let lost = 0;
    events.onmessage = (event) => {
      lost = 0;
      state.value = JSON.parse(event.data as string) as WorkState;
      if (!OVER.includes(state.value.state)) return;
      events.close();
      resolve(state.value);
    };
    events.onerror = () => {
      lost += 1;
      // The browser tries again by itself, but not where there is no such work.
      if (lost < 5 && events.readyState !== EventSource.CLOSED) return;
      events.close();
      ask<WorkState>("GET", `work/${work_id}`).then(resolve, reject);
    };
  });
}
