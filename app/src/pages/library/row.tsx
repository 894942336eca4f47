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

export function Row({ item }: { item: Item & { problem?: Problem | null } }) {
  const shelf = shelfOf(item.kind);
  const task = useSignal<Task>(null);
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
        {there ? <Link path={there.path} more={there.more}><strong>{item.name}</strong></Link> : <button type="button" class="bare" onClick={() => (task.value = "text")}><strong>{item.name}</strong></button>}
        <small>{[noteOf(item), when(item.saved_at), size(item.bytes)].filter(Boolean).join(" · ")}</small>
        {item.problem && <small class="refusal">Refused as it is: {item.problem.message}</small>}
      </div>
      <div class="row thingdo">
        {shelf.desk && (onDesk ? <span class="soft ondesk">On the desk</span> : <button type="button" onClick={() => putOnDesk(item)}>Put on the desk</button>)}
        <details class="more">
          <summary aria-label={`More to do with ${item.name}`}>More</summary>
          <div class="moredo">
            {canBeCopied(item.kind) && <button type="button" onClick={() => (task.value = "copy")}>Copy</button>}
            {canBeCopied(item.kind) && <button type="button" onClick={() => (task.value = "rename")}>Rename</button>}
            <button type="button" onClick={() => (task.value = "past")}>Former versions</button>
            {item.kind !== "logs" && <button type="button" onClick={() => (task.value = "text")}>{shelf.text ? "Edit as text" : "Look at the file"}</button>}
            <button type="button" onClick={() => void download(item)}>Download</button>
            <button type="button" class="danger" onClick={() => void away()}>Remove</button>
          </div>
        </details>
      </div>
      {wrong.value && <Wrong problem={wrong.value} />}
      <Tasks item={item} task={task.value} onDone={() => (task.value = null)} editable={Boolean(shelf.text)} />
    </li>
  );
}

function Tasks({ item, task, onDone, editable }: { item: Item; task: Task; onDone: () => void; editable: boolean }) {
  return (
    <>
      <Dialog title={`Copy ${item.name}`} open={task === "copy"} onClose={onDone}>
        <NameForm start={`${item.name} copy`} go="Copy" act={(name) => copy(item, name)} onDone={onDone} />
      </Dialog>
      <Dialog title={`Rename ${item.name}`} open={task === "rename"} onClose={onDone}>
        <NameForm start={item.name} go="Rename" act={(name) => rename(item, name)} onDone={onDone} />
      </Dialog>
      <Dialog title={`Former versions of ${item.name}`} open={task === "past"} onClose={onDone}>
        <PastVersions item={item} onDone={onDone} />
      </Dialog>
      <Dialog title={item.name} open={task === "text"} onClose={onDone}>
        <TextOf item={item} editable={editable} onDone={onDone} />
      </Dialog>
    </>
  );
}

export function NameForm({ start, go, act, onDone }: { start: string; go: string; act: (name: string) => Promise<unknown>; onDone: () => void }) {
  const name = useSignal(start);
  const wrong = useSignal<Problem | null>(null);
  const put = async () => {
    try {
      await act(name.value.trim());
      onDone();
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
        <button type="button" onClick={onDone}>Not now</button>
      </div>
    </form>
  );
}
