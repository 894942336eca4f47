/** What a log's columns were taken for; those that are asked for can be answered. */
import { useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import type { Envelope, Of } from "../../api/types";
import { itemOf, ofKind, read, save, slug } from "../../api/library";
import { job, problem, type Problem } from "../../api/call";
import { draft, dropDraft } from "../../house/draft";
import { useLoaded } from "../../house/loaded";
import { tell } from "../../house/tell";
import { Select } from "../../parts/field";
import { Mind, Warnings, Wrong } from "../../parts/notice";
import { choose, type Chosen } from "./chosen";
import { ChannelTable } from "./channel_table";
import { askedOf, joined, mapsOf, type MappingValue, type Said } from "./mapping";
import { Sessions } from "./sessions";

export function Channels({ now }: { now: Chosen }) {
  const all = [...now.logs, ...(now.against ? [now.against] : [])];
  const picked = useSignal("");
  if (!all.length) return null;
  const log = all.includes(picked.value) ? picked.value : all[0]!;
  return (
    <section class="card stack noprint" aria-label="Channels">
      <h2>What the columns are</h2>
      {all.length > 1 && (
        <Select label="Log" value={log} options={all.map((one) => ({ value: one, label: one.slice(5) }))} onPick={(one) => (picked.value = one)} />
      )}
      <OneLog key={log} log={log} now={now} />
    </section>
  );
}

function OneLog({ log, now }: { log: string; now: Chosen }) {
  const said = draft<Said>(`columns.${log}`, {});
  const wrong = useSignal<Problem | null>(null);
  const maps = mapsOf(said.value);
  const request = { log, maps, ...(now.mapping ? { mapping: now.mapping } : {}) };
  const revision = now.mapping ? itemOf(now.mapping)?.revision : "";
  const loaded = useLoaded(JSON.stringify([request, revision]), (signal) => job<Envelope<Of<"ReadLog">>>("read", request, signal), 150);
  const { value: found, busy } = loaded.value;
  useFittingMapping(found?.result.columns_sha256, now);
  if (!found) return loaded.value.wrong ? <Wrong problem={loaded.value.wrong} /> : <p class="soft" role="status">Reading {log.slice(5)}</p>;
  const session = found.result.sessions[0];
  const channels = session?.channels ?? [];
  const asked = askedOf(channels);
  const keep = async () => {
    try {
      await keepMapping(log, now.mapping, said.value, found.result.columns_sha256);
      dropDraft(`columns.${log}`);
      said.value = {};
      wrong.value = null;
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <div class="stack" aria-busy={busy}>
      {loaded.value.wrong && <Wrong problem={loaded.value.wrong} />}
      {asked.length > 0 && (
        <Mind>
          <p><strong>{asked.length === 1 ? "One column is open" : `${asked.length} columns are open`}:</strong> say what {asked.length === 1 ? "it is" : "they are"}, or leave {asked.length === 1 ? "it" : "them"} out. What is not said is not used.</p>
        </Mind>
      )}
      <ChannelTable channels={channels} said={said.value} onSay={(column, meaning) => (said.value = { ...said.value, [column]: meaning })} />
      {maps.length > 0 && (
        <div class="row">
          <button type="button" class="go" onClick={() => void keep()}>Keep what you said for such logs</button>
          <button type="button" onClick={() => { said.value = {}; dropDraft(`columns.${log}`); }}>Take it back</button>
          <span class="soft">It is used in the debrief only once it is kept.</span>
        </div>
      )}
      {wrong.value && <Wrong problem={wrong.value} />}
      <Warnings warnings={found.warnings} />
      <Sessions result={found.result} />
      {now.mapping && (
        <p class="soft">
          Read with {itemOf(now.mapping)?.name ?? now.mapping}.{" "}
          <button type="button" class="bare" onClick={() => choose({ mapping: "none" }, "Read without a mapping")}>Read without it</button>
        </p>
      )}
    </div>
  );
}

/** Take the mapping of the library that was written for these columns, unless one is chosen. */
function useFittingMapping(columns: string | undefined, now: Chosen): void {
  const known = ofKind("mappings");
  const key = known.map((one) => one.revision).join();
  useEffect(() => {
    if (!columns || now.mapping || now.unmapped) return;
    void fitting(columns, known.map((one) => one.id)).then((id) => {
      if (id) choose({ mapping: `mappings/${id}` }, "Columns read as before");
    });
  }, [columns, now.mapping, now.unmapped, key]);
}

async function fitting(columns: string, ids: string[]): Promise<string | null> {
  for (const id of ids) {
    try {
      if ((await read<MappingValue>("mappings", id)).value?.columns_sha256 === columns) return id;
    } catch {
      // One that cannot be read says nothing about this log.
    }
  }
  return null;
}

/** Write down what was said, into the mapping in use or a new one named after the log. */
async function keepMapping(log: string, mapping: string, said: Said, columns: string): Promise<void> {
  const id = mapping ? mapping.slice("mappings/".length) : freeName(slug(log.slice(5).replace(/\.[^.]*$/, "")));
  const old = mapping ? await read<MappingValue>("mappings", id) : null;
  await save("mappings", id, { value: joined(old?.value ?? null, said, columns) }, old?.item.revision ?? null, "Columns named");
  choose({ mapping: `mappings/${id}` }, "Columns named");
  tell({ kind: "done", text: "Kept. Logs with the same columns are read so from now on." });
}

function freeName(name: string): string {
  const taken = new Set(ofKind("mappings").map((one) => one.id));
  let free = name;
  for (let n = 2; taken.has(free); n += 1) free = `${name}-${n}`;
  return free;
}
