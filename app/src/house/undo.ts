/** What was done and can be undone, for the whole app: one list, newest last. */
import { computed, signal } from "@preact/signals";
import { tell } from "./tell";

export interface Step {
  /** What was done, as "Changes set to 2". */
  label: string;
  undo: () => void | Promise<void>;
  redo: () => void | Promise<void>;
}

const MOST = 200;
const done = signal<Step[]>([]);
const undone = signal<Step[]>([]);

export const canUndo = computed(() => done.value.at(-1)?.label ?? null);
export const canRedo = computed(() => undone.value.at(-1)?.label ?? null);

/** Do something that can be undone; it is kept only if it went well. */
export async function step(one: Step): Promise<void> {
  await one.redo();
  keep(one);
}

/** Keep something that has been done already, such as the end of a slider's move. */
export function keep(one: Step): void {
  done.value = [...done.value, one].slice(-MOST);
  undone.value = [];
}

/** Forget a step that something later has made void. */
export function forget(one: Step): void {
  done.value = done.value.filter((each) => each !== one);
  undone.value = undone.value.filter((each) => each !== one);
}

export function undo(): Promise<void> {
  return move(done, undone, "undo", "Undone");
}

export function redo(): Promise<void> {
  return move(undone, done, "redo", "Done again");
}

type List = typeof done;

let line: Promise<void> = Promise.resolve();

/** One after the other: a second press while the first is under way means the step before it. */
function move(from: List, to: List, way: "undo" | "redo", word: string): Promise<void> {
  line = line.then(() => moveOne(from, to, way, word));
  return line;
}

async function moveOne(from: List, to: List, way: "undo" | "redo", word: string): Promise<void> {
  const last = from.value.at(-1);
  if (!last) return;
  try {
    await last[way]();
  } catch (error) {
    tell({ kind: "error", text: `Could not ${way}: ${(error as Error).message}` });
    return;
  }
  from.value = from.value.slice(0, -1);
  to.value = [...to.value, last];
  tell({ kind: "done", text: `${word}: ${last.label}` });
}

addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const at = event.target as HTMLElement | null;
  // While one types, the browser's own undo is the right one.
  if (at?.matches?.("input:not([type=range]):not([type=checkbox]):not([type=radio]), textarea")) return;
  const key = event.key.toLowerCase();
  if (key === "z" && !event.shiftKey) void undo();
  else if (key === "y" || (key === "z" && event.shiftKey)) void redo();
  else return;
  event.preventDefault();
});
