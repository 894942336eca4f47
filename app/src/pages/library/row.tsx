/** One thing of the library: what it is, and what can be done with it. */
import { useSignal } from "@preact/signals";
import { problem, type Problem } from "../../api/call";
import type { Item } from "../../api/library";
import { desk } from "../../house/desk";
import { Link } from "../../house/rail";
import { tell } from "../../house/tell";
import { undo } from "../../house/undo";
import { Dialog } from "../../parts/dialog";
import { TextField } from "../../parts/field";
import { Wrong } from "../../parts/notice";
import { size, when } from "../../words/files";
import { copy, download, putOnDesk, remove, rename } from "./doing";
import { canBeCopied, noteOf, reference, shelfOf } from "./kinds";
import { PastVersions } from "./past";
import { TextOf } from "./text";

type Task = "copy" | "rename" | "past" | "text" | null;

export function Row({ item }: { item: Item }) {
  const shelf = shelfOf(item.kind);
  const task = useSignal<Task>(null);
  const more = useSignal(false);
  const wrong = useSignal<Problem | null>(null);
  const there = shelf.open?.(item);
  const onDesk = shelf.desk && desk.value[shelf.desk] === reference(item);
  const away = async () => {
    try {
      await remove(item);
      tell({ kind: "done", text: `${item.name} removed.`, action: { label: "Undo", run: () => void undo() } });
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <li class="thing">
      <div class="thingname">
        {there ? <Link path={there.path} more={there.more}><strong><bdi>{item.name}</bdi></strong></Link> : <button type="button" class="bare" onClick={() => (task.value = "text")}><strong><bdi>{item.name}</bdi></strong></button>}
        <small>{[noteOf(item), when(item.saved_at), size(item.bytes)].filter(Boolean).join(" · ")}</small>
        {item.problem && <small class="refusal">Refused as it is: {item.problem.message}</small>}
      </div>
      <div class="row thingdo">
        {shelf.desk && (onDesk ? <span class="soft ondesk">On the desk</span> : <button type="button" onClick={() => putOnDesk(item)}>Put on the desk</button>)}
        <button type="button" class="bare" aria-expanded={more.value} aria-label={`More to do with ${item.name}`} onClick={() => (more.value = !more.value)}>More</button>
      </div>
      {more.value && <More item={item} onTask={(one) => (task.value = one)} onRemove={() => void away()} />}
      {wrong.value && <Wrong problem={wrong.value} />}
      <Tasks item={item} task={task.value} onDone={() => (task.value = null)} editable={Boolean(shelf.text)} />
    </li>
  );
}

function More({ item, onTask, onRemove }: { item: Item; onTask: (task: Task) => void; onRemove: () => void }) {
  return (
    <div class="moredo" role="group" aria-label={`More to do with ${item.name}`}>
      {canBeCopied(item.kind) && <button type="button" onClick={() => onTask("copy")}>Copy</button>}
      {canBeCopied(item.kind) && <button type="button" onClick={() => onTask("rename")}>Rename</button>}
      <button type="button" onClick={() => onTask("past")}>Former versions</button>
      {item.kind !== "logs" && <button type="button" onClick={() => onTask("text")}>{shelfOf(item.kind).text ? "Edit as text" : "Look at the file"}</button>}
      <button type="button" onClick={() => download(item)}>Download</button>
      <button type="button" class="danger" onClick={onRemove}>Remove</button>
    </div>
  );
}

const TITLES: Record<NonNullable<Task>, (name: string) => string> = {
  copy: (name) => `Copy ${name}`,
  rename: (name) => `Rename ${name}`,
  past: (name) => `Former versions of ${name}`,
  text: (name) => name,
};

function Tasks({ item, task, onDone, editable }: { item: Item; task: Task; onDone: () => void; editable: boolean }) {
  return (
    <Dialog title={task ? TITLES[task](item.name) : ""} open={task !== null} onClose={onDone}>
      {task === "copy" && <NameForm start={`${item.name} copy`} go="Copy" act={(name) => copy(item, name)} onDone={onDone} />}
      {task === "rename" && <NameForm start={item.name} go="Rename" act={(name) => rename(item, name)} onDone={onDone} />}
      {task === "past" && <PastVersions item={item} onDone={onDone} />}
      {task === "text" && <TextOf item={item} editable={editable} onDone={onDone} />}
    </Dialog>
  );
}

export function NameForm({ start, go, act, onDone }: { start: string; go: string; act: (name: string) => Promise<unknown>; onDone?: (() => void) | undefined }) {
  const name = useSignal(start);
  const wrong = useSignal<Problem | null>(null);
  const put = async () => {
    try {
      await act(name.value.trim());
      onDone?.();
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <form class="stack" onSubmit={(event) => { event.preventDefault(); void put(); }}>
      <TextField label="Name" value={name.value} onInput={(now) => (name.value = now)} />
      {wrong.value && <Wrong problem={wrong.value} />}
      <div class="row">
        <button type="submit" class="go" disabled={!name.value.trim()}>{go}</button>
        {onDone && <button type="button" onClick={onDone}>Not now</button>}
      </div>
    </form>
  );
}
