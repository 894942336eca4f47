/** A test to be driven: settings, what is measured, how many laps, in which order. */
import { job } from "../../api/call";
import type { Envelope, Of } from "../../api/types";
import { desk } from "../../house/desk";
import { draft } from "../../house/draft";
import { useLoaded } from "../../house/loaded";
import { NumberField, numberOf, Select, TextField } from "../../parts/field";
import { Cautions, Warnings, Wrong } from "../../parts/notice";
import { noNumber } from "../../words/text";
import { useDebriefs } from "./debriefs";
import { setting } from "../../words/units";

type Answer = Of<"TrialDesign">;

interface Typed {
  settings: string;
  measured: string;
  difference: string;
  scatter: string;
  /** Debrief that tells the scatter; empty: as typed. */
  from: string;
  stints: string;
  stint_laps: string;
}

/** What can be measured, in which unit, the smallest difference usually worth seeing, and its usual
 * scatter of a club driver. Slip: what two points of line pressure do at 1 g by the plain formula, and
 * about the scatter of logs of simulated laps; the others are common practice, no source. */
const MEASURED = [
  { value: "slip_difference_frac", label: "Slip, front minus rear, at equal deceleration", unit: "%", part: 0.01, difference: "0.3", scatter: "0.1" },
  { value: "steer_excess_rad", label: "Steer against yaw, braking into the turn", unit: "rad", part: 1, difference: "0.004", scatter: "0.0016" },
  { value: "zone_time_s", label: "Braking time of zones of one kind", unit: "s", part: 1, difference: "0.05", scatter: "0.06" },
  { value: "brake_distance_m", label: "Braking distance", unit: "m", part: 1, difference: "2", scatter: "3" },
] as const;

const START: Typed = { settings: "", measured: "slip_difference_frac", difference: "0.3", scatter: "0.1", from: "", stints: "3", stint_laps: "13" };

/** What a debrief tells of whole laps; a zone's measures there carry the zone's id. */
const OF_A_DEBRIEF = new Set<string>(["slip_difference_frac", "steer_excess_rad"]);

function measuredOf(typed: Typed): (typeof MEASURED)[number] {
  return MEASURED.find((one) => one.value === typed.measured) ?? MEASURED[0];
}

export function Design() {
  const typed = draft<Typed>("trial.sheet", START);
  const set = (change: Partial<Typed>) => (typed.value = { ...typed.value, ...change });
  const asked = designRequest(typed.value);
  const found = useLoaded(asked && JSON.stringify(asked), (signal) => job<Envelope<Of<"Trial">>>("trial", asked!, signal), 250);
  const { value, wrong } = found.value;
  const { unit } = measuredOf(typed.value);
  const debriefs = useDebriefs();
  return (
    <div class="stack">
      <section class="card stack noprint" aria-labelledby="ask-head">
        <h2 id="ask-head">What is to be told apart</h2>
        <div class="row fields">
          <TextField label="Settings" help="two to five, the forward one first; three or four points apart teach most" wrong={noSettings(typed.value.settings)} value={typed.value.settings} placeholder="56 53" onInput={(settings) => set({ settings })} />
          <Select
            label="Measured by"
            value={typed.value.measured}
            options={MEASURED}
            onPick={(measured) => {
              const { difference, scatter } = measuredOf({ ...typed.value, measured });
              set({ measured, difference, scatter });
            }}
          />
          <NumberField label="Smallest difference worth seeing" unit={unit} wrong={noNumber(typed.value.difference)} value={typed.value.difference} onInput={(difference) => set({ difference })} />
          {!fromOf(typed.value) && <NumberField label="Scatter from lap to lap" help="a debrief of one setting tells it" unit={unit} wrong={noNumber(typed.value.scatter)} value={typed.value.scatter} onInput={(scatter) => set({ scatter })} />}
          {OF_A_DEBRIEF.has(typed.value.measured) && debriefs.length > 0 && (
            <Select label="Scatter taken from" value={typed.value.from} options={[{ value: "", label: "the number typed" }, ...debriefs]} onPick={(from) => set({ from })} />
          )}
          <NumberField label="Stints" wrong={noNumber(typed.value.stints)} value={typed.value.stints} onInput={(stints) => set({ stints })} size={4} />
          <NumberField label="Laps in a stint" wrong={noNumber(typed.value.stint_laps)} value={typed.value.stint_laps} onInput={(stint_laps) => set({ stint_laps })} size={4} />
        </div>
      </section>
      {asked && wrong && <Wrong problem={wrong} />}
      {asked && value?.result.design && <Sheet design={value.result.design} warnings={value.warnings} cautions={value.cautions} />}
      {!asked && <p class="soft">The run sheet stands here as soon as there are two settings and every field can be read.</p>}
    </div>
  );
}

/** The debrief the scatter is taken from; empty where it is typed. */
function fromOf({ measured, from }: Typed): string {
  return OF_A_DEBRIEF.has(measured) ? from : "";
}

function settingsOf(typed: string): string[] {
  return typed.split(/[\s;/]+|,\s/).filter(Boolean);
}

/** Which of the settings typed is no number; null where all are. */
function noSettings(typed: string): string | null {
  return settingsOf(typed).map(noNumber).find((one) => one !== null) ?? null;
}

/** The request; null until there are two settings and numbers for the rest. */
export function designRequest(typed: Typed): object | null {
  const settings = settingsOf(typed.settings).map(numberOf);
  const [difference, stints, stint_laps] = [typed.difference, typed.stints, typed.stint_laps].map(numberOf);
  if (settings.length < 2 || [...settings, difference, stints, stint_laps].includes(null) || noNumber(typed.scatter)) return null;
  const scatter = numberOf(typed.scatter);
  const { car, driver, higher } = desk.value;
  const { part } = measuredOf(typed);
  const from = fromOf(typed);
  const endpoint = { name: typed.measured, difference: difference! * part, ...(scatter === null || from ? {} : { scatter_sd: scatter * part }) };
  return { design: { settings, endpoints: [endpoint], stints, stint_laps, driver, ...(from && { scatter_from: from }), ...(higher ? { higher } : { car }) } };
}

function Sheet({ design, warnings, cautions }: { design: Answer; warnings: { code: string; text: string }[]; cautions: string[] }) {
  return (
    <>
      <section class="card stack" aria-labelledby="can-head">
        <h2 id="can-head">What this test can show</h2>
        <ul>{design.endpoints.map((one) => <li key={one.name} class={one.primary ? "lead" : ""}>{one.text}</li>)}</ul>
        <Warnings warnings={warnings} />
      </section>
      <Cautions cautions={[...design.rules, ...cautions]} />
      <section class="card stack" aria-labelledby="sheet-head">
        <div class="row">
          <h2 id="sheet-head">Run sheet: {design.order}</h2>
          <button type="button" onClick={() => print()}>Print</button>
        </div>
        {design.baseline.length > 0 && <details open><summary>Before it</summary><ul>{design.baseline.map((one) => <li key={one}>{one}</li>)}</ul></details>}
        <div class="scroll" tabIndex={0} role="region" aria-label="Run sheet">
          <table>
            <thead><tr><th scope="col">Lap</th><th scope="col">Stint</th><th scope="col">Setting</th><th scope="col">Counts</th><th scope="col">Note</th></tr></thead>
            <tbody>
              {design.sheet.map((run) => (
                <tr key={run.lap} class={run.counts ? "counts" : ""}>
                  <th scope="row" class="number">{run.lap}</th><td class="number">{run.stint}</td><td class="number">{setting(run.setting, design.step)}</td>
                  <td>{run.counts ? "yes" : "no"}</td><td>{run.note}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      </section>
    </>
  );
}
