/** What the columns of each log were taken for; those that are asked for can be answered. */
import { signal, useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import type { Envelope, Of } from "../../api/types";
import { itemOf, ofKind, read, save, slug } from "../../api/library";
import { ask, job, problem, type Problem } from "../../api/call";
import { draft, dropDraft } from "../../house/draft";
import { useLoaded } from "../../house/loaded";
import { tell } from "../../house/tell";
import { Mind, Warnings, Wrong } from "../../parts/notice";
import { chooseMapping, type Chosen } from "./chosen";
import { ChannelTable } from "./channel_table";
import { askedOf, joined, mapsOf, type MappingValue, type Said } from "./mapping";
import { Sessions } from "./sessions";

/** So many logs are read by themselves; the others when they are opened. */
const AT_ONCE = 6;

/** Fingerprints of the columns of logs that were read, by which a log finds its mapping. */
const columnsOf = signal<Record<string, string>>({});

export function Channels({ now }: { now: Chosen }) {
  const all = [...now.logs, ...(now.against ? [now.against] : [])];
  const written = useWritten();
  if (!all.length) return null;
  return (
    <section class="card stack noprint" aria-label="Channels">
      <h2>What the columns are</h2>
      {all.map((log, i) => (
        <Later key={log} log={log} now={i < AT_ONCE}>
          <OneLog log={log} now={now} alone={all.length === 1} written={written} />
        </Later>
      ))}
    </section>
  );
}

/** What is read only once it is opened. */
function Later({ log, now, children }: { log: string; now: boolean; children: preact.ComponentChildren }) {
  const open = useSignal(now);
  if (open.value) return <>{children}</>;
  return <button type="button" class="bare" onClick={() => (open.value = true)}>Look at the columns of {nameOf(log)}</button>;
}

interface OneLogProps {
  log: string;
  now: Chosen;
  alone: boolean;
  written: Written;
}

function OneLog({ log, now, alone, written }: OneLogProps) {
  const said = draft<Said>(`columns.${log}`, {});
  const wrong = useSignal<Problem | null>(null);
  const mapping = mappingOf(log, now, alone, written);
  const maps = mapsOf(said.value);
  const request = { log, maps, preview: true, ...(mapping ? { mapping } : {}) };
  const loaded = useLoaded(JSON.stringify([request, itemOf(mapping)?.revision]), (signal) => job<Envelope<Of<"ReadLog">>>("read", request, signal), 150);
  const { value: found, busy } = loaded.value;
  const columns = found?.result.columns_sha256 ?? "";
  useEffect(() => {
    if (columns && columnsOf.peek()[log] !== columns) columnsOf.value = { ...columnsOf.peek(), [log]: columns };
  }, [columns]);
  useFittingMapping(columns, now, written);
  const say = (column: string, meaning: string) => (said.value = { ...said.value, [column]: meaning });
  if (loaded.value.wrong && mayBeNamed(loaded.value.wrong)) return <Unread log={log} wrong={loaded.value.wrong} said={said.value} onSay={say} />;
  if (!found) return loaded.value.wrong ? <Wrong problem={loaded.value.wrong} /> : <p class="soft" role="status">Reading {nameOf(log)}</p>;
  const channels = found.result.sessions[0]?.channels ?? [];
  const asked = askedOf(channels);
  const keep = async () => {
    try {
      await keepMapping(log, mapping, said.value, columns);
      dropDraft(`columns.${log}`);
      said.value = {};
      wrong.value = null;
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  const body = (
    <div class="stack" aria-busy={busy}>
      {loaded.value.wrong && <Wrong problem={loaded.value.wrong} />}
      {asked.length > 0 && (
        <Mind>
          <p><strong>{asked.length === 1 ? "One column is open" : `${asked.length} columns are open`}:</strong> say what {asked.length === 1 ? "it is" : "they are"}, or leave {asked.length === 1 ? "it" : "them"} out. What is not said is not used.</p>
        </Mind>
      )}
      <ChannelTable channels={channels} said={said.value} onSay={say} />
      {maps.length > 0 && (
        <div class="row">
          <button type="button" class="go" onClick={() => void keep()}>Keep what you said for such logs</button>
          <button type="button" onClick={() => { said.value = {}; dropDraft(`columns.${log}`); }}>Take it back</button>
          <span class="soft">It is used only once it is kept.</span>
        </div>
      )}
      {wrong.value && <Wrong problem={wrong.value} />}
      <Warnings warnings={found.warnings} />
      <Sessions result={found.result} />
      {mapping && (
        <p class="soft">
          Read with {itemOf(mapping)?.name ?? mapping}.{" "}
          <button type="button" class="bare" onClick={() => chooseMapping("none", mapping, "Read without a mapping")}>Read without it</button>
        </p>
      )}
    </div>
  );
  if (alone) return body;
  return (
    <details class="onelog" open={asked.length > 0 || maps.length > 0}>
      <summary><strong>{nameOf(log)}</strong>: {standing(asked.length, mapping)}</summary>
      {body}
    </details>
  );
}

/** Whether a log cannot be read only because nobody has said what its columns are. */
function mayBeNamed(wrong: Problem): boolean {
  return ["log_no_time", "log_time_unit", "log_no_speed", "log_no_session"].includes(wrong.code);
}

/** The columns as recorded of a log that cannot be read yet: said what they are, it can be. */
function Unread({ log, wrong, said, onSay }: { log: string; wrong: Problem; said: Said; onSay: (column: string, meaning: string) => void }) {
  const columns = useLoaded(log, () => ask<Of<"ReadChannel">[]>("GET", `logs/${encodeURIComponent(nameOf(log))}/columns`));
  return (
    <div class="stack">
      <Wrong problem={{ ...wrong, value: null, hint: "Say below which columns are the time and the speed, and in which units." }} where={() => nameOf(log)} />
      {columns.value.wrong && <Wrong problem={columns.value.wrong} />}
      {columns.value.value && <ChannelTable channels={columns.value.value} said={said} onSay={onSay} />}
    </div>
  );
}

function nameOf(log: string): string {
  return log.slice("logs/".length);
}

function standing(open: number, mapping: string): string {
  if (open) return open === 1 ? "one column is open" : `${open} columns are open`;
  return mapping ? `read with ${itemOf(mapping)?.name ?? mapping}` : "nothing is open";
}

/** Mappings of the library, and the columns each was written for. */
type Written = Record<string, string>;

function useWritten(): Written {
  const known = ofKind("mappings");
  const key = known.map((one) => `${one.id}@${one.revision}`).join();
  const found = useLoaded(key || null, async () => {
    const each = await Promise.allSettled(known.map((one) => read<MappingValue>("mappings", one.id)));
    // One that cannot be read says nothing about any log.
    const told = each.map((one) => (one.status === "fulfilled" ? (one.value.value?.columns_sha256 ?? "") : ""));
    return Object.fromEntries(known.map((one, i) => [`mappings/${one.id}`, told[i]!]));
  });
  return found.value.value ?? {};
}

/** The mapping a log is read with, as the jobs take it: the only one of a lone log is taken at its word. */
export function mappingOf(log: string, now: Chosen, alone: boolean, written: Written): string {
  if (alone && now.mappings.length === 1) return now.mappings[0]!;
  const columns = columnsOf.value[log];
  return now.mappings.find((one) => columns !== undefined && written[one] === columns) ?? "";
}

/** Take the mapping of the library that was written for these columns, unless one is chosen. */
function useFittingMapping(columns: string, now: Chosen, written: Written): void {
  const fits = Object.keys(written).filter((one) => columns && written[one] === columns);
  const take = now.unmapped || fits.some((one) => now.mappings.includes(one)) ? undefined : fits[0];
  useEffect(() => {
    if (take) chooseMapping(take, "", "Columns read as before");
  }, [take]);
}

/** Write down what was said, into the mapping in use or a new one named after the log. */
async function keepMapping(log: string, mapping: string, said: Said, columns: string): Promise<void> {
  const id = mapping ? mapping.slice("mappings/".length) : freeName(slug(nameOf(log).replace(/\.[^.]*$/, "")));
  const old = mapping ? await read<MappingValue>("mappings", id) : null;
  await save("mappings", id, { value: joined(old?.value ?? null, said, columns) }, old?.item.revision ?? null, "Columns named");
  chooseMapping(`mappings/${id}`, "", "Columns named");
  tell({ kind: "done", text: "Kept. Logs with the same columns are read so from now on." });
}

function freeName(name: string): string {
  const taken = new Set(ofKind("mappings").map((one) => one.id));
  let free = name;
  for (let n = 2; taken.has(free); n += 1) free = `${name}-${n}`;
  return free;
}
