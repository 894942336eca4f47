/** A table of the library being edited: typed into a draft, saved when a cell is left. */
import { useSignal, type Signal } from "@preact/signals";
import { problem, Refused, type Problem } from "../../api/call";
import { save, type Held, type Kind, type Table } from "../../api/library";
import { draft, dropDraft } from "../../house/draft";
import type { Column, Row } from "../../parts/grid";
import { numberOf } from "../../parts/field";

export interface Editing {
  rows: Row[];
  wrong: Signal<Problem | null>;
  type: (rows: Row[]) => void;
  keep: (rows: Row[], label: string) => Promise<void>;
  putBack: () => void;
}

/** Edit a table; `held` is null where the library has none yet. */
export function useTable(kind: Kind, id: string, name: string, held: Held<Table> | null, start: Row[], columns: readonly Column[]): Editing {
  const key = `${kind}.${id}`;
  const known = held?.value?.rows.map(plainRow) ?? start;
  const typed = draft<Row[]>(key, known);
  const wrong = useSignal<Problem | null>(null);
  const keep = async (rows: Row[], label: string) => {
    typed.value = rows;
    const value = { columns: columnsOf(rows, held?.value?.columns ?? [], columns), rows: rows.map((row) => clean(row, columns)) };
    try {
      await save(kind, id, { value }, held?.item.revision ?? null, `${name}: ${label}`);
      dropDraft(key);
      wrong.value = null;
    } catch (error) {
      wrong.value = error instanceof Refused ? error.problem : problem(error);
    }
  };
  const putBack = () => {
    dropDraft(key);
    wrong.value = null;
  };
  return { rows: typed.value, wrong, type: (rows) => (typed.value = rows), keep, putBack };
}

function plainRow(row: Record<string, unknown>): Row {
  return Object.fromEntries(Object.entries(row).map(([key, value]) => [key, value == null ? "" : String(value)]));
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

/** Which cell a problem speaks of: the server counts lines of the file we sent, headings first. */
export function cellAt(found: Problem | null, rows: Row[]): { row: number; key: string | null; text: string } | null {
  if (!found) return null;
  const word = found.key?.split(".").at(-1) ?? null;
  const said = found.allowed ? `${found.message} Allowed: ${found.allowed} ${found.unit ?? ""}` : found.message;
  if (found.line === null) return { row: -1, key: word, text: said };
  const row = Math.min(Math.max(found.line - 2, 0), rows.length - 1);
  return { row, key: word, text: said };
}
