/** What to do next: three straight stops, and on to the other pages with the same car and corners. */
import { useSignal } from "@preact/signals";
import { ask, problem, type Problem } from "../../api/call";
import { read, save, slug, type Table } from "../../api/library";
import { about } from "../../house/about";
import { go } from "../../house/address";
import { desk, lay, type Desk } from "../../house/desk";
import { Dialog } from "../../parts/dialog";
import { NumberField, TextField, numberOf } from "../../parts/field";
import { Wrong } from "../../parts/notice";
import { setting } from "../../words/units";
import { keptSheet, type Answer } from "./asking";
import { driver, isOwn, quickOf, type Quick, type Typed } from "./typed";

interface Props {
  typed: Typed;
  answer: Answer;
  /** The answer is to what was typed before; the new one is being worked out. */
  former: boolean;
  onRearWon: (at: string) => void;
}

export function Next({ typed, answer, former, onRearWon }: Props) {
  const keeping = useSignal(false);
  const wrong = useSignal<Problem | null>(null);
  const carry = async (path: string) => {
    try {
      lay({ ...asDesk(typed, quickOf(typed)), conditions: desk.value.conditions }, "What was typed put on the desk");
      go(path);
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <section class="card stack startnext" aria-labelledby="next-head" aria-busy={former}>
      <h2 id="next-head">Next: three straight stops</h2>
      <Stops answer={answer} first={typed.first} onRearWon={onRearWon} />
      <div class="row">
        <button type="button" class="go" onClick={() => (keeping.value = true)}>Keep this car and corners</button>
        <button type="button" onClick={() => void carry("/symptoms")}>It did something</button>
        <button type="button" onClick={() => void carry("/card")}>Card</button>
        <button type="button" onClick={() => void carry("/plan")}>The whole plan</button>
      </div>
      {wrong.value && <Wrong problem={wrong.value} />}
      <Dialog title="Keep this car and corners" open={keeping.value} onClose={() => (keeping.value = false)}>
        <Keep typed={typed} onDone={() => (keeping.value = false)} />
      </Dialog>
    </section>
  );
}

/** Forward end first, one step rearward each time, until the rear just wins. */
function Stops({ answer, first, onRearWon }: { answer: Answer; first: Typed["first"]; onRearWon: (at: string) => void }) {
  const { adjuster } = answer.result;
  const won = useSignal("");
  const three = stopSettings(answer, first);
  return (
    <>
      <p>
        Where there is room, brake hard in a straight line at <strong>{three.map((one) => setting(one, adjuster.step)).join(", then ")}</strong>,
        and so on one step rearward each time, until the rear just lets go first. That number is worth more than anything above.
      </p>
      <div class="row ends">
        <NumberField label="The rear just won at" value={won.value} onInput={(now) => (won.value = now)} />
        <button type="button" disabled={numberOf(won.value) === null} onClick={() => onRearWon(won.value)}>Work with that</button>
      </div>
    </>
  );
}

/** Three settings to begin with: from where the front still goes first, one step rearward each. */
export function stopSettings(answer: Answer, first: Typed["first"]): number[] {
  const { adjuster, lap_setting, anchor_setting } = answer.result;
  const forward = adjuster.higher_means === "front" ? adjuster.step : -adjuster.step;
  const from =
    anchor_setting === null || first === "rear" || first === ""
      ? lap_setting.setting + doubtSteps(answer) * forward
      : anchor_setting + (first === "together" ? forward : 0);
  const begin = Math.min(Math.max(from, adjuster.min), adjuster.max);
  const three = [0, 1, 2].map((count) => begin - count * forward);
  return three.filter((one) => one >= adjuster.min && one <= adjuster.max);
}

const DOUBT_AT_LEAST = 2;

/** How many steps the number may be off, as the answer itself says. */
function doubtSteps(answer: Answer): number {
  const said = answer.warnings.find((one) => one.code === "class_and_anchor_only")?.text ?? "";
  return Number(/about (\d+) step/.exec(said)?.[1] ?? DOUBT_AT_LEAST);
}

/** What is typed as the desk's own words; a car of the library that says it all needs no quick answers. */
function asDesk(typed: Typed, quick: Quick | null): Partial<Desk> {
  const text = (value: number | undefined) => (value === undefined ? "" : String(value));
  return {
    car: typed.car,
    road: `sheets/${keptSheet().value?.id}`,
    driver: driver(),
    today: text(quick?.today),
    higher: quick?.higher ?? "",
    first: quick?.first ?? "",
    lowest: text(quick?.lowest),
    highest: text(quick?.highest),
    step: text(quick?.step),
  };
}

function Keep({ typed, onDone }: { typed: Typed; onDone: () => void }) {
  const own = isOwn(typed.car);
  const title = about.value?.classes.find((one) => one.name === typed.car)?.title ?? "My car";
  const car = useSignal(title);
  const corners = useSignal("My corners");
  const wrong = useSignal<Problem | null>(null);
  const busy = useSignal(false);
  const put = async () => {
    busy.value = true;
    try {
      const road = await keepCorners(corners.value);
      const kept = own ? typed.car : await keepCar(typed, car.value);
      lay({ ...asDesk(typed, own ? quickOf(typed) : null), car: kept, road, conditions: desk.value.conditions }, `${car.value} and ${corners.value} put on the desk`);
      onDone();
      go("/plan");
    } catch (error) {
      wrong.value = problem(error);
    }
    busy.value = false;
  };
  return (
    <form class="stack" onSubmit={(event) => { event.preventDefault(); void put(); }}>
      {!own && <TextField label="What do you call the car?" value={car.value} onInput={(now) => (car.value = now)} />}
      <TextField label="What do you call these corners?" help="The circuit, or the day" value={corners.value} onInput={(now) => (corners.value = now)} />
      {wrong.value && <Wrong problem={wrong.value} />}
      <div class="row">
        <button type="submit" class="go" disabled={busy.value || !corners.value.trim() || (!own && !car.value.trim())}>Keep them</button>
        <button type="button" onClick={onDone}>Not now</button>
      </div>
    </form>
  );
}

/** The corners under a name of their own; what is there of that name is never overwritten. */
async function keepCorners(name: string): Promise<string> {
  const now = keptSheet().value!;
  const id = slug(name);
  if (id === now.id) return `sheets/${id}`;
  const held = await read<Table>("sheets", now.id);
  await save("sheets", id, { text: held.text! }, null, `${name} kept`);
  return `sheets/${id}`;
}

/** A car file made of the class and of what was said of its adjuster. */
async function keepCar(typed: Typed, name: string): Promise<string> {
  const id = slug(name);
  const { text } = await ask<{ text: string }>("POST", `classes/${typed.car}/car`, { id, name, quick: quickOf(typed) });
  await save("cars", id, { text }, null, `${name} kept`);
  return `cars/${id}`;
}
