/** A zone sheet: corners typed by hand or pasted from a spreadsheet, with the setting beside each. */
import { job } from "../../api/call";
import { itemOf, read, type Held, type Table } from "../../api/library";
import type { Envelope, Of } from "../../api/types";
import { desk, lay, onRoad } from "../../house/desk";
import { useLoaded } from "../../house/loaded";
import { Grid, type Column, type Row } from "../../parts/grid";
import { Wrong } from "../../parts/notice";
import { COLUMN_WORDS } from "../../parts/keys/told";
import { lengthUnit, setting, speedUnit } from "../../words/units";
import { HOW_BRAKED } from "./columns";
import { Unsaved } from "./unsaved";
import { planReference, planSoFar } from "../plan/ask";
import { cellAt, useTable } from "./table";

export function sheetColumns(): Column[] {
  const word = (key: string) => ({ key, label: COLUMN_WORDS[key]! });
  return [
    { key: "name", label: "Corner", kind: "text" },
    { ...word("approach_kmh"), unit: speedUnit(), kind: "number", measure: "km/h" },
    { ...word("min_kmh"), unit: speedUnit(), kind: "number", measure: "km/h" },
    { ...word("radius_m"), unit: lengthUnit(), kind: "number", measure: "m" },
    { ...word("lateral_g"), label: "or load", unit: "g", kind: "number" },
    { ...word("direction"), kind: "choice", options: ["left", "right", "none"] },
    ...HOW_BRAKED,
  ];
}

/** What a row needs before it can be saved. */
export function sheetLacks(row: Row): string[] {
  const needed = ["name", "approach_kmh", "min_kmh", "direction", "depth_frac", "hand_time_s"];
  const missing = needed.filter((key) => !row[key]?.trim()).map((key) => COLUMN_WORDS[key]!);
  const bent = row.direction !== "none" && !row.radius_m?.trim() && !row.lateral_g?.trim();
  return bent ? [...missing, "Radius or load"] : missing;
}

const NEW: Row = { name: "", approach_kmh: "", min_kmh: "", radius_m: "", direction: "right", depth_frac: "0.5", hand_time_s: "2" };

export function Sheet({ id }: { id: string }) {
  const revision = itemOf(`sheets/${id}`)?.revision;
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
  const columns = sheetColumns();
  const table = useTable("sheets", id, held.item.name, held, columns, sheetLacks);
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
          columns={columns}
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
        <button type="button" onClick={() => change([...rows, { ...NEW, name: `Corner ${rows.length + 1}` }], `Corner ${rows.length + 1} added`)}>Add a corner</button>
        <Unsaved table={table} />
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
