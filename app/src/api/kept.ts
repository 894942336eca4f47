/** Long work of a page: begun, stopped, and found again after a reload or on another machine. */
import { signal, useSignal, type Signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { place, turn } from "../house/address";
import { ask, problem, type Problem } from "./call";
import { follow, type WorkState } from "./work";

const KEY = "foreaft.works";
const MOST = 40; // as many as the server keeps
const ALIVE = ["waiting", "running", "done"];

export interface KeptWork<T> {
  state: Signal<WorkState | null>;
  /** The last good answer of this key; it stays in sight while new work runs. */
  answer: Signal<T | null>;
  /** The work the answer is of. */
  id: Signal<string | null>;
  files: Signal<string[]>;
  wrong: Signal<Problem | null>;
  busy: Signal<boolean>;
  start: (request: object) => void;
  stop: () => void;
}

/** Fields a request has to have; null and left out are the same. */
export type Fields = { [name: string]: unknown };

/** Whether something asked has these fields, whatever else it has. */
export function has(asked: Fields, fields: Fields): boolean {
  return Object.entries(fields).every(([name, wanted]) => {
    const found = asked[name] ?? null;
    if (!isPlain(wanted)) return JSON.stringify(found) === JSON.stringify(wanted ?? null);
    return isPlain(found) && has(found, wanted);
  });
}

function isPlain(value: unknown): value is Fields {
  return typeof value === "object" && value !== null && !Array.isArray(value);
}

/** The work of a job that belongs to `key`.
 *
 * One that this browser did not begin is found by the fields of its request; null: by none.
 */
export function useKeptWork<T>(job: string, key: string | null, fields: Fields | null): KeptWork<T> {
  const state = useSignal<WorkState | null>(null);
  const answer = useSignal<T | null>(null);
  const id = useSignal<string | null>(null);
  const files = useSignal<string[]>([]);
  const wrong = useSignal<Problem | null>(null);
  const busy = useSignal(false);
  const seen = place.value.query.seen ?? ""; // a work somebody opened from the list of works
  const round = useSignal(0); // what was begun for another key or an older request says nothing more

  const watch = async (work_id: string, mine: number) => {
    if (round.peek() !== mine) return;
    busy.value = true;
    const own = signal<WorkState | null>(null);
    own.subscribe((now) => { if (now && round.peek() === mine) state.value = now; });
    try {
      const found = await follow<T>(work_id, own);
      if (round.peek() !== mine) return;
      answer.value = found;
      id.value = work_id;
      files.value = own.peek()?.files ?? [];
      wrong.value = null;
    } catch (error) {
      if (round.peek() === mine && own.peek()?.state !== "cancelled") wrong.value = problem(error);
    }
    if (round.peek() === mine) busy.value = false;
  };

  useEffect(() => {
    const mine = (round.value = round.peek() + 1);
    answer.value = id.value = state.value = wrong.value = null;
    files.value = [];
    busy.value = false;
    if (key === null) return;
    if (seen.startsWith(`${job}-`)) {
      remember(job, key, seen); // from now on it is the work of this key
      turn({ seen: "" });
    } else
      void foundAgain(job, key, fields).then((known) => {
        if (known) void watch(known, mine);
      });
  }, [job, key, seen]);

  const start = (request: object) => {
    const mine = (round.value = round.peek() + 1);
    wrong.value = state.value = null;
    busy.value = true;
    ask<{ work_id: string }>("POST", `work/${job}`, request).then(
      ({ work_id }) => {
        if (key !== null) remember(job, key, work_id);
        if (round.peek() === mine) void watch(work_id, mine);
        else void ask("DELETE", `work/${work_id}`).catch(() => undefined);
      },
      (error) => {
        if (round.peek() !== mine) return;
        wrong.value = problem(error);
        busy.value = false;
      },
    );
  };

  const stop = () => {
    const running = state.peek()?.work_id;
    if (running) void ask("DELETE", `work/${running}`).catch((error) => (wrong.value = problem(error)));
    else round.value = round.peek() + 1; // not begun yet: it is stopped as soon as it has an id
    busy.value = false;
  };

  return { state, answer, id, files, wrong, busy, start, stop };
}

/** The work begun here for this key, else the newest of its fields; none that was broken off. */
async function foundAgain(job: string, key: string, fields: Fields | null): Promise<string | null> {
  const own = remembered()[`${job} ${key}`];
  if (own && (await isAlive(own))) return own;
  if (!fields) return null;
  try {
    const all = await ask<WorkState[]>("GET", "work");
    const alike = all.find((one) => one.job === job && ALIVE.includes(one.state) && has(one.asked, fields));
    return alike?.work_id ?? null;
  } catch {
    return null; // the server is away; the page says so by itself
  }
}

async function isAlive(work_id: string): Promise<boolean> {
  try {
    return ALIVE.includes((await ask<WorkState>("GET", `work/${work_id}`)).state);
  } catch {
    return false; // the server keeps works for a while only
  }
}

function remembered(): Record<string, string> {
  try {
    return JSON.parse(localStorage.getItem(KEY) ?? "{}") as Record<string, string>;
  } catch {
    return {};
  }
}

function remember(job: string, key: string, work_id: string): void {
  const name = `${job} ${key}`;
  const others = Object.entries(remembered()).filter(([known]) => known !== name);
  const kept = [...others, [name, work_id] as const].slice(-MOST);
  try {
    localStorage.setItem(KEY, JSON.stringify(Object.fromEntries(kept)));
  } catch {
    // A full or forbidden store: the work is found by what it was asked.
  }
}

/** Where a product of a work lies. */
export function productOf(work_id: string, file: string): string {
  return `/api/work/${encodeURIComponent(work_id)}/files/${file.split("/").map(encodeURIComponent).join("/")}`;
}
