/** What was removed and can be brought back. */
import { useSignal } from "@preact/signals";
import { ask, problem, type Problem } from "../../api/call";
import { items, type Kind } from "../../api/library";
import { useLoaded } from "../../house/loaded";
import { Wrong } from "../../parts/notice";
import { when } from "../../words/files";
import { bringBack } from "./doing";
import { shelfOf } from "./kinds";

interface Gone {
  kind: Kind;
  id: string;
  revision: string;
  removed_at: string;
}

export function Removed() {
  const key = (items.value ?? []).map((one) => one.kind + one.id).join();
  const found = useLoaded(key, () => ask<Gone[]>("GET", "library/removed"));
  const wrong = useSignal<Problem | null>(null);
  const list = found.value.value ?? [];
  const back = (one: Gone) =>
    void bringBack({ kind: one.kind, id: one.id, name: one.id, revision: null }, one.revision)
      .then(() => (wrong.value = null))
      .catch((error) => (wrong.value = problem(error)));
  if (!list.length) return null;
  return (
    <section class="card" aria-label="Removed things">
      <details>
        <summary>Removed: {list.length}</summary>
        <ul class="things">
          {list.map((one) => (
            <li key={`${one.kind}/${one.id}`} class="thing">
              <div class="thingname"><strong>{one.id}</strong><small>{shelfOf(one.kind).title} · removed {when(one.removed_at)}</small></div>
              <button type="button" aria-label={`Bring back ${one.id}`} onClick={() => back(one)}>Bring back</button>
            </li>
          ))}
        </ul>
      </details>
      {wrong.value && <Wrong problem={wrong.value} />}
    </section>
  );
}
