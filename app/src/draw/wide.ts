/** The width a picture has, so that it can be drawn for it and its letters keep their size. */
import { useSignal, type Signal } from "@preact/signals";
import { useLayoutEffect, useRef } from "preact/hooks";
import type { RefObject } from "preact";

export function useWidth<E extends HTMLElement>(first: number): [RefObject<E | null>, Signal<number>] {
  const at = useRef<E>(null);
  const width = useSignal(first);
  useLayoutEffect(() => {
    const box = at.current;
    if (!box) return;
    const read = () => {
      const found = Math.round(box.clientWidth);
      if (found > 0) width.value = found;
    };
    read();
    const watch = new ResizeObserver(read);
    watch.observe(box);
    return () => watch.disconnect();
  }, []);
  return [at, width];
}
