/** A car: what its adjuster really does, what share it could use, and the numbers behind both. */
import { useSignal } from "@preact/signals";
import { itemOf, read, save, slug, type Held } from "../api/library";
import { ask, problem, type Problem } from "../api/call";
import { about } from "../house/about";
import { go, parts } from "../house/address";
import { desk, lay } from "../house/desk";
import { useLoaded } from "../house/loaded";
import { Wrong } from "../parts/notice";
import { TextField } from "../parts/field";
import { AdjusterPart } from "./car/adjuster";
import { IdealPart } from "./car/ideal";
import { Numbers } from "./car/numbers";
import type { CarValue } from "./car/value";
import "../style/car.css";

export function CarPage() {
  const reference = parts()[1] ? `cars/${parts()[1]}` : desk.value.car;
  return reference.startsWith("cars/") ? <Own id={reference.slice(5)} key={reference} /> : <OfClass name={reference} key={reference} />;
}

/** A car of the library. */
function Own({ id }: { id: string }) {
  const revision = itemOf(`cars/${id}`)?.revision;
  const held = useLoaded(`${id} ${revision}`, () => read<CarValue>("cars", id));
  const { value: car, wrong } = held.value;
  return (
    <article>
      <header>
        <h1><bdi>{car?.item.name ?? id}</bdi></h1>
        {car && <p>{subtitle(car)}</p>}
      </header>
      {wrong && <Wrong problem={wrong} />}
      {car && (
        <div class="stack">
          {desk.value.car !== `cars/${id}` && (
            <button type="button" onClick={() => lay({ car: `cars/${id}` }, `Car: ${car.item.name}`)}>Put this car on the desk</button>
          )}
          <AdjusterPart held={car} />
          <IdealPart car={`cars/${id}`} adjuster={car.value?.adjuster} revision={car.item.revision} />
          <Numbers held={car} />
        </div>
      )}
    </article>
  );
}

function subtitle(held: Held<CarValue>): string {
  const known = about.value?.classes.find((one) => one.name === held.value?.class_name);
  const kind = known?.title ?? held.value?.class_name;
  return kind ? `Of the class: ${kind}` : "A car of its own";
}

/** A class of car: ranges only, so the first thing is to make a car of it. */
function OfClass({ name }: { name: string }) {
  const known = about.value?.classes.find((one) => one.name === name);
  const typed = useSignal("");
  const wrong = useSignal<Problem | null>(null);
  const make = async () => {
    const id = slug(typed.value || known?.title || name);
    try {
      const { text } = await ask<{ text: string }>("GET", `classes/${name}`);
      const named = text
        .replace(/^id = .*$/m, `id = ${JSON.stringify(id)}`)
        .replace(/^name = .*$/m, `name = ${JSON.stringify(typed.value || known?.title || name)}`);
      await save("cars", id, { text: named }, null, `${typed.value || id} made`);
      lay({ car: `cars/${id}`, today: "", higher: "", first: "" }, `Car: ${typed.value || id}`);
      go(`/car/${id}`);
    } catch (error) {
      wrong.value = problem(error);
    }
  };
  return (
    <article>
      <header>
        <h1>{known?.title ?? name}</h1>
        <p>A class of car: every number is a range that most such cars fall into.</p>
      </header>
      <section class="card stack">
        <p>{known?.about}</p>
        <p>Make a car of it, and replace ranges by numbers as you learn them.</p>
        <TextField label="What do you call the car?" value={typed.value} onInput={(now) => (typed.value = now)} />
        <button type="button" class="go" onClick={() => void make()}>Make a car of it</button>
        {wrong.value && <Wrong problem={wrong.value} />}
      </section>
    </article>
  );
}
