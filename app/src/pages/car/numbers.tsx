/** The numbers of a car: value or range, source, what is usual and how to measure; edited in place. */
import type { Held } from "../../api/library";
import { KeysForm, type Group } from "../../parts/keys/form";
import type { CarValue } from "./value";

const GROUPS: Group[] = [
  { title: "Adjuster", takes: (key) => key.startsWith("adjuster.") || key.startsWith("anchor.") },
  { title: "Weights and sizes", takes: (key) => !key.includes(".") && !/aero|lift|drag/.test(key) },
  { title: "Tyres", takes: (key) => key.startsWith("tyre.") && !/coefficients|set$/.test(key), folded: true },
  { title: "Brakes", takes: (key) => key.startsWith("brakes."), folded: true },
  { title: "Air", takes: (key) => !key.includes(".") && /aero|lift|drag/.test(key), folded: true },
  { title: "Engine and wheels", takes: (key) => /^(drive|wheel|fuel)\./.test(key), folded: true },
  { title: "The car in motion", takes: (key) => key.startsWith("transient."), folded: true },
];

export function Numbers({ held }: { held: Held<CarValue> }) {
  return (
    <KeysForm
      held={held}
      title="Its numbers"
      intro="One number, a range such as 0.44 to 0.46, or 1360 ±8. What is a range here widens the answer, and nothing else."
      groups={GROUPS}
      folding
    />
  );
}
