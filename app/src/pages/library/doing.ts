/** What can be done with a thing of the library, each so that it can be undone. */
import { ask } from "../../api/call";
import { read, refresh, remove, save, slug, type Item, type Past } from "../../api/library";
import { step } from "../../house/undo";
import { desk, lay, type Desk } from "../../house/desk";
import { isNamedInside, reference, shelfOf } from "./kinds";

function path(one: { kind: string; id: string }): string {
  return `library/${one.kind}/${encodeURIComponent(one.id)}`;
}

export function putOnDesk(item: Item): void {
  const key = shelfOf(item.kind).desk!;
  const changes: Partial<Desk> = { [key]: reference(item) };
  if (key === "car") Object.assign(changes, { today: "", higher: "", first: "", lowest: "", highest: "", step: "" });
  lay(changes, `${item.name} put on the desk`);
}

export async function copy(item: Item, name: string): Promise<Item> {
  const id = slug(name);
  let made: Item | undefined;
  await step({
    label: `${item.name} copied`,
    redo: async () => {
      made = (await ask<{ item: Item }>("POST", `${path(item)}/copy`, { id, name })).item;
      await refresh();
    },
    undo: async () => {
      if (made) await ask("DELETE", `${path(made)}?based_on=${made.revision}`);
      await refresh();
    },
  });
  return made!;
}

/** A name inside the file is changed there; a thing named by its file is moved to another name. */
export async function rename(item: Item, name: string): Promise<void> {
  if (isNamedInside(item.kind)) {
    await save(item.kind, item.id, { changes: { name } }, item.revision, `${item.name} renamed`);
    return;
  }
  const onDesk = Object.entries(desk.value).find(([, value]) => value === reference(item))?.[0];
  let made: Item | undefined;
  await step({
    label: `${item.name} renamed`,
    redo: async () => {
      made = (await ask<{ item: Item }>("POST", `${path(item)}/copy`, { id: slug(name), name })).item;
      await ask("DELETE", `${path(item)}?based_on=${item.revision}`);
      await refresh();
    },
    undo: async () => {
      await ask("POST", `${path(item)}/restore`, { revision: item.revision, based_on: null });
      if (made) await ask("DELETE", `${path(made)}?based_on=${made.revision}`);
      await refresh();
    },
  });
  if (onDesk && made) lay({ [onDesk]: reference(made) }, `${name} put on the desk`);
}

export { remove };

export function pastOf(item: { kind: string; id: string }): Promise<Past[]> {
  return ask<Past[]>("GET", `${path(item)}/past`);
}

export async function textOfPast(item: { kind: string; id: string }, revision: string): Promise<string> {
  return (await ask<{ text: string }>("GET", `${path(item)}/past/${revision}`)).text;
}

/** Bring a former version back; what is there now becomes a former version itself. */
export async function bringBack(item: { kind: Item["kind"]; id: string; name: string; revision: string | null }, old: string): Promise<void> {
  let now: Item | undefined;
  await step({
    label: `${item.name} as it was`,
    redo: async () => {
      now = (await ask<{ item: Item }>("POST", `${path(item)}/restore`, { revision: old, based_on: item.revision })).item;
      await refresh();
    },
    undo: async () => {
      if (item.revision === null) await ask("DELETE", `${path(item)}?based_on=${now!.revision}`);
      else await ask("POST", `${path(item)}/restore`, { revision: item.revision, based_on: now!.revision });
      await refresh();
    },
  });
}

export function download(item: Item): void {
  const link = document.createElement("a");
  link.href = `/api/${path(item)}/file`;
  link.download = "";
  link.click();
}

export function textOf(item: Item): Promise<string> {
  return read(item.kind, item.id).then((held) => held.text ?? "");
}
