/** A table of the library being edited: typed into a draft, saved when a cell is left. */
import { useSignal, type Signal } from "@preact/signals";
import { useRef } from "preact/hooks";
import { problem, type Problem } from "../../api/call";
import type { Held, Kind, Table } from "../../api/library";
import { draft, dropDraft } from "../../house/draft";
import { useSaves } from "../../house/saves";
import { forget, keep as remember, type Step } from "../../house/undo";
import type { Column, Row } from "../../parts/grid";
import { numberOf } from "../../parts/field";
import { COLUMN_WORDS, told } from "../../parts/keys/told";
import { kept, scaleOf, shown } from "../../parts/keys/scale";
import { units } from "../../words/units";

export interface Editing {
  rows: Row[];
  wrong: Signal<Problem | null>;
  /** What the rows still need before they can be saved, a line each. */
  open: string[];
  type: (rows: Row[]) => void;
  keep: (rows: Row[], label: string) => Promise<boolean>;
  putBack: () => void;
}

/** What a row needs and lacks; empty where it can be saved. */
export type Lacks = (row: Row) => string[];

/** Edit a table; `held` is null where the library has none yet. Rows are in the user's units. */
export function useTable(kind: Kind, id: string, name: string, held: Held<Table> | null, columns: readonly Column[], lacks: Lacks): Editing {
  const key = `${kind}.${id}${units.value === "metric" ? "" : ".imperial"}`;
  const file = held?.value?.rows.map(plainRow) ?? [];
  const known = file.map((row) => shownRow(row, columns));
  const typed = draft<Row[]>(key, known);
  const wrong = useSignal<Problem | null>(null);
  const settled = useRef(typed.value);
  const pending = useRef<Step[]>([]);
  const saves = useSaves(kind, id, held?.item.revision ?? null);

  /** What is typed but cannot be saved can be taken back like everything else. */
  const pend = (rows: Row[], label: string, found: Problem | null) => {
    const before = settled.current;
    const show = (now: Row[], why: Problem | null) => {
      typed.value = settled.current = now;
      wrong.value = why;
    };
    const one: Step = { label, undo: () => show(before, null), redo: () => show(rows, found) };
    settled.current = rows; // what stands in the table may have been typed on
    wrong.value = found;
    pending.current.push(one);
    remember(one);
  };
  const keep = (rows: Row[], label: string) => {
    typed.value = rows;
    return saves.after(() => keepNow(rows, `${name}: ${label}`));
  };
  const keepNow = async (rows: Row[], step: string) => {
    if (rows.some((row) => lacks(row).length)) {
      pend(rows, step, null);
      return false;
    }
    const value = { columns: columnsOf(rows, held?.value?.columns ?? [], columns), rows: rows.map((row, i) => fileRow(row, i, columns, file)) };
    try {
      await saves.put({ value }, step, { [key]: rows });
    } catch (error) {
      pend(rows, step, problem(error));
      return false;
    }
    pending.current.splice(0).forEach(forget);
    settled.current = rows;
    wrong.value = null;
    return true;
  };
  const putBack = () => {
    pending.current.splice(0).forEach(forget);
    dropDraft(key);
    settled.current = typed.value;
    wrong.value = null;
  };
  const open = typed.value.flatMap((row, i) => {
    const needs = lacks(row);
    return needs.length ? [`${row.name || `Row ${i + 1}`} still needs: ${needs.join(", ")}.`] : [];
  });
  return { rows: typed.value, wrong, open, type: (rows) => (typed.value = rows), keep, putBack };
}

function plainRow(row: Record<string, unknown>): Row {
  return Object.fromEntries(Object.entries(row).map(([key, value]) => [key, value == null ? "" : String(value)]));
}

/** The cells of a row that hold a number in a unit the user has another for. */
function measured(row: Row, columns: readonly Column[]) {
  return columns.flatMap((one) => {
    const number = numberOf(row[one.key] ?? "");
    const scale = scaleOf(one.measure ?? "", null);
    return number === null || scale.size === 1 ? [] : [{ one, number, scale }];
  });
}

/** A row of the file in the user's units, no finer than one types it. */
export function shownRow(row: Row, columns: readonly Column[]): Row {
  const cells = measured(row, columns).map(({ one, number, scale }) => {
    const decimals = one.measure === "km/h" ? 1 : 0;
    return [one.key, String(Number(shown(number, scale).toFixed(decimals)))];
  });
  return { ...row, ...Object.fromEntries(cells) };
}

/** A row as the file has it; a cell that shows what the file says stays as the file has it. */
export function fileRow(row: Row, i: number, columns: readonly Column[], file: readonly Row[]): Row {
  const made = clean(row, columns);
  const cells = measured(row, columns).map(({ one, number, scale }) => {
    const same = [file[i], ...file].find((other) => other && shownRow(other, [one])[one.key] === made[one.key]);
    return [one.key, same?.[one.key] ?? String(kept(number, scale))];
  });
  return { ...made, ...Object.fromEntries(cells) };
}

/** The columns in their usual order: those the file has, and those that now hold something. */
export function columnsOf(rows: Row[], known: string[], columns: readonly Column[]): string[] {
  const used = new Set([...known, ...rows.flatMap((row) => Object.keys(row).filter((key) => row[key]?.trim()))]);
  const order = [...known, ...columns.map((one) => one.key)];
  return [...new Set(order)].filter((key) => used.has(key)).concat([...used].filter((key) => !order.includes(key)));
}

/** Numbers with a decimal comma become plain; everything else stays as typed. */
export function clean(row: Row, columns: readonly Column[]): Row {
  const numbers = new Set(columns.filter((one) => one.kind === "number").map((one) => one.key));
  return Object.fromEntries(
    Object.entries(row).map(([key, value]) => {
      const number = numbers.has(key) ? numberOf(value) : null;
      return [key, number === null ? value.trim() : String(number)];
    }),
  );
}

/** Where a key and a line of the file we sent are: the zone by its name, the column as it is headed. */
export function placeIn(rows: readonly Row[]) {
  return (key: string | null, line: number | null): string => {
    const row = line === null ? null : rows[line - 2];
    const column = COLUMN_WORDS[key?.split(".").at(-1) ?? ""];
    return [row && (row.name || `Row ${line! - 1}`), column].filter(Boolean).join(", ");
  };
}

/** Which cell a problem speaks of: the server counts lines of the file we sent, headings first. */
export function cellAt(found: Problem | null, rows: Row[]): { row: number; key: string | null; text: string } | null {
  if (!found) return null;
  const { text, details } = told(found, () => "");
  const key = found.key?.split(".").at(-1) ?? null;
  const row = found.line === null ? -1 : Math.min(Math.max(found.line - 2, 0), rows.length - 1);
  return { row, key, text: [text, details].filter(Boolean).join(" ") };
}
