/** What is being typed, kept in the browser at every keystroke until it is saved or thrown away. */
import { signal, type Signal } from "@preact/signals";

const PREFIX = "foreaft.draft.";
const open = new Map<string, Signal<unknown>>();

/** A value that survives reload and crash; other tabs see it too. */
export function draft<T>(key: string, initial: T): Signal<T> {
  const known = open.get(key);
  if (known) return known as Signal<T>;
  const made = signal<T>(stored(key) ?? initial);
  open.set(key, made as Signal<unknown>);
  let first = true;
  made.subscribe((value) => {
    if (!first) write(key, value);
    first = false;
  });
  return made;
}

/** Whether something unsaved lies there. */
export function hasDraft(key: string): boolean {
  return localStorage.getItem(PREFIX + key) !== null;
}

/** Forget a draft, once it is saved or thrown away. */
export function dropDraft(key: string): void {
  open.delete(key);
  localStorage.removeItem(PREFIX + key);
}

function stored<T>(key: string): T | undefined {
  const text = localStorage.getItem(PREFIX + key);
  if (text === null) return undefined;
  try {
    return JSON.parse(text) as T;
  } catch {
    return undefined; // written by something else; the initial value stands
  }
}

function write(key: string, value: unknown): void {
  try {
    localStorage.setItem(PREFIX + key, JSON.stringify(value));
  } catch {
    // A full or forbidden store: what is on the screen is still there.
  }
}

addEventListener("storage", (event) => {
  const key = event.key?.startsWith(PREFIX) ? event.key.slice(PREFIX.length) : null;
  const here = key === null ? undefined : open.get(key);
  if (here && event.newValue !== null) here.value = JSON.parse(event.newValue);
});
