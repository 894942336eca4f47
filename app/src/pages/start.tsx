/** The first page: four questions, and under them the answer. */
import { useLoaded } from "../house/loaded";
import { keep } from "../house/undo";
import { told } from "../parts/keys/told";
import { Wrong } from "../parts/notice";
import { AnswerPart } from "./start/answer";
import { useAnswer } from "./start/asking";
import { isBlank, lacks } from "./start/corners";
import { usualLoad } from "./start/loads";
import { Next } from "./start/next";
import { AdjusterQuestion, CarQuestion, FirstQuestion } from "./start/questions";
import { CornerTable } from "./start/table";
import { askingOf, isOwn, quickOf, speedsOf, typedNow, type Typed } from "./start/typed";
import type { Problem } from "../api/call";
import "../style/digits.css";
import "../style/start.css";

export function Start() {
  const typed = typedNow();
  const now = typed.value;
  const load = useLoaded(now.car || null, () => usualLoad(now.car));
  const usual = load.value.value ?? 1;
  const asking = load.value.busy && !load.value.value ? null : askingOf(now, usual);
  const answered = useAnswer(asking);
  const set = (changes: Partial<Typed>) => (typed.value = { ...typed.peek(), ...changes });
  const replace = (changes: Partial<Typed>, label: string) => {
    const before = typed.peek();
    set(changes);
    keep({ label, undo: () => { typed.value = before; }, redo: () => { set(changes); } });
  };
  const wrong = answered.now.value.wrong;
  const answer = answered.surer.value ?? answered.now.value.value;
  return (
    <article class="startpage">
      <header>
        <h1>Where should the brake balance stand?</h1>
        <p>Four questions; the answer appears as soon as it can.</p>
      </header>
      <div class="two even">
        <div class="stack">
          <CarQuestion typed={now} onSet={set} />
          <section class="card stack" aria-labelledby="q-corners">
            <h2 id="q-corners">2. Which corners?</h2>
            <CornerTable
              corners={now.corners}
              speeds={speedsOf(now)}
              usualLoad_g={usual}
              wrong={wrong && wrongRow(wrong, now)}
              onChange={(corners) => set({ corners })}
              onReplace={(corners, label) => replace({ corners }, label)}
              onSpeeds={(speeds) => set({ speeds })}
            />
          </section>
          <AdjusterQuestion typed={now} onSet={set} />
          <FirstQuestion typed={now} onSet={set} />
        </div>
        <div class="stack" aria-live="polite">
          {wrong && <Wrong problem={wrong} system={speedsOf(now) === "mph" ? "imperial" : "metric"} />}
          {!asking && <Missing typed={now} />}
          {asking && !wrong && <AnswerPart from={answered} />}
          {asking && answer && !wrong && answered.wrong.value?.code !== "cannot_tell" && (
            <Next
              typed={now}
              answer={answer}
              former={answered.now.value.busy}
              onRearWon={(at) => replace({ today: at, first: "together" }, `Today's setting ${at}, both ends together`)}
            />
          )}
        </div>
      </div>
    </article>
  );
}

/** What the answer still waits for. */
function Missing({ typed }: { typed: Typed }) {
  const open = [
    !typed.car && "the car",
    !typed.corners.some((one) => !isBlank(one) && !lacks(one)) && "one corner with its two speeds",
    !isOwn(typed.car) && !quickOf(typed) && "today's setting, which way it counts and which end lets go first",
  ].filter(Boolean);
  return (
    <section class="card">
      <h2>The answer</h2>
      <p>It still needs {open.join("; ")}.</p>
    </section>
  );
}

/** The row of the table a refusal of the sheet speaks of; line 1 of the sheet is its header. */
function wrongRow(wrong: Problem, typed: Typed): { row: number; text: string } | null {
  const asked = typed.corners.flatMap((one, at) => (isBlank(one) || lacks(one) ? [] : [at]));
  const byName = asked.find((at) => typed.corners[at]!.name === wrong.key);
  const row = wrong.file?.startsWith("sheets/") && wrong.line ? asked[wrong.line - 2] : byName;
  return row === undefined ? null : { row, text: told(wrong, () => "", speedsOf(typed) === "mph" ? "imperial" : "metric").text };
}
