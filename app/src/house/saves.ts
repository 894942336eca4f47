/** Saves of one file one after the other, by somebody who types faster than we save. */
import { useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { itemOf, save, type Content, type Kind } from "../api/library";
import { dropDraft } from "./draft";

export interface Saves {
  /** Do something once what is being saved is saved. */
  after: <T>(work: () => Promise<T>) => Promise<T>;
  /** Save; the drafts it was made of are forgotten unless somebody has typed on. */
  put: (content: Content, label: string, drafts: Record<string, unknown>) => Promise<void>;
  /** Whether this draft is saved, and only not read back yet. */
  lands: (draft: string, typed: unknown) => boolean;
}

/** `revision` is of what the page shows; null where the library has no such file yet. */
export function useSaves(kind: Kind, id: string, revision: string | null): Saves {
  const seen = useRef(revision);
  const ahead = useRef<string | null>(null); // our own newest save, until the page shows it
  const landing = useSignal<Record<string, unknown>>({});
  const left = useRef(false);
  const line = useRef<Promise<unknown>>(Promise.resolve());
  seen.current = revision;
  if (ahead.current === revision) ahead.current = null;

  const land = () => {
    for (const [draft, typed] of Object.entries(landing.peek())) dropDraft(draft, typed);
    landing.value = {};
  };
  const newest = itemOf(`${kind}/${id}`)?.revision ?? null;
  useEffect(() => {
    // Until the file has been read again, what it said before the save would flash up.
    if (newest === revision && Object.keys(landing.value).length) land();
  });
  useEffect(() => () => {
    left.current = true;
    land();
  }, []);

  return {
    after: (work) => {
      const next = line.current.then(work);
      line.current = next.catch(() => undefined);
      return next;
    },
    put: async (content, label, drafts) => {
      try {
        ahead.current = (await save(kind, id, content, ahead.current ?? seen.current, label)).revision;
      } catch (error) {
        ahead.current = null;
        throw error;
      }
      landing.value = { ...landing.peek(), ...drafts };
      if (left.current) land();
    },
    lands: (draft, typed) => landing.value[draft] === typed,
  };
}
