/** The verdict: words first, then every effect with its interval, then what it does to the plan. */
import { useSignal } from "@preact/signals";
import { useAsked } from "../../api/asked";
import { problem, type Problem } from "../../api/call";
import { has, useKeptWork, type Fields } from "../../api/kept";
import { bringLog, ofKind } from "../../api/library";
import type { Envelope, Of } from "../../api/types";
import { place } from "../../house/address";
import { draft } from "../../house/draft";
import { Link } from "../../house/rail";
import { FileDrop } from "../../parts/drop";
import { NumberField, numberOf, Select, TextField } from "../../parts/field";
import { Mind, Progress, Warnings, Wrong } from "../../parts/notice";
import { capital, noNumber, sentence } from "../../words/text";
import { setting } from "../../words/units";
import { choose, chosenOf } from "../laps/chosen";
import { useDebriefs } from "./debriefs";
import { Effects } from "./effects";

type Verdict = Of<"TrialVerdict">;

export function Judge() {
  const laps = place.value.query.laps ?? "";
  const plan = place.value.query.plan ?? "";
  const typed = draft("trial.judge", { primary: "", against: "" });
  const asked = judgeRequest(laps, plan, typed.value);
  const kept = useKeptWork<Envelope<Of<"Trial">>>("trial", laps || null, { judge: { laps } });
  const verdict = kept.answer.value?.result.verdict;
  const work = useAsked(kept.id.value);
  const changed = work ? judgedOtherwise(work.asked, asked) : [];
  return (
    <div class="stack">
      {kept.busy.value && <Progress state={kept.state} onStop={kept.stop} label="Judging" />}
      {kept.wrong.value && <Wrong problem={kept.wrong.value} />}
      {verdict && changed.length > 0 && (
        <Mind><p><strong>This verdict was asked before other things were chosen:</strong> {changed.join(", ")}. Judge it again to see theirs.</p></Mind>
      )}
      {verdict && kept.answer.value && <Judged verdict={verdict} warnings={kept.answer.value.warnings} />}
      <section class="card stack noprint" aria-labelledby="laps-head">
        <h2 id="laps-head">The laps of the test</h2>
        <LapFiles laps={laps} />
        <div class="row fields">
          <TextField label="First thing measured" help="the one named before driving; empty: of a debrief, front minus rear slip where the log shows it" value={typed.value.primary} placeholder="a column of the laps" list="trial-columns" onInput={(primary) => (typed.value = { ...typed.value, primary })} />
          <datalist id="trial-columns">{columnsOf(verdict).map(([name, words]) => <option key={name} value={name} label={words} />)}</datalist>
          <NumberField label="Compared with setting" help="empty: the first driven" wrong={noNumber(typed.value.against)} value={typed.value.against} onInput={(against) => (typed.value = { ...typed.value, against })} />
          <Select label="Held against a plan" value={plan} options={[{ value: "", label: "none" }, ...ofKind("plans").map((one) => ({ value: `plans/${one.id}`, label: one.name }))]} onPick={(one) => choose({ plan: one }, "Plan held against the trial")} />
        </div>
        <button type="button" class="go" disabled={!laps || kept.busy.value || noNumber(typed.value.against) !== null} onClick={() => kept.start(asked)}>Judge it</button>
      </section>
    </div>
  );
}

/** What these laps were judged by, once they have been: name of the column, and words. */
function columnsOf(verdict: Verdict | null | undefined): [string, string][] {
  return [...new Map((verdict?.comparisons ?? []).map((one) => [one.endpoint, capital(one.words)]))];
}

/** What a verdict was asked with otherwise than it would be now, in words. */
export function judgedOtherwise(asked: Fields, now: { judge: Fields }): string[] {
  const parts = { primary: "the first thing measured", against: "the setting compared with", plan: "the plan" };
  return Object.entries(parts).filter(([name]) => !has(asked, { judge: { [name]: now.judge[name] } })).map(([, word]) => word);
}

export function judgeRequest(laps: string, plan: string, typed: { primary: string; against: string }): { judge: Fields } {
  const against = numberOf(typed.against);
  const judge: Record<string, unknown> = { laps };
  if (typed.primary.trim()) judge.primary = typed.primary.trim();
  if (against !== null) judge.against = against;
  if (plan) judge.plan = plan;
  return { judge };
}

/** Logs came along from another page: their debrief is offered, or it is said that there is none. */
function OfLogs({ logs, debriefs }: { logs: string[]; debriefs: ReturnType<typeof useDebriefs> }) {
  const names = logs.map((one) => one.slice("logs/".length)).join(", ");
  const known = debriefs.find((one) => has(one.asked, { logs }));
  return (
    <Mind>
      <p>
        {known ? `The laps of ${names} have been debriefed. ` : `${names} must be debriefed before its laps can be judged. `}
        {known
          ? <button type="button" onClick={() => choose({ laps: known.value }, "Laps of a debrief")}>Take these laps</button>
          : <Link class="button" path="/laps">Debrief first</Link>}
      </p>
    </Mind>
  );
}

/** One file of laps: picked, dropped, pasted from a spreadsheet, or those of a debrief. */
function LapFiles({ laps }: { laps: string }) {
  const logs = chosenOf(place.value.query).logs;
  const debriefs = useDebriefs();
  const wrong = useSignal<Problem | null>(null);
  const pasted = draft("trial.pasted", "");
  const bring = async (file: File) => {
    try {
      choose({ laps: `logs/${(await bringLog(file)).id}` }, "Laps brought in");
      wrong.value = null;
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  const known = ofKind("logs").filter((one) => one.id.toLowerCase().endsWith(".csv"));
  const options = [{ value: "", label: "none yet" }, ...known.map((one) => ({ value: `logs/${one.id}`, label: one.name })), ...debriefs];
  if (laps && !options.some((one) => one.value === laps)) options.push({ value: laps, label: laps });
  return (
    <>
      {!laps && logs.length > 0 && <OfLogs logs={logs} debriefs={debriefs} />}
      <Select label="File of laps" value={laps} options={options} onPick={(one) => choose({ laps: one }, "File of laps")} />
      {laps.endsWith(".json") && <p class="soft">Of a debrief, front minus rear slip, steer against yaw, lap time and the time of every zone are compared; another measure is named below, such as z03_brake_left_frac. The log has to hold the setting.</p>}
      <FileDrop label="Drop the filled-in sheet here" help="CSV: lap, setting, and a column for each thing measured, such as z03_time_s" accept=".csv" onFiles={(files) => void bring(files[0]!)} />
      <details>
        <summary>Paste it from a spreadsheet</summary>
        <label class="unseen" for="pasted-laps">Rows of laps</label>
        <textarea id="pasted-laps" value={pasted.value} onInput={(event) => (pasted.value = event.currentTarget.value)} placeholder={"lap\tsetting\tslip_difference_frac"} />
        <button type="button" disabled={!pasted.value.trim()} onClick={() => void bring(new File([asCsv(pasted.value)], "pasted-laps.csv"))}>Take these rows</button>
      </details>
      {wrong.value && <Wrong problem={wrong.value} />}
    </>
  );
}

/** Tabs become commas; a decimal comma becomes a point. */
export function asCsv(text: string): string {
  if (!text.includes("\t")) return text;
  const cell = (one: string) => (/^-?\d+,\d+$/.test(one.trim()) ? one.trim().replace(",", ".") : one.includes(",") ? JSON.stringify(one) : one.trim());
  return text.split(/\r?\n/).map((line) => line.split("\t").map(cell).join(",")).join("\n");
}

/** Zones of the plan of which the same is to be said, together. */
export function sameTogether(lines: { zone_name: string; planned_setting: number; text: string }[]): { names: string; text: string }[] {
  const same = new Map<string, { names: string[]; text: string }>();
  for (const { zone_name, planned_setting, text } of lines) {
    const key = `${planned_setting} ${text}`;
    same.set(key, { names: [...(same.get(key)?.names ?? []), zone_name], text });
  }
  return [...same.values()].map(({ names, text }) => ({ names: names.join(", "), text }));
}

function Judged({ verdict, warnings }: { verdict: Verdict; warnings: { code: string; text: string }[] }) {
  return (
    <>
      <section class="card stack" aria-labelledby="verdict-head">
        <h2 id="verdict-head">Verdict</h2>
        {verdict.stopped.map((one) => <p key={one.text} class="notice wrong">{one.text}</p>)}
        {verdict.summary.filter((one) => !verdict.stopped.some(({ text }) => text === one)).map((one, i) => <p key={one} class={i === 0 ? "lead" : ""}>{one}</p>)}
        <p class="soft">{verdict.laps_counted} of {verdict.laps} laps counted, compared with {setting(verdict.against, verdict.step)}.</p>
        <Warnings warnings={warnings} />
      </section>
      <Effects verdict={verdict} />
      {verdict.plan.length > 0 && (
        <section class="card" aria-labelledby="does-head">
          <h2 id="does-head">What it does to the plan</h2>
          <ul>{sameTogether(verdict.plan).map(({ names, text }) => <li key={names}><strong>{capital(names)}</strong>: {sentence(text)}</li>)}</ul>
        </section>
      )}
    </>
  );
}
