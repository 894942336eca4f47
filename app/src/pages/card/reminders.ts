/** The plan as sentences to be read out: before the session, or over the radio. */
import type { Of } from "../../api/types";
import { setting } from "../../words/units";

type Plan = Of<"Plan">;

const HARDLY_S = 0.02; // as on the page of the plan and on the sticker

/** A setting as it is spoken: no naught behind the point. */
function spoken(value: number, step: number): string {
  return String(Number(setting(value, step)));
}

/** One sentence per change of a lap, in driving order, and what to do when one has lost count. */
export function reminders(plan: Plan): string[] {
  const { zones, adjuster } = plan;
  const say = (value: number) => spoken(value, adjuster.step);
  const changes = zones.flatMap((zone, i) => {
    const before = zones[(i - 1 + zones.length) % zones.length]!;
    const steps = Math.round((zone.setting - before.setting) / adjuster.step);
    if (steps === 0) return [];
    const front = steps > 0 === (adjuster.higher_means === "front");
    const count = Math.abs(steps) === 1 ? "1 step" : `${Math.abs(steps)} steps`;
    return [`After ${before.name}: ${count} to the ${front ? "front" : "rear"}, to ${say(zone.setting)}, before ${zone.name}.`];
  });
  const first = changes.length
    ? `Cross the line at ${say(zones.at(-1)!.setting)}.`
    : `One setting for the whole lap: ${say(zones[0]?.setting ?? plan.lap_setting.setting)}.`;
  const gain_s = (plan.lap_setting.cost_us - plan.total.cost_us) / 1e6;
  const hardly = changes.length && gain_s < HARDLY_S ? [`Changes gain next to nothing: ${say(plan.lap_setting.setting)} all lap is as good.`] : [];
  return [first, ...changes, ...hardly, `If you lose count, go to ${say(plan.panic_setting)}.`];
}

/** Read sentences out, one after the other; gives what stops it. */
export function readOut(sentences: readonly string[], onLine: (number: number | null) => void): () => void {
  const voice = window.speechSynthesis;
  voice.cancel();
  let over = false;
  sentences.forEach((text, number) => {
    const one = new SpeechSynthesisUtterance(text);
    one.lang = "en";
    one.rate = 0.95;
    one.onstart = () => { if (!over) onLine(number); };
    const last = number === sentences.length - 1;
    one.onend = one.onerror = () => { if (last && !over) onLine(null); };
    voice.speak(one);
  });
  return () => {
    over = true;
    voice.cancel();
    onLine(null);
  };
}
