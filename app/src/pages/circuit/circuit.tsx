/** A circuit: its map, the zones the car on the desk finds, and what one knows better. */
import { signal, useSignal } from "@preact/signals";
import { job, Refused } from "../../api/call";
import { items, read, type Held, type Table } from "../../api/library";
import type { Envelope, Of } from "../../api/types";
import { RoadMap, type Outline } from "../../draw/road_map";
import { desk, lay } from "../../house/desk";
import { useLoaded } from "../../house/loaded";
import { Grid, type Column, type Row } from "../../parts/grid";
import { numberOf, NumberField } from "../../parts/field";
import { Mind, Warnings, Wrong } from "../../parts/notice";
import { length, seconds, speed } from "../../words/units";
import { cellAt, useTable } from "./table";

type Zones = Of<"Zones">;
type Zone = Zones["zones"][number];

export function Circuit({ id }: { id: string }) {
  const revision = (kind: string) => (items.value ?? []).find((one) => one.kind === kind && one.id === id)?.revision ?? "";
  const outline = useLoaded(`${id} ${revision("circuits")}`, () => read<Outline>("circuits", id));
  const marks = useLoaded(`${id} ${revision("zones")}`, () => marksOf(id));
  const asked = { car: desk.value.car, circuit: `circuits/${id}`, driver: desk.value.driver, conditions: desk.value.conditions };
  const cut = useLoaded(`${revision("circuits")} ${revision("zones")} ${JSON.stringify(asked)}`, (signal) => job<Envelope<Zones>>("zones", asked, signal));
  const held = outline.value.value;
  return (
    <article>
      <header>
        <h1>{held?.item.name ?? id}</h1>
        {cut.value.value && <p>{about(cut.value.value.result)}</p>}
      </header>
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

function about({ circuit, zones, lap_time_s }: Zones): string {
  const line = { given: "on the line of the file", driven: "on a driven line", min_curvature: "on the line of least curvature" }[circuit.line];
  return `${length(circuit.length_m)}, ${zones.length} braking zones for this car; a lap ${line} takes it about ${seconds(lap_time_s, 0)}.`;
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
  const table = useTable("zones", id, `Zones of ${name}`, marks, [], MARK_COLUMNS(zones));
  // The table shows the zones the car finds; each becomes a mark of the file when it is edited.
  const shown = zones.map((zone) => rowOf(zone, table.rows));
  const others = table.rows.filter((row) => !zones.some((zone) => zone.zone_id === row.zone_id));
  const keep = (rows: Row[], label: string) => void table.keep([...rows.filter((row, i) => said(row, zones[i]!, known)), ...others], label);
  const join = (i: number, joined: boolean) => {
    const label = joined ? `${zones[i]!.name} joined to the one before` : `${zones[i]!.name} on its own again`;
    keep(shown.map((row, j) => (j === i ? { ...row, hand_time_s: joined ? "0" : "" } : row)), label);
  };
  const at = zones.findIndex((zone) => zone.zone_id === current.value);
  const cutAt = (s_m: number) => {
    const mark: Row = { zone_id: freshId([...shown, ...others]), name: `At ${Math.round(s_m)} m`, apex_s_m: String(Math.round(s_m)) };
    void table.keep([...table.rows, mark], `cut at ${Math.round(s_m)} m`);
  };
  return (
    <div class="two">
      <section class="card stack">
        <Warnings warnings={cut.warnings} />
        <Grid
          label="Braking zones"
          columns={MARK_COLUMNS(zones)}
          rows={shown}
          current={at < 0 ? null : at}
          wrong={cellAt(table.wrong.value, table.rows)}
          onType={(rows) => table.type([...rows.filter((row, i) => said(row, zones[i]!, known)), ...others])}
          onDone={keep}
          onRow={(i) => (current.value = zones[i]!.zone_id)}
          besideHead="Brakes"
          beside={(i) => <small>{speed(zones[i]!.approach_speed_mps)} to {speed(zones[i]!.apex_speed_mps)}</small>}
          tail={(i) => zones[i - 1] && <Join zone={zones[i]!} before={zones[i - 1]!} row={shown[i]!} onJoin={(joined) => join(i, joined)} />}
        />
        {table.wrong.value && (
          <Wrong problem={table.wrong.value}>
            <p>What you typed is kept here and is not saved yet.</p>
            <button type="button" onClick={table.putBack}>Put back what is saved</button>
          </Wrong>
        )}
        {others.length > 0 && <Others rows={others} onDrop={(row) => void table.keep(table.rows.filter((one) => one !== row), `${row.name} taken back`)} />}
      </section>
      <section class="card stack">
        <RoadMap
          title={`Map of ${name}`}
          outline={outline}
          places={zones.map((zone, i) => ({ id: zone.zone_id, number: i + 1, name: zone.name, s_m: zone.apex_s_m ?? 0 }))}
          current={current.value}
          onPick={(zone) => (current.value = zone)}
          onPlace={(s_m) => (place.value = String(Math.round(s_m)))}
        />
        <Cutting typed={place} onCut={cutAt} />
      </section>
    </div>
  );
}

const place = signal("");

/** Cut one long braking in two at a corner it runs through. */
function Cutting({ typed, onCut }: { typed: typeof place; onCut: (s_m: number) => void }) {
  const number = numberOf(typed.value);
  return (
    <details open={typed.value !== ""}>
      <summary>Cut a zone in two</summary>
      <div class="stack">
        <p>Where one long braking runs through a corner, press that corner on the map or type how far it is from the line.</p>
        <div class="row">
          <NumberField label="Place" unit="m from the line" value={typed.value} onInput={(now) => (typed.value = now)} />
          <button type="button" disabled={number === null} onClick={() => { onCut(number!); typed.value = ""; }}>Cut here</button>
        </div>
      </div>
    </details>
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
      one with {before.name}
    </label>
  );
}

function Others({ rows, onDrop }: { rows: Row[]; onDrop: (row: Row) => void }) {
  return (
    <Mind>
      <p>Marks where this car does not brake:</p>
      <ul>
        {rows.map((row) => (
          <li key={row.zone_id}>
            {row.name}, {row.apex_s_m} m <button type="button" class="bare" onClick={() => onDrop(row)}>Take it away</button>
          </li>
        ))}
      </ul>
    </Mind>
  );
}

const MARK_COLUMNS = (zones: Zone[]): Column[] => [
  { key: "name", label: "Zone", kind: "text" },
  { key: "depth_frac", label: "Brake off", unit: "0 turn-in, 1 apex", kind: "number", usual: (i) => zones[i]?.depth_frac.toFixed(2) ?? "" },
  { key: "brake_at_turn_in_frac", label: "Left at turn-in", unit: "of peak", kind: "number", usual: () => "driver's" },
  { key: "hand_time_s", label: "Hand free", unit: "s", kind: "number", usual: (i) => zones[i]?.hand_time_s.toFixed(1) ?? "" },
  { key: "gear", label: "Gear", kind: "number", usual: () => "any" },
  { key: "surface", label: "Road", kind: "choice", options: ["normal", "bump", "crest"], usual: () => "normal" },
  { key: "run_off", label: "Beyond", kind: "choice", options: ["open", "gravel", "wall"], usual: () => "open" },
  { key: "turn_in_s_m", label: "Turn-in", unit: "m from the line", kind: "number", usual: (i) => zones[i]?.turn_in_s_m?.toFixed(0) ?? "" },
];

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
