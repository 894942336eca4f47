/** Something fetched, with its loading, its error, and the last good value kept in sight. */
import { useSignal, type Signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { problem, type Problem } from "../api/call";

export interface Loaded<T> {
  value: T | null;
  wrong: Problem | null;
  busy: boolean;
}

/** Fetch again whenever `key` changes; an older answer never overwrites a newer one.
 *
 * `wait_ms` lets things rest first, as a slider.
 */
export function useLoaded<T>(
  key: string | null,
  fetch: (signal: AbortSignal) => Promise<T>,
  wait_ms = 0,
): Signal<Loaded<T>> {
  const now = useSignal<Loaded<T>>({ value: null, wrong: null, busy: key !== null });
  useEffect(() => {
    if (key === null) return;
    const stop = new AbortController();
    now.value = { ...now.peek(), busy: true };
    const timer = setTimeout(() => {
      fetch(stop.signal).then(
        (value) => { if (!stop.signal.aborted) now.value = { value, wrong: null, busy: false }; },
        (error) => {
          if (!stop.signal.aborted)
            now.value = { ...now.peek(), wrong: problem(error), busy: false };
        },
      );
    }, wait_ms);
    return () => { clearTimeout(timer); stop.abort(); };
  }, [key]);
  return now;
}
