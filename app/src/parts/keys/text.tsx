/** A file as text, for those who would rather type it. */
import { useSignal } from "@preact/signals";
import { problem, type Problem } from "../../api/call";
import type { Item } from "../../api/library";
import { draft, dropDraft } from "../../house/draft";
import { useSaves } from "../../house/saves";
import { Wrong } from "../notice";
import { asWritten } from "./told";

/** `onDone`: where it stands in a dialog, which closes after saving. */
export function AsText({ item, text, onDone }: { item: Item; text: string; onDone?: () => void }) {
  const key = `text.${item.kind}.${item.id}`;
  const typed = draft(key, text);
  const wrong = useSignal<Problem | null>(null);
  const saves = useSaves(item.kind, item.id, item.revision);
  const same = typed.value === text;
  const put = async () => {
    const now = typed.value;
    try {
      await saves.after(() => saves.put({ text: now }, `${item.name}: the file`, { [key]: now }));
      wrong.value = null;
      onDone?.();
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <form class="stack" onSubmit={(event) => { event.preventDefault(); void put(); }}>
      <label class="field">
        <span class="label">The file</span>
        <textarea rows={18} spellcheck={false} dir="ltr" value={typed.value} onInput={(event) => (typed.value = event.currentTarget.value)} />
      </label>
      {wrong.value && <Wrong problem={wrong.value} where={asWritten} system="metric" />}
      <div class="row">
        <button type="submit" class="go" disabled={same}>Save</button>
        <button type="button" disabled={same} onClick={() => { dropDraft(key); wrong.value = null; }}>Put back what the file says</button>
        {onDone && <button type="button" onClick={onDone}>Close</button>}
      </div>
    </form>
  );
}
