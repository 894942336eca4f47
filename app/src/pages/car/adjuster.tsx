/** What the adjuster really does: share at the road and braking distance per setting. */
import { useSignal } from "@preact/signals";
import { job, problem, type Problem } from "../../api/call";
import { save, type Held } from "../../api/library";
import type { Envelope, Of } from "../../api/types";
import { Chart, type Axis, type Mark, type Point } from "../../draw/chart";
import { useLoaded } from "../../house/loaded";
import { Link } from "../../house/rail";
import { Choices } from "../../parts/field";
import { Wrong } from "../../parts/notice";
import { decel, decimalsOf, length, percent, setting, speed } from "../../words/units";
import type { AdjusterValue, CarValue } from "./value";

const FROM_KMH = 150;
type Stop = Of<"Stop">;
type Row = Stop["settings"][number];

export function AdjusterPart({ held }: { held: Held<CarValue> }) {
  const adjuster = held.value?.adjuster;
  const reference = `cars/${held.item.id}`;
  const known = adjuster?.higher_means !== undefined;
  const stop = useLoaded(known ? `${reference} ${held.item.revision}` : null, (signal) =>
    job<Envelope<Stop>>("stop", { car: reference, from_kmh: FROM_KMH }, signal),
  );
  const { value, wrong } = stop.value;
  return (
    <section class="card" aria-labelledby="adjuster-head">
      <h2 id="adjuster-head">What the adjuster does</h2>
      {!adjuster && <p>This car file has no adjuster, so there is nothing to plan.</p>}
      {adjuster && <Direction held={held} adjuster={adjuster} />}
      {wrong && <Wrong problem={wrong} />}
      {value && adjuster && <Done stop={value.result} adjuster={adjuster} anchor={held.value?.anchor} />}
    </section>
  );
}

/** Which way the number counts: the one error that hurts somebody, so it is asked, not guessed. */
function Direction({ held, adjuster }: { held: Held<CarValue>; adjuster: AdjusterValue }) {
  const wrong = useSignal<Problem | null>(null);
  const pick = async (higher: "front" | "rear") => {
    try {
      const label = `${held.item.name}: a bigger number means more ${higher}`;
      await save("cars", held.item.id, { changes: { "adjuster.higher_means": higher } }, held.item.revision, label);
      wrong.value = null;
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <div class="stack">
      <Choices
        label="A bigger number means more braking at the"
        value={adjuster.higher_means ?? ""}
        options={[{ value: "front", label: "▲ front" }, { value: "rear", label: "▼ rear" }]}
        onPick={(way) => void pick(way)}
        help="Try it standing or at walking pace, at both ends of the range, before you trust a plan."
      />
      {wrong.value && <Wrong problem={wrong.value} />}
    </div>
  );
}

function Done({ stop, adjuster, anchor }: { stop: Stop; adjuster: AdjusterValue; anchor: CarValue["anchor"] }) {
  const rows = stop.settings.filter((row) => row.setting !== null);
  if (rows.length < 2) return null;
  const today = rows.find((row) => row.setting === anchor?.setting);
  const together = anchor?.first_to_let_go === "together";
  return (
    <>
      <p>
        {sentence(rows, adjuster, stop.best_setting)}
        {stop.best_setting !== null && <> <Link path="/plan">The plan</Link> may ask for another: it also pays for turning in, for the release and for mistakes.</>}
      </p>
      {today && <p>{todayIn(today, adjuster.step, together)}</p>}
      <div class="two even">
        <Shares rows={rows} adjuster={adjuster} today={today} together={together} best={stop.best_setting} />
        <Distances rows={rows} adjuster={adjuster} today={today} together={together} best={stop.best_setting} />
      </div>
      <details>
        <summary>Every setting as a table</summary>
        <SettingTable rows={rows} step={adjuster.step} together={together ? today : undefined} />
      </details>
    </>
  );
}

function sentence(rows: Row[], adjuster: AdjusterValue, best: number | null): string {
  const first = rows[0]!;
  const last = rows.at(-1)!;
  const perStep = (Math.abs(last.front_share_frac - first.front_share_frac) / (rows.length - 1)) * 100;
  const moved = `One step of ${adjuster.step} moves ${perStep.toFixed(1)} % of the braking from one end to the other.`;
  if (best === null) return moved;
  return `${moved} In a straight stop both ends let go together nearest to ${setting(best, adjuster.step)}.`;
}

export function todayIn(row: Row, step: number, together: boolean): string {
  const who = together ? "both ends let go together, as you found," : `the ${row.limiting_axle} lets go first,`;
  return `At today's ${setting(row.setting!, step)} ${who} at ${decel(row.first_lock_decel_mps2)}.`;
}

/** Which end lets go first; where the driver found both together, his word is not turned round. */
function letsGo(row: Row, together: boolean): "front" | "rear" | "both" {
  return together ? "both" : row.limiting_axle;
}

function reserveOfOther(row: Row): number {
  return row.limiting_axle === "front" ? row.reserve_rear_frac : row.reserve_front_frac;
}

const LETS_GO = { front: "▲ front", rear: "▼ rear", both: "both together" };

function settings(adjuster: AdjusterValue): Axis {
  const shown = Math.min(decimalsOf(adjuster.step), 1);
  return { name: "setting", low: adjuster.min, high: adjuster.max, show: (v) => v.toFixed(shown) };
}

function marks(rows: Row[], best: number | null, today: Row | undefined, together: boolean, y: (row: Row) => number, step: number): Mark[] {
  const found: Mark[] = [];
  const at = rows.find((row) => row.setting === best);
  if (at) found.push({ at: [at.setting!, y(at)], label: `shortest ${setting(at.setting!, step)}`, sign: "dot", side: "below" });
  if (today && today !== at)
    found.push({ at: [today.setting!, y(today)], label: `today ${setting(today.setting!, step)}`, sign: together ? "dot" : today.limiting_axle });
  return found;
}

interface Drawn {
  rows: Row[];
  adjuster: AdjusterValue;
  today: Row | undefined;
  together: boolean;
  best: number | null;
}

function Shares({ rows, adjuster, today, together, best }: Drawn) {
  const shares = rows.map((row) => row.front_share_frac);
  const y = { name: "front share of the brakes", low: Math.min(...shares) - 0.01, high: Math.max(...shares) + 0.01, show: percent };
  const points: Point[] = rows.map((row) => [row.setting!, row.front_share_frac]);
  return (
    <Chart
      title="Front share at each setting"
      about={`From ${percent(shares[0]!)} at ${rows[0]!.setting} to ${percent(shares.at(-1)!)} at ${rows.at(-1)!.setting}.`}
      x={settings(adjuster)}
      y={y}
      lines={[{ name: "share", points, role: "ink" }]}
      marks={marks(rows, best, today, together, (row) => row.front_share_frac, adjuster.step)}
      caption="The share the brakes make at the road; the number on the display is often another."
    />
  );
}

function Distances({ rows, adjuster, today, together, best }: Drawn) {
  const far = rows.map((row) => row.distance_m);
  const y = { name: "distance", low: Math.min(...far) - 3, high: Math.max(...far) + 2, show: (m: number) => length(m) };
  // Where the limiting end changes, one line ends and the other begins at the same point.
  const turn = rows.findIndex((row) => row.limiting_axle !== rows[0]!.limiting_axle);
  const points: Point[] = rows.map((row) => [row.setting!, row.distance_m]);
  const cut = turn < 0 ? points.length : turn;
  const ends = [rows[0]!.limiting_axle, rows.at(-1)!.limiting_axle] as const;
  return (
    <Chart
      title={`Shortest stop from ${speed(FROM_KMH / 3.6)} at each setting`}
      about={`Shortest at ${best}; towards one side the ${ends[0]} lets go first, towards the other the ${ends[1]}.`}
      x={settings(adjuster)}
      y={y}
      lines={[
        { name: "first", points: points.slice(0, cut + 1), role: ends[0] },
        { name: "then", points: points.slice(cut), role: ends[1], dash: true },
      ]}
      marks={marks(rows, best, today, together, (row) => row.distance_m, adjuster.step)}
      caption={<>From {speed(FROM_KMH / 3.6)} to rest, at the limit. <Legend first={ends[0]} then={ends[1]} /></>}
    />
  );
}

function Legend({ first, then }: { first: "front" | "rear"; then: "front" | "rear" }) {
  const sign = { front: "▲", rear: "▼" };
  return (
    <>
      Whole line: the <b class={first}>{sign[first]} {first}</b> lets go first
      {then !== first && <>; broken line: the <b class={then}>{sign[then]} {then}</b></>}.
    </>
  );
}

function SettingTable({ rows, step, together }: { rows: Row[]; step: number; together: Row | undefined }) {
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Every setting">
      <table>
        <thead>
          <tr>
            <th scope="col">Setting</th><th scope="col">Front share</th><th scope="col">Lets go first</th>
            <th scope="col">at</th><th scope="col">Distance</th><th scope="col">Reserve of the other end</th>
          </tr>
        </thead>
        <tbody>
          {rows.map((row) => (
            <tr key={row.setting}>
              <th scope="row" class="number">{setting(row.setting!, step)}</th>
              <td class="number">{(row.front_share_frac * 100).toFixed(1)} %</td>
              <td class={letsGo(row, row === together)}>{LETS_GO[letsGo(row, row === together)]}</td>
              <td class="number">{decel(row.first_lock_decel_mps2)}</td>
              <td class="number">{length(row.distance_m, 1)}</td>
              <td class="number">{percent(reserveOfOther(row))}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
