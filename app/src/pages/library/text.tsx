/** A file as text: to look at, and where no page of its own edits it, to change. */
import { useSignal } from "@preact/signals";
import { problem, type Problem } from "../../api/call";
import { save, type Item } from "../../api/library";
import { draft, dropDraft } from "../../house/draft";
import { useLoaded } from "../../house/loaded";
import { Wrong } from "../../parts/notice";
import { textOf } from "./doing";

export function TextOf({ item, editable, onDone }: { item: Item; editable: boolean; onDone: () => void }) {
  const found = useLoaded(item.revision, () => textOf(item));
  if (found.value.wrong) return <Wrong problem={found.value.wrong} />;
  if (found.value.value === null) return <p class="soft" role="status">Opening…</p>;
  return editable ? (
    <Edit item={item} text={found.value.value} onDone={onDone} />
  ) : (
    <div class="stack">
      <pre class="filetext" tabIndex={0}>{found.value.value}</pre>
      <button type="button" onClick={onDone}>Close</button>
    </div>
  );
}

function Edit({ item, text, onDone }: { item: Item; text: string; onDone: () => void }) {
  const key = `library.${item.kind}.${item.id}`;
  const typed = draft(key, text);
  const wrong = useSignal<Problem | null>(null);
  const put = async () => {
    try {
      await save(item.kind, item.id, { text: typed.value }, item.revision, `${item.name} changed`);
      dropDraft(key);
      onDone();
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <form class="stack" onSubmit={(event) => { event.preventDefault(); void put(); }}>
      <label class="field">
        <span class="label">The file</span>
        <textarea rows={18} spellcheck={false} value={typed.value} onInput={(event) => (typed.value = event.currentTarget.value)} />
      </label>
      {wrong.value && <Wrong problem={wrong.value} />}
      <div class="row">
        <button type="submit" class="go" disabled={typed.value === text}>Save</button>
        <button type="button" disabled={typed.value === text} onClick={() => { dropDraft(key); typed.value = text; }}>Put back what the file says</button>
        <button type="button" onClick={onDone}>Close</button>
      </div>
    </form>
  );
}
