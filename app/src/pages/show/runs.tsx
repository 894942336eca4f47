/** What happened at each setting: a sentence each, and the page that plays them. */
import type { Envelope, Of } from "../../api/types";
import { productOf } from "../../api/kept";
import { Cautions, Warnings } from "../../parts/notice";
import { movedWord } from "../plan/moved";
import { capital, sentence } from "../../words/text";
import { length, percent, seconds, setting } from "../../words/units";
import { pressed } from "./wishes";

type Run = Of<"ShowRun">;

const FILES: [file: string, label: string][] = [
  ["show.html", "The page that plays"],
  ["show.gif", "Moving image"],
  ["show.json", "Numbers"],
];

const KINDS: Record<Run["kind"], string> = {
  clean: "clean",
  lock_up: "locked a wheel",
  rotation: "the tail came out",
  wide: "ran wide",
  off_track: "left the road",
  spin: "spun",
  stopped: "stopped",
};

interface Ran {
  answer: Envelope<Of<"Show">>;
  id: string;
  files: string[];
  /** Drives all of it again with a harder pedal; nothing where it is as hard as it goes, or busy. */
  onHarder?: (() => void) | undefined;
}

export function Runs({ answer, id, files, onHarder }: Ran) {
  const { result } = answer;
  const where = result.zone_name ?? "the whole lap";
  return (
    <>
      <div class="card">
        <h2>{where}</h2>
        <p class="soft">
          {result.car_name}, {result.circuit_name}, {result.driver_name}, {result.conditions_name.toLowerCase()}{moved(result)}; pedal {pressed(result.press_frac)}.
        </p>
        <ol class="runs">
          {result.runs.map((run, number) => <RunRow key={number} run={run} step={result.adjuster.step} />)}
        </ol>
        {result.runs.every((run) => run.kind === "clean") && (
          <div class="row">
            <p><strong>Nothing goes wrong at any of these.</strong> Press the pedal harder, or drive each setting more often.</p>
            {onHarder && <button type="button" class="noprint" onClick={onHarder}>Drive it with a harder pedal</button>}
          </div>
        )}
        <Practice result={result} />
      </div>
      <Warnings warnings={answer.warnings} />
      {files.includes("show.html") && (
        <iframe class="stage" title={`What happened at ${where}, played`} src={productOf(id, "show.html")} sandbox="allow-scripts" />
      )}
      <div class="row noprint">
        {FILES.filter(([file]) => files.includes(file)).map(([file, label]) => (
          <a key={file} class="button" href={productOf(id, file)} download={`${result.zone_id ?? "lap"}-${file}`}>{label}</a>
        ))}
      </div>
      <Cautions cautions={answer.cautions} />
    </>
  );
}

/** What the runs were planned and driven with instead of what the files say. */
function moved(result: Of<"Show">): string {
  return result.moved.length ? `, with ${result.moved.map((one) => movedWord(one.key, one.value)).join(", ")}` : "";
}

function RunRow({ run, step }: { run: Run; step: number }) {
  const way = run.steps_from_plan > 0 ? "front" : "rear";
  const count = Math.abs(run.steps_from_plan);
  return (
    <li class={run.steps_from_plan === 0 ? "planned" : undefined}>
      <div class="what">
        <strong>{setting(run.setting, step)}</strong>
        {count === 0
          ? <span>planned</span>
          : <span class={way}>{way === "front" ? "▲" : "▼"} {count} {count === 1 ? "step" : "steps"} to the {way}</span>}
      </div>
      <div>
        <p class="said">{plain(run.sentence)}</p>
        {run.often && <Often often={run.often} />}
        {run.happenings.length > 0 && (
          <details>
            <summary>What went wrong, in order</summary>
            <ul>
              {run.happenings.map((one, i) => (
                <li key={i}>{wheelOf(one)} {KINDS[one.kind]}, {seconds(one.start_s, 1)} into the run, for {seconds(one.duration_s)}, at {length(one.s_m)}</li>
              ))}
            </ul>
          </details>
        )}
      </div>
    </li>
  );
}

/** A run's sentence without the setting in front, which stands beside it. */
function plain(said: string): string {
  return sentence(said.replace(/^(as planned|\d+ steps? (forward|rearward))[^:]*: /i, ""));
}

function wheelOf(one: Of<"ShowHappening">): string {
  if (!one.wheel) return one.axle ? `At the ${one.axle}:` : "";
  return `${capital(one.wheel.replace("_", " "))}${one.inside ? " (inside)" : ""}:`;
}

/** How often it went wrong: a bar of the whole interval, and the same in words. */
function Often({ often }: { often: Of<"ShowOften"> }) {
  const kinds = Object.entries(often.kinds).map(([kind, count]) => `${KINDS[kind as Run["kind"]]} ${count}`);
  const about = `Went wrong in ${often.wrong} of ${often.runs} runs; in the long run between ${percent(often.low_frac)} and ${percent(often.high_frac)}.`;
  return (
    <div class="often">
      <svg viewBox="0 0 200 12" width="200" height="12" aria-hidden="true">
        <rect x="0.5" y="3.5" width="199" height="5" fill="none" stroke="var(--edge)" />
        <rect x={200 * often.low_frac} y="4" width={Math.max(2, 200 * (often.high_frac - often.low_frac))} height="4" fill="var(--soft)" />
        <rect x={Math.min(198, 200 * often.wrong_frac)} y="0" width="2" height="12" fill="var(--ink)" />
      </svg>
      <span>{about} <span class="soft">({kinds.join(", ")})</span></span>
    </div>
  );
}

function Practice({ result }: { result: Of<"Show"> }) {
  const learnt = result.practice.filter((one) => one.earlier_m > 0.5 || one.eased_to_frac < 0.995);
  if (!learnt.length) return null;
  return (
    <details>
      <summary>What he had to learn first, at the planned setting</summary>
      <ul>
        {learnt.map((one) => (
          <li key={one.zone_id}>
            {one.zone_id}: braked {length(one.earlier_m)} earlier than the plan
            {one.eased_to_frac < 0.995 && `, pedal down to ${percent(one.eased_to_frac)} of it`}. As planned: {one.as_planned_sentence}
          </li>
        ))}
      </ul>
    </details>
  );
}
