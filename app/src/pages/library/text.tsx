/** A file as text: to look at, and where no page of its own edits it, to change. */
import type { Item } from "../../api/library";
import { useLoaded } from "../../house/loaded";
import { AsText } from "../../parts/keys/text";
import { Wrong } from "../../parts/notice";
import { textOf } from "./doing";

export function TextOf({ item, editable, onDone }: { item: Item; editable: boolean; onDone: () => void }) {
  const found = useLoaded(item.revision, () => textOf(item));
  if (found.value.wrong) return <Wrong problem={found.value.wrong} />;
  if (found.value.value === null) return <p class="soft" role="status">Opening…</p>;
  if (editable) return <AsText item={item} text={found.value.value} onDone={onDone} />;
  return (
    <div class="stack">
      <pre class="filetext" tabIndex={0}>{found.value.value}</pre>
      <button type="button" onClick={onDone}>Close</button>
    </div>
  );
}
