/** The numbers of a car: value or range, source, what is usual and how to measure; edited in place. */
import { useSignal } from "@preact/signals";
import { ask, problem, type Problem } from "../../api/call";
import { save, type Held } from "../../api/library";
import { draft, dropDraft, hasDraft } from "../../house/draft";
import { useLoaded } from "../../house/loaded";
import { Wrong } from "../../parts/notice";
import { at, sourceOf, uncertain, written, type CarValue, type Key } from "./value";

/** What names the file rather than the car; the text below shows them. */
const LABELS = ["schema", "id", "class_name", "draws_file"];

const GROUPS: { title: string; takes: (key: string) => boolean; folded?: boolean }[] = [
  { title: "Adjuster", takes: (key) => key.startsWith("adjuster.") || key.startsWith("anchor.") },
  { title: "Weights and sizes", takes: (key) => !key.includes(".") && !/aero|lift|drag/.test(key) },
  { title: "Tyres", takes: (key) => key.startsWith("tyre.") && !/coefficients|set$/.test(key), folded: true },
  { title: "Brakes", takes: (key) => key.startsWith("brakes."), folded: true },
  { title: "Air", takes: (key) => !key.includes(".") && /aero|lift|drag/.test(key), folded: true },
  { title: "Engine and wheels", takes: (key) => /^(drive|wheel|fuel)\./.test(key), folded: true },
  { title: "The car in motion", takes: (key) => key.startsWith("transient."), folded: true },
];

export function Numbers({ held }: { held: Held<CarValue> }) {
  const keys = useLoaded("keys", () => ask<Key[]>("GET", "keys/cars"));
  if (!keys.value.value) return keys.value.wrong && <Wrong problem={keys.value.wrong} />;
  const shown = keys.value.value.filter(
    (one) => !LABELS.includes(one.key) && (one.kind !== "text" || at(held.value, one.key) !== undefined),
  );
  return (
    <section class="card" aria-labelledby="numbers-head">
      <h2 id="numbers-head">Its numbers</h2>
      <p>One number, a range such as <kbd>0.44 to 0.46</kbd>, or <kbd>1360 ±8</kbd>. What is a range here widens the answer, and nothing else.</p>
      {GROUPS.map((group) => <Group key={group.title} {...group} keys={shown.filter((one) => group.takes(one.key))} held={held} />)}
      <Text held={held} />
    </section>
  );
}

function Group({ title, keys, held, folded }: { title: string; keys: Key[]; held: Held<CarValue>; folded?: boolean }) {
  const known = keys.filter((one) => at(held.value, one.key) !== undefined && typeof at(held.value, one.key) !== "object" || isNumber(at(held.value, one.key)));
  const rest = keys.filter((one) => !known.includes(one) && !isPart(one, keys));
  if (!keys.length) return null;
  return (
    <details open={!folded} class="numbers">
      <summary>{title}</summary>
      {known.map((one) => <Row key={one.key} about={one} held={held} />)}
      {rest.length > 0 && (
        <details>
          <summary class="soft">{rest.length} more that the file leaves open</summary>
          {rest.map((one) => <Row key={one.key} about={one} held={held} />)}
        </details>
      )}
    </details>
  );
}

function isNumber(found: unknown): boolean {
  return !!found && typeof found === "object" && !Array.isArray(found) && ("value" in found || "low" in found);
}

/** A table's own key, such as "brakes.front", is no number. */
function isPart(one: Key, keys: Key[]): boolean {
  return keys.some((other) => other.key.startsWith(`${one.key}.`));
}

function Row({ about, held }: { about: Key; held: Held<CarValue> }) {
  const found = at(held.value, about.key);
  const name = `car.${held.item.id}.${about.key}`;
  const typed = draft(name, written(found));
  const wrong = useSignal<Problem | null>(null);
  const unsaved = hasDraft(name) && typed.value !== written(found);
  const put = async () => {
    if (typed.value === written(found)) return dropDraft(name);
    const value = meant(about, typed.value, sourceOf(found));
    if (value === undefined) {
      wrong.value = notUnderstood(about, typed.value);
      return;
    }
    try {
      await save("cars", held.item.id, { changes: { [about.key]: value } }, held.item.revision, `${held.item.name}: ${labelOf(about)}`);
      dropDraft(name);
      wrong.value = null;
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <div class="numberrow">
      <label for={name}>
        {labelOf(about)} {about.unit && <span class="unit soft">{about.unit}</span>}
      </label>
      <Entry id={name} about={about} typed={typed.value} wrong={wrong.value !== null} onType={(now) => (typed.value = now)} onDone={() => void put()} />
      <small id={`${name}-about`}>{[sourceOf(found), about.typical && `usual: ${about.typical}`, about.measure && `measure: ${about.measure}`].filter(Boolean).join(" · ")}</small>
      {unsaved && !wrong.value && <small>not saved yet</small>}
      {wrong.value && (
        <Wrong problem={wrong.value}>
          <button type="button" onClick={() => { dropDraft(name); typed.value = written(found); wrong.value = null; }}>Put back what the file says</button>
        </Wrong>
      )}
    </div>
  );
}

/** What a key means, with its end where both ends have one. */
function labelOf(about: Key): string {
  const end = about.key.includes(".front.") ? "Front: " : about.key.includes(".rear.") ? "Rear: " : "";
  const text = about.meaning || about.key;
  return end ? end + text : text.charAt(0).toUpperCase() + text.slice(1);
}

interface EntryProps {
  id: string;
  about: Key;
  typed: string;
  wrong: boolean;
  onType: (now: string) => void;
  onDone: () => void;
}

function Entry({ id, about, typed, wrong, onType, onDone }: EntryProps) {
  const choices = about.kind === "flag" ? ["true", "false"] : about.kind === "choice" ? (about.choices ?? []) : null;
  if (choices)
    return (
      <select id={id} value={typed} onChange={(event) => { onType(event.currentTarget.value); onDone(); }}>
        {["", ...choices].map((one) => <option key={one} value={one} selected={one === typed}>{one === "" ? "not said" : one.replaceAll("_", " ")}</option>)}
      </select>
    );
  return (
    <input
      id={id}
      type="text"
      autocomplete="off"
      aria-describedby={`${id}-about`}
      aria-invalid={wrong || undefined}
      value={typed}
      onInput={(event) => onType(event.currentTarget.value)}
      onChange={onDone}
    />
  );
}

function meant(about: Key, typed: string, source: string): unknown {
  if (typed.trim() === "") return null;
  if (about.kind === "flag") return typed === "true";
  if (about.kind === "choice" || about.kind === "text") return typed;
  const number = uncertain(typed, about.kind === "number" ? source : "");
  return about.kind === "number" || typeof number === "number" ? number : undefined;
}

function notUnderstood(about: Key, typed: string): Problem {
  const allowed = about.lower === null ? null : `${about.lower} to ${about.upper}`;
  return {
    code: "not_a_number", message: "That is no number Foreaft understands.", key: about.key, value: typed, allowed,
    unit: about.unit || null, file: null, line: null,
    hint: about.kind === "number" ? "Write one number, a range such as 0.44 to 0.46, or 1360 ±8." : "Write one number.",
  };
}

/** The file itself, for those who would rather type it. */
function Text({ held }: { held: Held<CarValue> }) {
  const name = `car.${held.item.id}.text`;
  const typed = draft(name, held.text ?? "");
  const wrong = useSignal<Problem | null>(null);
  const put = async () => {
    try {
      await save("cars", held.item.id, { text: typed.value }, held.item.revision, `${held.item.name}: the file`);
      dropDraft(name);
      wrong.value = null;
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <details class="numbers">
      <summary>The car file as text</summary>
      <label class="unseen" for={name}>The car file</label>
      <textarea id={name} rows={24} spellcheck={false} value={typed.value} onInput={(event) => (typed.value = event.currentTarget.value)} />
      {wrong.value && <Wrong problem={wrong.value} />}
      <div class="row">
        <button type="button" class="go" disabled={typed.value === held.text} onClick={() => void put()}>Save the text</button>
        <button type="button" disabled={typed.value === held.text} onClick={() => { dropDraft(name); typed.value = held.text ?? ""; }}>Put back what the file says</button>
      </div>
    </details>
  );
}
