/** Three straight stops, forward end first: which end locked, and where the crossover lies. */
import { useSignal } from "@preact/signals";
import { useId } from "preact/hooks";
import { job, problem, type Problem } from "../../api/call";
import { itemOf, save } from "../../api/library";
import type { Envelope, Of } from "../../api/types";
import { desk } from "../../house/desk";
import { draft } from "../../house/draft";
import { useLoaded } from "../../house/loaded";
import { numberOf } from "../../parts/field";
import { Cautions, Wrong } from "../../parts/notice";
import { noNumber } from "../../words/text";

type First = "front" | "rear" | "together" | "none";
interface Stop {
  setting: string;
  first: First | "";
}

const WORDS: { value: First; label: string }[] = [
  { value: "front", label: "▲ front" },
  { value: "rear", label: "▼ rear" },
  { value: "together", label: "both" },
  { value: "none", label: "neither" },
];

export function Stops() {
  const typed = draft<Stop[]>("trial.stops", [{ setting: "", first: "" }, { setting: "", first: "" }, { setting: "", first: "" }]);
  const asked = stopsRequest(typed.value);
  const found = useLoaded(asked && JSON.stringify(asked), (signal) => job<Envelope<Of<"Trial">>>("trial", asked!, signal), 250);
  const { value, wrong, busy } = found.value;
  // What the stops showed before the last stroke of a key must not be written into the car.
  const current = asked && !wrong && !busy && value?.result.stops;
  const set = (i: number, change: Partial<Stop>) => (typed.value = typed.value.map((one, j) => (i === j ? { ...one, ...change } : one)));
  return (
    <div class="stack">
      <section class="card stack" aria-labelledby="stops-head">
        <h2 id="stops-head">On the out-lap, straight on, with a spotter or wheel speeds</h2>
        <p>From 120 to 60 km/h, squeeze to the first lock. Begin at a forward setting; go rearward one step at a time; stop when the rear just wins.</p>
        {typed.value.map((one, i) => <StopRow key={i} number={i + 1} stop={one} onSet={(change) => set(i, change)} />)}
        <div class="row">
          <button type="button" onClick={() => (typed.value = [...typed.value, { setting: "", first: "" }])}>Another stop</button>
          <button type="button" class="bare" onClick={() => (typed.value = [{ setting: "", first: "" }])}>Begin anew</button>
        </div>
      </section>
      {asked && wrong && <Wrong problem={wrong} />}
      {current && <Found stops={current} />}
      {current && <Cautions cautions={value!.cautions} />}
    </div>
  );
}

function StopRow({ number, stop, onSet }: { number: number; stop: Stop; onSet: (change: Partial<Stop>) => void }) {
  const wrong = noNumber(stop.setting);
  const open = !wrong && openOf(stop);
  const about = useId();
  return (
    <fieldset class="stoprow">
      <legend>Stop {number}</legend>
      <div class="row">
        <input
          type="text" inputMode="decimal" class="number" size={7} aria-label={`Stop ${number}: setting`} placeholder="setting"
          {...(wrong && { "aria-invalid": "true" as const, "aria-describedby": about })}
          value={stop.setting} onInput={(event) => onSet({ setting: event.currentTarget.value })}
        />
        <span class="choices">
          {WORDS.map((one) => (
            <label key={one.value}>
              <input type="radio" name={`stop${number}`} checked={stop.first === one.value} onChange={() => onSet({ first: one.value })} />
              {one.label}
            </label>
          ))}
        </span>
      </div>
      {wrong && <span class="wrong" id={about} role="alert">{wrong}</span>}
      {open && <span class="soft">{open}</span>}
    </fieldset>
  );
}

/** What a stop that is begun still lacks; empty where it is whole or empty. */
function openOf({ setting, first }: Stop): string {
  if (setting.trim() === "") return first ? "It counts once its setting is typed." : "";
  return first ? "" : "It counts once you say which end went first.";
}

/** The request, from the stops that are filled in; null while none is, or while a setting cannot be read. */
export function stopsRequest(typed: Stop[]): object | null {
  if (typed.some(({ setting }) => noNumber(setting))) return null;
  const stops = typed.flatMap(({ setting, first }) => {
    const number = numberOf(setting);
    return number === null || first === "" ? [] : [{ setting: number, first }];
  });
  if (!stops.length) return null;
  const { car, higher } = desk.value;
  return { stops: { stops, ...(higher ? { higher } : { car }) } };
}

function Found({ stops }: { stops: Of<"TrialStops"> }) {
  const wrong = useSignal<Problem | null>(null);
  const car = itemOf(desk.value.car);
  const put = async () => {
    try {
      const changes = { "anchor.setting": stops.anchor!.setting, "anchor.first_to_let_go": stops.anchor!.first_to_let_go };
      await save("cars", car!.id, { changes }, car!.revision, `${car!.name}: what the stops showed`);
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <section class={stops.finding === "contradictory" ? "notice wrong" : "card"} aria-labelledby="found-head">
      <h2 id="found-head">What they show</h2>
      <p class="lead">{stops.text}</p>
      <p>{stops.next}</p>
      {stops.anchor && car && <button type="button" class="go" onClick={() => void put()}>Write it into {car.name}</button>}
      {wrong.value && <Wrong problem={wrong.value} />}
    </section>
  );
}
