/** A zone sheet: corners typed by hand or pasted from a spreadsheet, with the setting beside each. */
import { job } from "../../api/call";
import { items, read, type Held, type Table } from "../../api/library";
import type { Envelope, Of } from "../../api/types";
import { desk, lay, onRoad } from "../../house/desk";
import { useLoaded } from "../../house/loaded";
import { Grid, type Column, type Row } from "../../parts/grid";
import { Wrong } from "../../parts/notice";
import { setting } from "../../words/units";
import { planReference, planSoFar } from "../plan/ask";
import { cellAt, useTable } from "./table";

export const SHEET_COLUMNS: Column[] = [
  { key: "name", label: "Corner", kind: "text" },
  { key: "approach_kmh", label: "Brakes from", unit: "km/h", kind: "number" },
  { key: "min_kmh", label: "Lowest", unit: "km/h", kind: "number" },
  { key: "radius_m", label: "Radius", unit: "m", kind: "number" },
  { key: "lateral_g", label: "or load", unit: "g", kind: "number" },
  { key: "direction", label: "Turns", kind: "choice", options: ["left", "right", "none"] },
  { key: "depth_frac", label: "Brake off", unit: "0 turn-in, 1 apex", kind: "number" },
  { key: "hand_time_s", label: "Hand free", unit: "s", kind: "number" },
  { key: "brake_at_turn_in_frac", label: "Brake left at turn-in", unit: "of peak", kind: "number" },
  { key: "gear", label: "Gear", kind: "number" },
  { key: "surface", label: "Road", kind: "choice", options: ["normal", "bump", "crest"] },
  { key: "run_off", label: "Beyond", kind: "choice", options: ["open", "gravel", "wall"] },
];

const NEW: Row = { name: "", approach_kmh: "", min_kmh: "", radius_m: "", direction: "right", depth_frac: "0.5", hand_time_s: "2" };

export function Sheet({ id }: { id: string }) {
  const revision = (items.value ?? []).find((one) => one.kind === "sheets" && one.id === id)?.revision;
  const held = useLoaded(`${id} ${revision}`, () => read<Table>("sheets", id));
  const { value, wrong } = held.value;
  return (
    <article>
      <header>
        <h1>{value?.item.name ?? id}</h1>
        <p>A zone sheet: one row for each corner you brake for, in driving order.</p>
      </header>
      {wrong && <Wrong problem={wrong} />}
      {value && <Rows held={value} id={id} />}
    </article>
  );
}

function Rows({ held, id }: { held: Held<Table>; id: string }) {
  const table = useTable("sheets", id, held.item.name, held, [], SHEET_COLUMNS);
  const plan = usePlan(`sheets/${id}`, held.item.revision);
  const { rows } = table;
  const change = (next: Row[], label: string) => void table.keep(next, label);
  const swap = (i: number, way: number) => {
    const next = [...rows];
    [next[i], next[i + way]] = [next[i + way]!, next[i]!];
    change(next, `${rows[i]!.name || `Row ${i + 1}`} moved`);
  };
  return (
    <div class="stack">
      {desk.value.road !== `sheets/${id}` && (
        <button type="button" onClick={() => lay({ road: `sheets/${id}` }, `Road: ${held.item.name}`)}>Put this sheet on the desk</button>
      )}
      <section class="card stack">
        <p class="soft">Paste from a spreadsheet into any cell. A cell is saved when you leave it; Undo takes it back.</p>
        <Grid
          label="Corners"
          columns={SHEET_COLUMNS}
          rows={rows}
          wrong={cellAt(table.wrong.value, rows)}
          onType={table.type}
          onDone={change}
          besideHead="Setting"
          beside={(i) => <b>{plan?.[i] ?? "–"}</b>}
          tail={(i) => (
            <span class="row">
              <button type="button" class="bare" disabled={i === 0} aria-label={`Move ${rows[i]!.name || `row ${i + 1}`} up`} onClick={() => swap(i, -1)}>↑</button>
              <button type="button" class="bare" disabled={i === rows.length - 1} aria-label={`Move ${rows[i]!.name || `row ${i + 1}`} down`} onClick={() => swap(i, 1)}>↓</button>
              <button type="button" class="bare" disabled={rows.length === 1} aria-label={`Remove ${rows[i]!.name || `row ${i + 1}`}`} onClick={() => change(rows.filter((_, j) => j !== i), `${rows[i]!.name || `Row ${i + 1}`} removed`)}>✕</button>
            </span>
          )}
        />
        <button type="button" onClick={() => table.type([...rows, { ...NEW, name: `Corner ${rows.length + 1}` }])}>Add a corner</button>
        {table.wrong.value && (
          <Wrong problem={table.wrong.value}>
            <p>What you typed is kept here and is not saved yet.</p>
            <button type="button" onClick={table.putBack}>Put back what is saved</button>
          </Wrong>
        )}
      </section>
    </div>
  );
}

/** The setting of each row, of the car on the desk; null until there is one. */
function usePlan(road: string, revision: string): string[] | null {
  const asked = { ...onRoad(), circuit: undefined, sheet: road, conditions: [desk.value.conditions], samples: 0 };
  const reference = desk.value.road === road ? planReference.value : "";
  const plan = useLoaded(
    `${revision} ${JSON.stringify(asked)} ${reference}`,
    async (signal) => (reference ? planSoFar(reference, signal) : (await job<Envelope<Of<"Plan">>>("plan", asked, signal)).result),
    300,
  );
  const found = plan.value.value;
  if (!found || plan.value.wrong) return null;
  return found.zones.map((zone) => setting(zone.setting, found.adjuster.step));
}
