/** The library: cars, circuits, drivers and so on, as the server keeps them. */
import { signal } from "@preact/signals";
import { ask, type Problem } from "./call";
import { step } from "../house/undo";

export type Kind =
  | "cars"
  | "drivers"
  | "conditions"
  | "sheets"
  | "circuits"
  | "zones"
  | "logs"
  | "mappings"
  | "plans";

export interface Item {
  kind: Kind;
  id: string;
  name: string;
  revision: string;
  saved_at: string;
  bytes: number;
  note: string;
  /** Why a job would refuse it as it is. */
  problem?: Problem | null;
}

export interface Damaged {
  kind: string;
  id: string;
  file: string;
  why: string;
  kept_as: string;
}

export interface Table {
  columns: string[];
  rows: Record<string, string>[];
}

export interface Held<V = unknown> {
  item: Item;
  text: string | null;
  value: V | null;
  /** The values as a job takes them, with what the file leaves open; null where it knows none. */
  used?: unknown;
}

export interface Past {
  revision: string;
  saved_at: string;
  refused: boolean;
  removed: boolean;
}

export const items = signal<Item[] | null>(null);
export const damaged = signal<Damaged[]>([]);

/** Fetch what is in the library. */
export async function refresh(): Promise<void> {
  const found = await ask<{ items: Item[]; damaged: Damaged[] }>("GET", "library");
  items.value = found.items;
  damaged.value = found.damaged;
}

/** Items of one kind, by name. */
export function ofKind(kind: Kind): Item[] {
  return (items.value ?? []).filter((one) => one.kind === kind);
}

/** The item a reference such as "cars/halden-gt" names. */
export function itemOf(reference: string): Item | undefined {
  return (items.value ?? []).find((one) => `${one.kind}/${one.id}` === reference);
}

export function read<V>(kind: Kind, id: string): Promise<Held<V>> {
  return ask<Held<V>>("GET", `library/${kind}/${encodeURIComponent(id)}`);
}

export interface Content {
  text?: string;
  value?: unknown;
  changes?: Record<string, unknown>;
}

/** Save, so that it can be undone. `based_on` is null for something new.
 *
 * Throws a `Refused` with code `saved_elsewhere` where another tab or program saved meanwhile.
 */
export async function save(
  kind: Kind,
  id: string,
  content: Content,
  based_on: string | null,
  label: string,
): Promise<Item> {
  let now: Item | undefined;
  let base = based_on;
  await step({
    label,
    redo: async () => {
      now = await put(kind, id, content, base);
      await refresh();
    },
    undo: async () => {
      base = based_on;
      if (now) await takeBack(now, based_on);
      await refresh();
    },
  });
  return now as unknown as Item;
}

function put(kind: Kind, id: string, content: Content, based_on: string | null): Promise<Item> {
  const method = content.changes ? "PATCH" : "PUT";
  const path = `library/${kind}/${encodeURIComponent(id)}`;
  return ask<{ item: Item }>(method, path, { ...content, based_on }).then((got) => got.item);
}

function takeBack(now: Item, before: string | null): Promise<unknown> {
  const path = `library/${now.kind}/${encodeURIComponent(now.id)}`;
  if (before === null) return ask("DELETE", `${path}?based_on=${now.revision}`);
  return ask("POST", `${path}/restore`, { revision: before, based_on: now.revision });
}

/** Remove, so that it can be undone. */
export function remove(one: Item): Promise<void> {
  const path = `library/${one.kind}/${encodeURIComponent(one.id)}`;
  return step({
    label: `${one.name} removed`,
    redo: async () => {
      await ask("DELETE", `${path}?based_on=${one.revision}`);
      await refresh();
    },
    undo: async () => {
      await ask("POST", `${path}/restore`, { revision: one.revision, based_on: null });
      await refresh();
    },
  });
}

/** Bring a log in; the file's name is kept. */
export async function bringLog(file: File): Promise<Item> {
  const path = `logs/${encodeURIComponent(file.name)}`;
  const { item } = await ask<{ item: Item }>("PUT", path, file);
  await refresh();
  return item;
}

/** A slug for a name: lower-case words joined by hyphens. */
export function slug(name: string): string {
  const bare = name.normalize("NFKD").replace(/\p{Mark}/gu, ""); // letters without their accents
  const plain = bare.toLowerCase().replace(/[^a-z0-9]+/g, "-");
  return plain.replace(/^-+|-+$/g, "").slice(0, 60) || "unnamed";
}
