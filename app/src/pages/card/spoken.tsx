/** The reminders as text, and the button that reads them out. */
import { useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import type { Of } from "../../api/types";
import { readOut, reminders } from "./reminders";

export function Spoken({ plan }: { plan: Of<"Plan"> }) {
  const at = useSignal<number | null>(null);
  const stop = useRef<(() => void) | null>(null);
  useEffect(() => () => stop.current?.(), []);
  const lines = reminders(plan);
  const can = "speechSynthesis" in window;
  const begin = () => {
    at.value = 0;
    stop.current = readOut(lines, (number) => (at.value = number));
  };
  return (
    <section class="card">
      <h2>Spoken reminders</h2>
      <ol class="spoken">
        {lines.map((line, i) => <li key={line} aria-current={at.value === i ? "true" : undefined}>{line}</li>)}
      </ol>
      <div class="noprint">
        {!can && <p class="soft">This browser has no voice; read them out yourself.</p>}
        {can && (at.value === null
          ? <button type="button" onClick={begin}>Read out</button>
          : <button type="button" onClick={() => stop.current?.()}>Stop reading</button>)}
      </div>
    </section>
  );
}
