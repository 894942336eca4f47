/** Keys of one file changed one after the other, by somebody who types faster than we save. */
import type { Signal } from "@preact/signals";
import { useSignal } from "@preact/signals";
import { problem, type Problem } from "../../api/call";
import type { Held } from "../../api/library";
import { draft, dropDraft, hasDraft } from "../../house/draft";
import { useSaves } from "../../house/saves";
import { at, labelOf, meant, scaleFor, sourceOf, written, type Key } from "./value";
import { shown, textIn, type Scale } from "./scale";

export interface Saving {
  wrongs: Signal<Record<string, Problem>>;
  /** What is typed for a key; what the file says where nothing is. */
  typed: (about: Key) => Signal<string>;
  isUnsaved: (about: Key) => boolean;
  /** Save one key; what cannot stand alone goes with what else of its group is not saved yet. */
  put: (about: Key, group: Key[]) => void;
  putBack: (about: Key) => void;
}

export function useSaving(held: Held<unknown>): Saving {
  const { item, value } = held;
  const wrongs = useSignal<Record<string, Problem>>({});
  const saves = useSaves(item.kind, item.id, item.revision);

  const name = (about: Key) => `${item.kind}.${item.id}.${about.key}.${scaleFor(about).unit}`;
  const said = (about: Key) => written(at(value, about.key), scaleFor(about));
  const typed = (about: Key) => draft(name(about), said(about));
  const isUnsaved = (about: Key) => {
    const now = typed(about).peek();
    return hasDraft(name(about)) && now !== said(about) && !saves.lands(name(about), now);
  };
  const tell = (about: Key, wrong: Problem | null) => {
    const { [about.key]: _, ...others } = wrongs.peek();
    wrongs.value = wrong ? { ...others, [about.key]: wrong } : others;
  };

  const send = async (keys: Key[]) => {
    const sent = Object.fromEntries(keys.map((one) => [name(one), typed(one).peek()]));
    const changes = Object.fromEntries(keys.map((one) => [one.key, meant(one, sent[name(one)]!, sourceOf(at(value, one.key)))]));
    await saves.put({ changes }, `${item.name}: ${keys.map(labelOf).join(", ")}`, sent);
    for (const one of keys) tell(one, null);
  };

  const putOne = async (about: Key, group: Key[]) => {
    if (!isUnsaved(about)) {
      dropDraft(name(about), said(about));
      return tell(about, null);
    }
    if (meant(about, typed(about).peek(), "") === undefined) return tell(about, notUnderstood(about, typed(about).peek()));
    try {
      await send([about]);
    } catch (error) {
      const with_ = group.filter((one) => one !== about && isUnsaved(one) && meant(one, typed(one).peek(), "") !== undefined);
      const alone = told(problem(error), about);
      if (!with_.length) return tell(about, alone);
      await send([about, ...with_]).catch(() => tell(about, alone));
    }
  };

  return {
    wrongs,
    typed,
    isUnsaved,
    put: (about, group) => void saves.after(() => putOne(about, group)),
    putBack: (about) => { dropDraft(name(about)); tell(about, null); },
  };
}

/** A refusal with its numbers in the unit they were typed in. */
function told(wrong: Problem, about: Key): Problem {
  const scale: Scale = scaleFor(about);
  if (scale.size === 1 || wrong.unit !== about.unit) return wrong;
  return {
    ...wrong,
    message: textIn(wrong.message, scale),
    value: typeof wrong.value === "number" ? shown(wrong.value, scale) : wrong.value,
    allowed: wrong.allowed && textIn(wrong.allowed, scale),
    unit: scale.unit,
    hint: null, // what is usual stands beside the field, in this unit
  };
}

function notUnderstood(about: Key, typed: string): Problem {
  const scale = scaleFor(about);
  return {
    code: "not_a_number", message: "That is no number Foreaft understands.", key: null, value: typed, allowed: possible(about),
    unit: scale.unit || null, file: null, line: null,
    hint: about.kind === "number" ? "Write one number, a range such as 0.44 to 0.46, or 1360 ±8." : "Write one number.",
  };
}

/** The limits of a key in the user's unit; null where it has none. */
export function possible(about: Key): string | null {
  const scale = scaleFor(about);
  return about.lower === null || about.upper === null ? null : textIn(`${about.lower} to ${about.upper}`, scale);
}
