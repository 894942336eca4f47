/** The questions beside the corners: the car, its adjuster, and which end lets go first. */
import { about } from "../../house/about";
import { ofKind } from "../../api/library";
import { Choices, NumberField, numberOf, Select } from "../../parts/field";
import { isOwn, type Typed } from "./typed";

interface Props {
  typed: Typed;
  onSet: (changes: Partial<Typed>) => void;
}

export function CarQuestion({ typed, onSet }: Props) {
  const classes = about.value?.classes ?? [];
  const options = [
    { value: "", label: "Choose the nearest" },
    ...classes.map((one) => ({ value: one.name, label: one.title })),
    ...ofKind("cars").map((one) => ({ value: `cars/${one.id}`, label: `${one.name} (yours)` })),
  ];
  const known = classes.find((one) => one.name === typed.car);
  return (
    <section class="card" aria-labelledby="q-car">
      <h2 id="q-car">1. What car is it?</h2>
      <Select label="Class of car, or a car of the library" value={typed.car} options={options} onPick={(car) => onSet({ car })} />
      {known && <details><summary>What this class takes for granted</summary><p>{known.about}</p></details>}
    </section>
  );
}

export function AdjusterQuestion({ typed, onSet }: Props) {
  const own = isOwn(typed.car);
  const wrong = (text: string) => (text.trim() && numberOf(text) === null ? "This is no number." : null);
  return (
    <section class="card stack" aria-labelledby="q-today">
      <h2 id="q-today">3. What does the adjuster show today?</h2>
      {own && <p class="soft">The car's file knows its adjuster: answer this and the next only if today is different.</p>}
      <NumberField label="Today's setting" help="As the driver reads it" value={typed.today} wrong={wrong(typed.today)} onInput={(today) => onSet({ today })} />
      <Choices
        label="A bigger number puts more braking on the"
        help="Not sure? Stop gently at both ends of the range and see which wheels work harder. The wrong way hurts."
        value={typed.higher}
        options={[{ value: "front", label: "front" }, { value: "rear", label: "rear" }]}
        onPick={(higher) => onSet({ higher })}
      />
      <details open={Boolean(typed.lowest || typed.highest || typed.step)}>
        <summary>Its range, if you know it</summary>
        <div class="row ends">
          <NumberField label="Lowest" size={5} value={typed.lowest} wrong={wrong(typed.lowest)} onInput={(lowest) => onSet({ lowest })} />
          <NumberField label="Highest" size={5} value={typed.highest} wrong={wrong(typed.highest)} onInput={(highest) => onSet({ highest })} />
          <NumberField label="One click" size={5} value={typed.step} wrong={wrong(typed.step)} onInput={(step) => onSet({ step })} />
        </div>
      </details>
    </section>
  );
}

export function FirstQuestion({ typed, onSet }: Props) {
  return (
    <section class="card" aria-labelledby="q-first">
      <h2 id="q-first">4. Braking too hard in a straight line, which end lets go first?</h2>
      <Choices
        label="At today's setting"
        value={typed.first}
        options={[
          { value: "front", label: "the front" },
          { value: "rear", label: "the rear" },
          { value: "together", label: "both together" },
        ]}
        onPick={(first) => onSet({ first })}
      />
    </section>
  );
}
