/** What was removed and can be brought back. */
import { useSignal } from "@preact/signals";
import { ask } from "../../api/call";
import { items, type Kind } from "../../api/library";
import { useLoaded } from "../../house/loaded";
import { Dialog } from "../../parts/dialog";
import { when } from "../../words/files";
import { shelfOf } from "./kinds";
import { PastVersions } from "./past";

interface Gone {
  kind: Kind;
  id: string;
  removed_at: string;
}

export function Removed() {
  const key = (items.value ?? []).map((one) => one.kind + one.id).join();
  const found = useLoaded(key, () => ask<Gone[]>("GET", "library/removed"));
  const open = useSignal<Gone | null>(null);
  const list = found.value.value ?? [];
  if (!list.length) return null;
  return (
    <section class="card" aria-label="Removed things">
      <details>
        <summary>Removed: {list.length}</summary>
        <ul class="things">
          {list.map((one) => (
            <li key={`${one.kind}/${one.id}`} class="thing">
              <div class="thingname"><strong>{one.id}</strong><small>{shelfOf(one.kind).title} · removed {when(one.removed_at)}</small></div>
              <button type="button" onClick={() => (open.value = one)}>Bring back</button>
            </li>
          ))}
        </ul>
      </details>
      <Dialog title={open.value?.id ?? ""} open={open.value !== null} onClose={() => (open.value = null)}>
        {open.value && <PastVersions item={{ ...open.value, name: open.value.id, revision: null }} onDone={() => (open.value = null)} />}
      </Dialog>
    </section>
  );
}
