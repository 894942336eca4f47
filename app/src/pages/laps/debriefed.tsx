/** What a debrief found: the three things first, then the zones, the lap, and the small print. */
import { useSignal } from "@preact/signals";
import type { Envelope, Of } from "../../api/types";
import { productOf } from "../../api/kept";
import { Link } from "../../house/rail";
import { useLoaded } from "../../house/loaded";
import { Warnings, Wrong } from "../../parts/notice";
import { length, seconds } from "../../words/units";
import { capital } from "../../words/text";
import { listText, type Chosen } from "./chosen";
import { EventsTable, LapsTable, Untold } from "./lists";
import { LapTraces } from "./lap_traces";
import { fetchTraces } from "./traces";
import { WorkTable } from "./worktable";
import { OneZone } from "./zone";

type Debrief = Of<"Debrief">;

export function Debriefed(props: { answer: Envelope<Debrief>; id: string; files: string[]; now: Chosen }) {
  const { answer, id, files } = props;
  const { result } = answer;
  const traces = useLoaded(files.includes("traces.json") ? id : null, (signal) => fetchTraces(id, signal));
  const picked = useSignal(result.work_on[0]?.zone_id ?? result.zones[0]?.zone_id ?? "");
  const stretch = useSignal<[number, number] | null>(null);
  const zone = result.zones.find((one) => one.zone_id === picked.value) ?? result.zones[0];
  const pick = (zone_id: string) => {
    picked.value = zone_id;
    const one = result.zones.find((each) => each.zone_id === zone_id);
    if (one) stretch.value = [Math.max(0, one.brake_s_m - 120), one.apex_s_m + 120];
  };
  return (
    <div class="stack">
      <section class="card">
        <h2>{result.driver_name} at {result.circuit_name}</h2>
        <p class="soft">{summary(result)}</p>
        <h3>To work on</h3>
        <ol class="workon">
          {result.work_on.slice(0, 3).map((one) => <li key={one.zone_id}><ToDo one={one} onPick={() => pick(one.zone_id)} /></li>)}
        </ol>
        {result.laps_said && <p>{result.laps_said}</p>}
        {result.even_said && <p><strong>How even.</strong> {result.even_said}</p>}
        {result.plan_said && <p><strong>Against the plan.</strong> {result.plan_said}</p>}
        {result.other_said && <p><strong>Against {result.other_name}.</strong> {result.other_said}</p>}
        <Products id={id} files={files} now={props.now} />
      </section>
      <section class="card">
        <h2>Zone by zone</h2>
        <WorkTable result={result} picked={zone?.zone_id ?? ""} onPick={pick} />
      </section>
      {traces.value.wrong && <Wrong problem={traces.value.wrong} />}
      {zone && <OneZone key={zone.zone_id} zone={zone} result={result} traces={traces.value.value} />}
      {traces.value.value && <LapTraces all={traces.value.value} result={result} stretch={stretch.value} />}
      <EventsTable result={result} />
      <LapsTable result={result} />
      <Untold result={result} />
      <Warnings warnings={answer.warnings} />
      <Small result={result} />
    </div>
  );
}

/** The first sentence says the zone and what is to be had; the rest how. */
function ToDo({ one, onPick }: { one: Of<"WorkOn">; onPick: () => void }) {
  const [name = "", ...rest] = one.text.split(": ");
  return (
    <>
      <p class="head"><button type="button" class="bare" onClick={onPick}>{name}</button> <strong>{seconds(one.gain_s)}</strong> a lap</p>
      <p>{capital(rest.join(": "))}</p>
    </>
  );
}

function summary(result: Debrief): string {
  const full = result.laps.filter((lap) => lap.kind === "full").map((lap) => lap.duration_s).sort((a, b) => a - b);
  const middle = median(full);
  const said = [full.length === 1 ? "One full lap" : `${full.length} full laps`];
  if (full[0] !== undefined) said.push(`best ${seconds(full[0])}, middle ${seconds(middle)}`);
  if (result.car_name) said.push(result.car_name);
  const gap = result.circuit.closure_gap_m;
  if (gap !== null) said.push(`circuit made from the log, closing to ${length(gap, 1)}`);
  return `${said.join("; ")}.`;
}

/** The middle of sorted numbers. */
export function median(sorted: number[]): number {
  const half = sorted.length / 2;
  return ((sorted[Math.ceil(half) - 1] ?? NaN) + (sorted[Math.floor(half)] ?? NaN)) / 2;
}

const FILES: [file: string, label: string][] = [
  ["debrief.pdf", "Print it (PDF)"],
  ["debrief.html", "As a page"],
  ["debrief.json", "Numbers"],
];

function Products({ id, files, now }: { id: string; files: string[]; now: Chosen }) {
  const logs = listText(now.logs);
  return (
    <div class="row noprint">
      {FILES.filter(([file]) => files.includes(file)).map(([file, label]) => (
        <a key={file} class="button" href={productOf(id, file)} target="_blank" rel="noopener">{label}</a>
      ))}
      <Link class="button" path="/learn" more={{ logs }}>Learn from these laps</Link>
      {files.includes("debrief.json") && <Link class="button" path="/trial/judge" more={{ logs, laps: `works/${id}/debrief.json` }}>Judge a trial</Link>}
    </div>
  );
}

function Small({ result }: { result: Debrief }) {
  const METHODS: Record<Debrief["lap_method"], string> = {
    counter: "the logger's lap counter",
    distance: "the logged distance starting again",
    line: "crossing the start line",
    loop: "coming back to the same place",
    signature: "the corners repeating themselves",
  };
  return (
    <details class="card">
      <summary>How it was read</summary>
      <p>Laps were told apart by {METHODS[result.lap_method]}. The circuit is {length(result.circuit.length_m)} long{result.circuit.off_m !== null && `; the log lies ${length(result.circuit.off_m, 1)} beside its line`}.</p>
      <ul>
        {result.log_notes.map((one) => <li key={one}>{one}</li>)}
        {result.done.map((one, i) => <li key={i}>{one.channel && `${one.channel}: `}{one.what}{one.count > 0 && ` (${one.count.toLocaleString("en")})`}</li>)}
      </ul>
    </details>
  );
}
