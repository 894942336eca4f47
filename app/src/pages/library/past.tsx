/** Former versions of a thing: looked at, and brought back. */
import { useSignal } from "@preact/signals";
import { problem, type Problem } from "../../api/call";
import type { Item, Past } from "../../api/library";
import { useLoaded } from "../../house/loaded";
import { Wrong } from "../../parts/notice";
import { when } from "../../words/files";
import { bringBack, pastOf, textOfPast } from "./doing";

interface Whose {
  kind: Item["kind"];
  id: string;
  name: string;
  revision: string;
}

export function PastVersions({ item, onDone }: { item: Whose; onDone: () => void }) {
  const found = useLoaded(`${item.kind}/${item.id} ${item.revision}`, () => pastOf(item));
  const wrong = useSignal<Problem | null>(null);
  const seen = useSignal<{ revision: string; text: string } | null>(null);
  const attempt = (act: () => Promise<void>) => void act().catch((error) => (wrong.value = problem(error)));
  const list = found.value.value ?? [];
  return (
    <div class="stack">
      {found.value.wrong && <Wrong problem={found.value.wrong} />}
      {found.value.value && !list.length && <p>It has not been changed since it came.</p>}
      <ul class="pastlist">
        {list.map((one) => (
          <li key={one.saved_at + one.revision}>
            <span>{when(one.saved_at)} <span class="soft">{marks(one)}</span></span>
            <span class="row">
              {item.kind !== "logs" && (
                <button type="button" onClick={() => attempt(async () => { seen.value = { revision: one.revision, text: await textOfPast(item, one.revision) }; })}>Look</button>
              )}
              <button type="button" onClick={() => attempt(async () => { await bringBack(item, one.revision); onDone(); })}>Bring back</button>
            </span>
          </li>
        ))}
      </ul>
      {seen.value && <pre class="filetext">{seen.value.text}</pre>}
      {wrong.value && <Wrong problem={wrong.value} />}
      <button type="button" onClick={onDone}>Close</button>
    </div>
  );
}

function marks(one: Past): string {
  if (one.refused) return "not saved then: somebody else had saved meanwhile";
  return one.removed ? "removed" : "replaced";
}
