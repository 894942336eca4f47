/** What is being typed, kept in the browser at every keystroke until it is saved or thrown away. */
import { signal, type Signal } from "@preact/signals";

const PREFIX = "foreaft.draft.";

interface Open {
  value: Signal<unknown>;
  /** What stands there while nothing is typed, as JSON. */
  initial: string;
}

const open = new Map<string, Open>();

/** A value that survives reload and crash; other tabs see it too.
 *
 * Where nothing has been typed it is `initial`, also when that changes later.
 */
export function draft<T>(key: string, initial: T): Signal<T> {
  const known = open.get(key) ?? begin(key, initial);
  known.initial = JSON.stringify(initial);
  if (!hasDraft(key) && JSON.stringify(known.value.peek()) !== known.initial) known.value.value = initial;
  return known.value as Signal<T>;
}

/** Whether something unsaved lies there. */
export function hasDraft(key: string): boolean {
  return localStorage.getItem(PREFIX + key) !== null;
}

/** Forget a draft, once it is saved or thrown away; what stands there is its initial value again.
 *
 * With `only`, it is forgotten only while it says that: somebody may have typed on.
 */
export function dropDraft(key: string, only?: unknown): void {
  if (only !== undefined && localStorage.getItem(PREFIX + key) !== JSON.stringify(only)) return;
  localStorage.removeItem(PREFIX + key);
  const known = open.get(key);
  if (known) known.value.value = JSON.parse(known.initial);
}

function begin<T>(key: string, initial: T): Open {
  const made: Open = { value: signal(stored(key) ?? initial), initial: JSON.stringify(initial) };
  open.set(key, made);
  let first = true;
  made.value.subscribe((value) => {
    if (!first) write(key, JSON.stringify(value), made.initial);
    first = false;
  });
  return made;
}

function stored(key: string): unknown {
  const text = localStorage.getItem(PREFIX + key);
  if (text === null) return undefined;
  try {
    return JSON.parse(text);
  } catch {
    return undefined; // written by something else; the initial value stands
  }
}

function write(key: string, text: string, initial: string): void {
  try {
    if (text === initial) localStorage.removeItem(PREFIX + key);
    else if (localStorage.getItem(PREFIX + key) !== text) localStorage.setItem(PREFIX + key, text);
  } catch {
    // A full or forbidden store: what is on the screen is still there.
  }
}

addEventListener("storage", (event) => {
  const here = event.key?.startsWith(PREFIX) ? open.get(event.key.slice(PREFIX.length)) : undefined;
  if (here) here.value.value = JSON.parse(event.newValue ?? here.initial);
});
