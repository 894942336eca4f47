/** Learn: what logs of straight stops and laps show about the car, before and after. */
import { useSignal } from "@preact/signals";
import { useAsked } from "../api/asked";
import { ask, problem, type Problem } from "../api/call";
import { useKeptWork } from "../api/kept";
import { itemOf, refresh, slug, type Item } from "../api/library";
import type { Envelope, Of } from "../api/types";
import { go, place } from "../house/address";
import { desk, lay } from "../house/desk";
import { draft } from "../house/draft";
import { Link } from "../house/rail";
import { NumberField, TextField } from "../parts/field";
import { Cautions, Mind, Progress, Warnings, Wrong } from "../parts/notice";
import { noNumber, sentence } from "../words/text";
import { Channels } from "./laps/channels";
import { chosenOf } from "./laps/chosen";
import { Logs } from "./laps/logs";
import { Crossover } from "./learn/crossover";
import { Parameters } from "./learn/parameters";
import { changedSince, lacking, learnRequest, type Typed } from "./learn/question";
import "../style/laps.css";
import "../style/learn.css";

type LearnAnswer = Envelope<Of<"Learn">>;

export function Learn() {
  const now = chosenOf(place.value.query);
  const settings = draft<Typed>("learn.settings", {});
  const request = learnRequest(now, settings.value);
  const kept = useKeptWork<LearnAnswer>(
    "learn",
    now.logs.length ? now.logs.join(" ") : null, // an answer of these logs stays, and says what changed
    { logs: now.logs },
  );
  const found = kept.answer.value;
  const asked = useAsked(kept.id.value);
  const changed = found && asked ? changedSince(asked, request) : [];
  const missing = lacking(now.logs, settings.value);
  return (
    <article>
      <header>
        <h1>What the logs teach about the car</h1>
        <p>Three straight stops at different settings teach most: forward end first, from one speed.</p>
      </header>
      <div class="stack">
        {found && changed.length > 0 && <Older answer={found} changed={changed} />}
        {found && kept.id.value && <Taught answer={found} work={kept.id.value} />}
        {kept.busy.value && <Progress state={kept.state} onStop={kept.stop} label="Learning" />}
        {kept.wrong.value && <Wrong problem={kept.wrong.value} />}
        <Logs now={now} />
        <Channels now={{ ...now, against: "" }} />
        {now.logs.length > 0 && (
          <section class="card stack noprint">
            <Settings logs={now.logs} typed={settings} />
            <button type="button" class={found && !changed.length ? "" : "go"} disabled={kept.busy.value || missing !== ""} onClick={() => kept.start(request)}>
              {found ? "Learn again" : `Learn about ${itemOf(desk.value.car)?.name ?? desk.value.car}`}
            </button>
          </section>
        )}
      </div>
    </article>
  );
}

/** What the adjuster showed, for logs that hold no channel of it. */
function Settings({ logs, typed }: { logs: string[]; typed: { value: Typed } }) {
  const missing = lacking(logs, typed.value);
  return (
    <details open={logs.some((log) => typed.value[log])}>
      <summary>The logs do not hold the setting?</summary>
      <p>Type what the adjuster showed in each; leave it empty where the log holds it.</p>
      <div class="row fields">
        {logs.map((log) => {
          const text = typed.value[log] ?? "";
          return <NumberField key={log} label={log.slice("logs/".length)} wrong={noNumber(text)} value={text} onInput={(said) => (typed.value = { ...typed.value, [log]: said })} />;
        })}
      </div>
      {missing && <p class="soft">{missing}</p>}
    </details>
  );
}

/** The answer in sight is of another question: said, not hidden, because a learned car that is kept comes onto the desk. */
function Older({ answer, changed }: { answer: LearnAnswer; changed: string[] }) {
  return (
    <Mind>
      <p><strong>This was learned of {answer.result.car_name} before other things were chosen:</strong> {changed.join(", ")}. Keeping it keeps what is shown here; learn again to ask anew.</p>
    </Mind>
  );
}

function Taught({ answer, work }: { answer: LearnAnswer; work: string }) {
  const { result } = answer;
  return (
    <>
      <Crossover result={result} />
      <section class="card stack" aria-labelledby="keep-head">
        <h2 id="keep-head">Next</h2>
        {result.next_test && <p>{sentence(result.next_test)}</p>}
        {result.car_file ? <KeepCar key={work} name={result.car_name} work={work} /> : <p class="soft">Nothing was learned that would change the car file.</p>}
      </section>
      {result.next_test && <Cautions cautions={answer.cautions} />}
      <Warnings warnings={answer.warnings} />
      <Parameters result={result} />
    </>
  );
}

/** The learned car into the library and onto the desk. */
function KeepCar({ name, work }: { name: string; work: string }) {
  const title = draft(`learn.name.${work}`, `${name}, learned`);
  const wrong = useSignal<Problem | null>(null);
  const saved = useSignal<Item | null>(null);
  const put = async () => {
    const id = slug(title.value);
    const known = itemOf(`cars/${id}`);
    try {
      const body = { work: `works/${work}`, name: title.value, based_on: known?.revision ?? null };
      const { item } = await ask<{ item: Item }>("POST", `library/cars/${id}/learned`, body);
      await refresh();
      lay({ car: `cars/${item.id}`, today: "", higher: "", first: "" }, `Car: ${item.name}`);
      saved.value = item;
      wrong.value = null;
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <div class="stack">
      <div class="row">
        <TextField label="Name of the learned car" value={title.value} onInput={(text) => (title.value = text)} size={26} />
        <button type="button" class="go" onClick={() => void put()}>Keep it and put it on the desk</button>
      </div>
      {wrong.value && <Wrong problem={wrong.value} />}
      {saved.value && (
        <p role="status">
          {saved.value.name} is kept and lies on the desk. <button type="button" onClick={() => go("/plan")}>Plan with it</button>{" "}
          <Link path={`/car/${saved.value.id}`}>Look at its numbers</Link>
        </p>
      )}
    </div>
  );
}
