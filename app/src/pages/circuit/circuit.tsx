/** A circuit: its map, the zones the car on the desk finds, and what one knows better. */
import { signal, useSignal } from "@preact/signals";
import { job, Refused } from "../../api/call";
import { itemOf, read, type Held, type Table } from "../../api/library";
import type { Envelope, Of } from "../../api/types";
import { RoadMap, type Outline as Drawn } from "../../draw/road_map";
import { desk, lay } from "../../house/desk";
import { useLoaded } from "../../house/loaded";
import { tell } from "../../house/tell";
import { undo } from "../../house/undo";
import { Grid, type Column, type Row } from "../../parts/grid";
import { numberOf, NumberField } from "../../parts/field";
import { COLUMN_WORDS } from "../../parts/keys/told";
import { Mind, Warnings, Wrong } from "../../parts/notice";
import { length, lengthNumber, lengthUnit, seconds, speed, speedNumber } from "../../words/units";
import { HOW_BRAKED } from "./columns";
import { cellAt, useTable } from "./table";
import { Unsaved } from "./unsaved";

/** The road as its file has it. */
type Outline = Drawn & { length_m: number };
type Zones = Of<"Zones">;
type Zone = Zones["zones"][number];

export function Circuit({ id }: { id: string }) {
  const item = (kind: string) => itemOf(`${kind}/${id}`);
  const revision = (kind: string) => item(kind)?.revision ?? "";
  const outline = useLoaded(`${id} ${revision("circuits")}`, () => read<Outline>("circuits", id));
  const marks = useLoaded(`${id} ${revision("zones")}`, () => marksOf(id));
  const asked = { car: desk.value.car, circuit: `circuits/${id}`, driver: desk.value.driver, conditions: desk.value.conditions };
  const cut = useLoaded(`${revision("circuits")} ${revision("zones")} ${JSON.stringify(asked)}`, (signal) => job<Envelope<Zones>>("zones", asked, signal));
  const held = outline.value.value;
  return (
    <article>
      <header>
        <h1>{held?.item.name ?? item("circuits")?.name ?? id}</h1>
        {cut.value.value && <p>{about(cut.value.value.result, held?.value?.length_m)}</p>}
      </header>
      {cut.value.busy && !cut.value.value && <p class="soft" role="status">Looking for the braking zones …</p>}
      {outline.value.wrong && <Wrong problem={outline.value.wrong} />}
      {cut.value.wrong && <Wrong problem={cut.value.wrong} />}
      {desk.value.road !== `circuits/${id}` && held && (
        <button type="button" onClick={() => lay({ road: `circuits/${id}` }, `Road: ${held.item.name}`)}>Put this circuit on the desk</button>
      )}
      {held?.value && cut.value.value && !marks.value.busy && (
        <Zoned id={id} name={held.item.name} outline={held.value} marks={marks.value.value} cut={cut.value.value} />
      )}
    </article>
  );
}

/** The lap is shorter than the road: the line driven cuts its corners. */
function about({ circuit, zones, lap_time_s }: Zones, road_m?: number): string {
  const line = { given: "the line of the file", driven: "a driven line", min_curvature: "the line of least curvature" }[circuit.line];
  const road = road_m && Math.round(road_m) !== Math.round(circuit.length_m) ? `, ${length(road_m)} along the road as drawn` : "";
  return `${length(circuit.length_m)} along ${line}${road}. ${zones.length} braking zones for this car; a lap takes it about ${seconds(lap_time_s, 0)}.`;
}

/** The marks of a circuit; null where nobody has made any yet. */
async function marksOf(id: string): Promise<Held<Table> | null> {
  try {
    return await read<Table>("zones", id);
  } catch (error) {
    if (error instanceof Refused && error.status === 404) return null;
    throw error;
  }
}

interface ZonedProps {
  id: string;
  name: string;
  outline: Outline;
  marks: Held<Table> | null;
  cut: Envelope<Zones>;
}

function Zoned({ id, name, outline, marks, cut }: ZonedProps) {
  const { zones } = cut.result;
  const current = useSignal<string | null>(null);
  const known = marks?.value?.rows ?? [];
  const columns = markColumns(zones);
  const table = useTable("zones", id, `Zones of ${name}`, marks, columns, markLacks);
  // The table shows the zones the car finds; each becomes a mark of the file when it is edited.
  const shown = zones.map((zone) => rowOf(zone, table.rows));
  const others = table.rows.filter((row) => !zones.some((zone) => zone.zone_id === row.zone_id));
  const keep = (rows: Row[], label: string) => table.keep([...rows.filter((row, i) => said(row, zones[i]!, known)), ...others], label);
  const undone = { label: "Undo", run: () => void undo() };
  const join = async (i: number, joined: boolean) => {
    const rows = shown.map((row, j) => (j === i ? { ...row, hand_time_s: joined ? "0" : "" } : row));
    const label = joined ? `${zones[i]!.name} joined to the one before` : `${zones[i]!.name} on its own again`;
    if (!(await keep(rows, label))) return;
    const names = together(rows, i - (joined ? 0 : 1)).map((j) => rows[j]!.name!);
    const text = joined ? `${listed(names)} now have one setting: it is not changed between them.` : `The setting may be changed again before ${zones[i]!.name}.`;
    tell({ kind: "done", text, action: undone });
  };
  const wrong = cellAt(table.wrong.value, table.rows);
  const at = zones.findIndex((zone) => zone.zone_id === current.value);
  const cutAt = (s_m: number) => {
    const mark: Row = { zone_id: freshId([...shown, ...others]), name: `At ${length(s_m)}`, apex_s_m: String(Math.round(s_m)) };
    void table.keep([...table.rows, mark], `cut at ${length(s_m)}`);
  };
  return (
    <div class="stack">
      <section class="card roadtop">
        <RoadMap
          title={`Map of ${name}`}
          outline={outline}
          places={zones.map((zone, i) => ({ id: zone.zone_id, number: i + 1, name: zone.name, s_m: zone.apex_s_m ?? 0 }))}
          current={current.value}
          onPick={(zone) => (current.value = zone)}
          onPlace={(s_m) => (place.value = lengthNumber(s_m).toFixed(0))}
        />
        <div class="stack">
          <Warnings warnings={cut.warnings} />
          <Cutting typed={place} onCut={cutAt} />
          {others.length > 0 && <Others rows={others} onDrop={(row) => void table.keep(table.rows.filter((one) => one !== row), `${row.name} taken back`)} />}
        </div>
      </section>
      <section class="card stack">
        <Grid
          label="Braking zones"
          columns={columns}
          rows={shown}
          current={at < 0 ? null : at}
          wrong={wrong && { ...wrong, row: zones.findIndex((zone) => zone.zone_id === table.rows[wrong.row]?.zone_id) }}
          onType={(rows) => table.type([...rows.filter((row, i) => said(row, zones[i]!, known)), ...others])}
          onDone={(rows, label) => void keep(rows, label)}
          onRow={(i) => (current.value = zones[i]!.zone_id)}
          besideHead="Brakes"
          beside={(i) => <small>{Math.round(speedNumber(zones[i]!.approach_speed_mps))} to {speed(zones[i]!.apex_speed_mps)}</small>}
          tail={(i) => zones[i - 1] && <Join zone={zones[i]!} before={zones[i - 1]!} row={shown[i]!} onJoin={(joined) => void join(i, joined)} />}
        />
        <Unsaved table={table} />
      </section>
    </div>
  );
}

const place = signal("");

/** Cut one long braking in two at a corner it runs through. */
function Cutting({ typed, onCut }: { typed: typeof place; onCut: (s_m: number) => void }) {
  const number = numberOf(typed.value);
  const inM = (number ?? 0) / lengthNumber(1);
  return (
    <>
      <h2>Two zones as one, or one cut in two</h2>
      <p>Where no hand is free between two zones, tick “one setting with …” in the table: the plan then changes nothing between them.</p>
      <p>Where one long braking runs through a corner, press that corner on the map or type how far along the lap it is.</p>
      <div class="row cut">
        <NumberField label="Place" unit={`${lengthUnit()} from the start`} value={typed.value} onInput={(now) => (typed.value = now)} />
        <button type="button" disabled={number === null} onClick={() => { onCut(inM); typed.value = ""; }}>Cut here</button>
      </div>
    </>
  );
}

/** Two zones one setting must serve: no hand is free between them. */
function Join({ zone, before, row, onJoin }: { zone: Zone; before: Zone; row: Row; onJoin: (joined: boolean) => void }) {
  return (
    <label class="row">
      <input
        type="checkbox"
        checked={row.hand_time_s === "0"}
        onChange={(event) => onJoin(event.currentTarget.checked)}
        aria-label={`${zone.name}: one setting with ${before.name}`}
      />
      one setting with {before.name}
    </label>
  );
}

/** The rows around one that share its setting: each but the first joined to the one before. */
export function together(rows: readonly Row[], at: number): number[] {
  const isJoined = (i: number) => rows[i]?.hand_time_s?.trim() === "0";
  let first = at;
  let last = at;
  while (first > 0 && isJoined(first)) first -= 1;
  while (isJoined(last + 1)) last += 1;
  return Array.from({ length: last - first + 1 }, (_, i) => first + i);
}

function listed(names: string[]): string {
  return names.length < 2 ? names.join("") : `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
}

function Others({ rows, onDrop }: { rows: Row[]; onDrop: (row: Row) => void }) {
  return (
    <Mind>
      <p>Marks where this car does not brake:</p>
      <ul>
        {rows.map((row) => (
          <li key={row.zone_id}>
            {row.name}, {length(Number(row.apex_s_m))} <button type="button" class="bare" onClick={() => onDrop(row)}>Take it away</button>
          </li>
        ))}
      </ul>
    </Mind>
  );
}

/** What holds where a cell is empty: what the cut found, or what is usual. */
const USUAL: Record<string, (zone: Zone) => string> = {
  depth_frac: (zone) => zone.depth_frac.toFixed(2),
  hand_time_s: (zone) => zone.hand_time_s.toFixed(1),
  brake_at_turn_in_frac: () => "driver's",
  gear: () => "any",
  surface: () => "normal",
  run_off: () => "open",
  turn_in_s_m: (zone) => (zone.turn_in_s_m == null ? "" : lengthNumber(zone.turn_in_s_m).toFixed(0)),
};

function markColumns(zones: Zone[]): Column[] {
  const turnIn: Column = { key: "turn_in_s_m", label: COLUMN_WORDS.turn_in_s_m!, unit: `${lengthUnit()} from the start`, kind: "number", measure: "m" };
  const measured = [...HOW_BRAKED, turnIn].map((one) => ({ ...one, usual: (i: number) => (zones[i] ? USUAL[one.key]!(zones[i]) : "") }));
  return [{ key: "name", label: COLUMN_WORDS.name!, kind: "text" }, ...measured];
}

const markLacks = (row: Row) => (row.name?.trim() ? [] : ["a name"]);

/** A zone as a row of the table: what its mark says, or only its name. */
export function rowOf(zone: { zone_id: string; name: string; apex_s_m: number | null }, marks: Row[]): Row {
  const mark = marks.find((row) => row.zone_id === zone.zone_id);
  return mark ?? { zone_id: zone.zone_id, name: zone.name, apex_s_m: String(Math.round(zone.apex_s_m ?? 0)) };
}

/** Whether a row says more than the cut does, and so belongs into the file. */
export function said(row: Row, zone: { zone_id: string; name: string }, known: Record<string, unknown>[]): boolean {
  if (known.some((mark) => mark.zone_id === zone.zone_id)) return true;
  const own = ["zone_id", "name", "apex_s_m"];
  return row.name !== zone.name || Object.keys(row).some((key) => !own.includes(key) && row[key]?.trim());
}

function freshId(rows: Row[]): string {
  const used = rows.map((row) => Number(/^z(\d+)$/.exec(row.zone_id ?? "")?.[1] ?? 0));
  return `z${String(Math.max(0, ...used) + 1).padStart(2, "0")}`;
}
