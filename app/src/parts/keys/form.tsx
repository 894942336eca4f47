/** The keys of a file as a form: value or range, what is usual and possible; saved field by field. */
import { ask } from "../../api/call";
import type { Held } from "../../api/library";
import { useLoaded } from "../../house/loaded";
import { Wrong } from "../notice";
import { possible, useSaving, type Saving } from "./saving";
import { textIn } from "./scale";
import { AsText } from "./text";
import { at, labelOf, scaleFor, sourceOf, written, type Key } from "./value";

export interface Group {
  title: string;
  takes: (key: string) => boolean;
  intro?: string;
  folded?: boolean;
}

interface FormProps {
  held: Held<unknown>;
  title: string;
  intro: string;
  groups: Group[];
  /** Short names by key, or by its last word; what a key means then stands beside the field. */
  names?: Record<string, string> | undefined;
  /** Why a number is taken where the file is silent, as "usual for a club driver". */
  usual?: string | undefined;
  /** Fold what the file leaves open. */
  folding?: boolean;
}

/** What names the file rather than the thing; the text shows them. */
const LABELS = ["schema", "id", "class_name", "draws_file"];

export function KeysForm({ held, title, intro, groups, names = {}, usual, folding }: FormProps) {
  const { kind } = held.item;
  const keys = useLoaded(`keys ${kind}`, () => ask<Key[]>("GET", `keys/${kind}`));
  const saving = useSaving(held);
  if (!keys.value.value) return keys.value.wrong && <Wrong problem={keys.value.wrong} />;
  const shown = keys.value.value.filter(
    (one) => !LABELS.includes(one.key) && (one.kind !== "text" || one.key === "name" || at(held.value, one.key) !== undefined),
  );
  return (
    <section class="card" aria-labelledby="numbers-head">
      <h2 id="numbers-head">{title}</h2>
      <p>{intro}</p>
      {groups.map((group) => {
        const own = shown.filter((one) => group.takes(one.key));
        return own.length > 0 && <GroupPart key={group.title} group={group} keys={own} held={held} saving={saving} names={names} usual={usual} folding={folding} />;
      })}
      <details class="numbers">
        <summary>The file as text</summary>
        <AsText item={held.item} text={held.text ?? ""} />
      </details>
    </section>
  );
}

interface Part {
  keys: Key[];
  held: Held<unknown>;
  saving: Saving;
  names: Record<string, string>;
  usual: string | undefined;
}

function GroupPart({ group, folding, ...part }: Part & { group: Group; folding: boolean | undefined }) {
  const { keys, held } = part;
  const known = folding ? keys.filter((one) => isSaid(at(held.value, one.key))) : keys;
  const rest = keys.filter((one) => !known.includes(one) && !isPart(one, keys));
  const row = (one: Key) => <Row key={one.key} about={one} {...part} />;
  return (
    <details open={!group.folded} class="numbers">
      <summary>{group.title}</summary>
      {group.intro && <p class="soft">{group.intro}</p>}
      {known.map(row)}
      {rest.length > 0 && (
        <details>
          <summary class="soft">{rest.length} more that the file leaves open</summary>
          {rest.map(row)}
        </details>
      )}
    </details>
  );
}

function isSaid(found: unknown): boolean {
  if (found === undefined) return false;
  return typeof found !== "object" || (found !== null && !Array.isArray(found) && ("value" in found || "low" in found));
}

/** A table's own key, such as "brakes.front", is no number. */
function isPart(one: Key, keys: Key[]): boolean {
  return keys.some((other) => other.key.startsWith(`${one.key}.`));
}

function Row({ about, keys, held, saving, names, usual }: Part & { about: Key }) {
  const scale = scaleFor(about);
  const found = at(held.value, about.key);
  const taken = found === undefined ? written(rounded(at(held.used, about.key)), scale) : "";
  const id = `${held.item.kind}.${held.item.id}.${about.key}`;
  const typed = saving.typed(about);
  const wrong = saving.wrongs.value[about.key] ?? null;
  const limits = possible(about);
  const name = names[about.key] ?? names[about.key.split(".").at(-1)!];
  const notes = [
    name && name !== labelOf(about) && about.meaning,
    sourceOf(found),
    taken && ["left open", [word(taken), usual].filter(Boolean).join(", ")].join(": "),
    about.typical && `usual: ${textIn(about.typical, scale)}`,
    limits && `possible: ${limits}`,
    about.measure && `measure: ${about.measure}`,
  ];
  return (
    <div class="numberrow">
      <label for={id}>
        {name ?? labelOf(about)} {scale.unit && <span class="unit soft">{scale.unit}</span>}
      </label>
      <Entry
        id={id}
        about={about}
        typed={typed.value}
        taken={taken}
        wrong={wrong !== null}
        onType={(now) => (typed.value = now)}
        onDone={() => saving.put(about, keys)}
      />
      <small id={`${id}-about`}>{notes.filter(Boolean).join(" · ")}</small>
      {saving.isUnsaved(about) && !wrong && <small>not saved yet</small>}
      {wrong && (
        <Wrong problem={wrong} where={beside}>
          <button type="button" onClick={() => saving.putBack(about)}>Put back what the file says</button>
        </Wrong>
      )}
    </div>
  );
}

/** The message stands beside its field. */
const beside = () => "";

/** What was worked out, such as the density of the air, to as many digits as anybody reads. */
function rounded(used: unknown): unknown {
  return typeof used === "number" ? Number(used.toPrecision(4)) : used;
}

interface EntryProps {
  id: string;
  about: Key;
  typed: string;
  /** What is taken while nothing stands here, in grey. */
  taken: string;
  wrong: boolean;
  onType: (now: string) => void;
  onDone: () => void;
}

function Entry({ id, about, typed, taken, wrong, onType, onDone }: EntryProps) {
  const choices = about.kind === "flag" ? ["true", "false"] : about.kind === "choice" ? (about.choices ?? []) : null;
  if (choices)
    return (
      <select id={id} value={typed} aria-describedby={`${id}-about`} onChange={(event) => { onType(event.currentTarget.value); onDone(); }}>
        {["", ...choices].map((one) => (
          <option key={one} value={one} selected={one === typed}>{one !== "" ? word(one) : taken ? `not said: ${word(taken)}` : "not said"}</option>
        ))}
      </select>
    );
  return (
    <input
      id={id}
      type="text"
      inputMode={isPlain(about) ? "decimal" : "text"}
      autocomplete="off"
      aria-describedby={`${id}-about`}
      aria-invalid={wrong || undefined}
      placeholder={taken}
      value={typed}
      onInput={(event) => onType(event.currentTarget.value)}
      onChange={onDone}
    />
  );
}

/** A keyboard of digits will do: no range, and no sign. */
function isPlain(about: Key): boolean {
  return (about.kind === "exact" || about.kind === "whole") && (about.lower ?? -1) >= 0;
}

/** A word of a file as people say it. */
function word(one: string): string {
  return { true: "yes", false: "no" }[one] ?? one.replaceAll("_", " ");
}
