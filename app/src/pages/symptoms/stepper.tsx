/** The setting in big digits, moved by single steps of the adjuster, for a thumb. */
import { useId } from "preact/hooks";
import { setting } from "../../words/units";

interface Props {
  label: string;
  value: number;
  /** Every setting the adjuster shows, from the lowest. */
  all: number[];
  step: number;
  higher: "front" | "rear";
  onSet: (value: number) => void;
}

export function Stepper({ label, value, all, step, higher, onSet }: Props) {
  const id = useId();
  const at = all.indexOf(value);
  const move = (by: number) => {
    const next = all[at + by];
    if (next !== undefined) onSet(next);
  };
  const way = (by: number) => ((by > 0) === (higher === "front") ? "forward" : "rearward");
  return (
    <div class="stepper" role="group" aria-labelledby={id}>
      <span id={id}>{label}</span>
      <button type="button" aria-label={`One step ${way(-1)}, lower`} disabled={at <= 0} onClick={() => move(-1)}>−</button>
      <output aria-live="polite">{setting(value, step)}</output>
      <button type="button" aria-label={`One step ${way(1)}, higher`} disabled={at >= all.length - 1} onClick={() => move(1)}>+</button>
      <span class="soft">bigger is more {higher}</span>
    </div>
  );
}
