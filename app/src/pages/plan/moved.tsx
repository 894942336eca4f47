/** What was moved away from the files, said on every page that rests on the plan, with the way back. */
import type { ComponentChildren } from "preact";
import { Link } from "../../house/rail";
import { percent } from "../../words/units";
import type { Of } from "../../api/types";
import { KEYS, letGo, sliders, useOwn, type Own, type SliderKey } from "./sliders";

type MovedKey = Of<"MovedNumber">["key"];

const NAMES: Record<SliderKey, MovedKey> = { changes: "changes_max", boldness: "boldness", grip: "grip_scale", fuel: "fuel_kg", scatter: "scatter_scale" };

/** One number in words, as "grip 80 %". */
export function movedWord(key: MovedKey, value: number): string {
  switch (key) {
    case "grip_scale": return `grip ${percent(value)}`;
    case "fuel_kg": return `fuel ${value} kg`;
    case "scatter_scale": return `scatter ${percent(value)} of the file’s`;
    case "boldness": return `boldness ${value}`;
    case "changes_max": return `at most ${value} ${value === 1 ? "change" : "changes"}`;
    case "change_cost_s": return `${value} s of attention a change`;
  }
}

/** What the sliders move away from the files; one that stands where its file has it moves nothing. */
export function movedWords(texts: Record<SliderKey, string>, own: Own): string[] {
  const files: Record<SliderKey, number | null> = { ...own, scatter: 1 };
  return KEYS.filter((key) => texts[key] !== "" && Number(texts[key]) !== files[key])
    .map((key) => movedWord(NAMES[key], Number(texts[key])));
}

export function Moved() {
  return KEYS.some((key) => sliders.value[key] !== "") ? <MovedNow /> : null;
}

function MovedNow() {
  const said = movedWords(sliders.value, useOwn());
  if (!said.length) return null;
  return (
    <MovedNotice said={said}>
      <button type="button" class="bare" onClick={letGo}>Back to the files</button>
      <Link path="/plan">Move them on the plan</Link>
    </MovedNotice>
  );
}

export function MovedNotice({ said, children }: { said: string[]; children?: ComponentChildren }) {
  return (
    <div class="notice row" role="note" aria-label="Moved away from the files">
      <span>Planned with <strong>{said.join(", ")}</strong> instead of what the files say.</span>
      <span class="row noprint">{children}</span>
    </div>
  );
}
