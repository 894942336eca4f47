/** One corner: a row to tap, and under it what can be said of it and what to do next. */
import { useSignal } from "@preact/signals";
import type { Problem } from "../../api/call";
import { about } from "../../house/about";
import { draft } from "../../house/draft";
import { EndSign } from "../../parts/figure";
import { Wrong } from "../../parts/notice";
import { capital } from "../../words/text";
import { setting } from "../../words/units";
import { planReference } from "../plan/ask";
import { AnswerCard } from "./answer";
import { settingsOf, whose, type Line, type Plan, type Said, type Symptom } from "./ask";
import { Stepper } from "./stepper";
import type { Last } from "../symptoms";

interface Props {
  zone: Plan["zones"][number];
  number: number;
  plan: Plan;
  open: boolean;
  lastLine: Line | undefined;
  last: Last | null;
  /** The symptom that is being weighed just now. */
  asking: string | null;
  wrong: Problem | null;
  onOpen: () => void;
  onReport: (said: Said) => void;
  onMore: () => void;
}

export function ZoneRow(props: Props) {
  const { zone, number, plan, open, lastLine, last } = props;
  const { step } = plan.adjuster;
  const now = lastLine?.to ?? zone.setting;
  return (
    <li class={open ? "open" : ""}>
      <button type="button" class="zonehead" aria-expanded={open} onClick={props.onOpen}>
        <span class="zonenumber" aria-hidden="true">{number}</span>
        <span class="name">{zone.name}</span>
        <span class="soft">{lastLine ? "now" : planReference.value ? "planned" : "quick plan"} <strong>{setting(now, step)}</strong></span>
      </button>
      {open && (
        <div class="zonebody stack">
          {last ? <AnswerCard last={last} plan={plan} onMore={props.onMore} /> : <Tell {...props} now={now} />}
          {props.wrong && <Wrong problem={props.wrong} />}
        </div>
      )}
    </li>
  );
}

/** Which end a symptom speaks of; its sign stands on the button. */
const END: Partial<Record<Symptom, "front" | "rear">> = {
  locked_inside_front: "front",
  locked_both_fronts: "front",
  would_not_turn: "front",
  locked_rears: "rear",
  loose_on_entry: "rear",
  came_round: "rear",
};

function Tell({ zone, plan, now, asking, onReport }: Props & { now: number }) {
  const at = draft(`symptoms.at.${whose()}.${zone.zone_id}`, now);
  const often = useSignal({ times: 1, passes: 5 });
  const all = settingsOf(plan);
  const shown = all.includes(at.value) ? at.value : now;
  const tell = (symptom: Symptom) => {
    const { times, passes } = often.value;
    onReport({ zone: zone.zone_id, symptom, setting: shown, passes, times: symptom === "fine" ? passes : times });
  };
  return (
    <>
      <Stepper label="It happened at" value={shown} all={all} step={plan.adjuster.step} higher={plan.adjuster.higher_means} onSet={(value) => (at.value = value)} />
      <HowOften often={often.value} onSet={(value) => (often.value = value)} />
      <div class="symptomgrid" role="group" aria-label={`What ${zone.name} did`}>
        {(about.value?.symptoms ?? []).map((one) => (
          <button key={one.symptom} type="button" disabled={asking !== null} onClick={() => tell(one.symptom as Symptom)}>
            <End of={END[one.symptom as Symptom]} />
            <span>{asking === one.symptom ? "Weighing it…" : capital(one.label)}</span>
          </button>
        ))}
      </div>
    </>
  );
}

function End({ of }: { of: "front" | "rear" | undefined }) {
  return (
    <svg viewBox="0 0 20 20" width="20" height="20" aria-hidden="true">
      {of ? <EndSign end={of} x={10} y={10} size={16} /> : <path d="M4 11 l4 4 l8 -10" fill="none" stroke="currentColor" stroke-width="2.5" />}
    </svg>
  );
}

interface Often {
  times: number;
  passes: number;
}

function HowOften({ often, onSet }: { often: Often; onSet: (often: Often) => void }) {
  const { times, passes } = often;
  return (
    <details class="often">
      <summary>{times === 1 ? "Once" : `${times} times`} in {passes} passes</summary>
      <div class="row">
        <Count label="It happened" value={times} lowest={1} highest={passes} onSet={(value) => onSet({ times: value, passes })} />
        <Count label="in so many passes" value={passes} lowest={1} highest={60} onSet={(value) => onSet({ times: Math.min(times, value), passes: value })} />
      </div>
    </details>
  );
}

function Count(props: { label: string; value: number; lowest: number; highest: number; onSet: (value: number) => void }) {
  const { label, value, lowest, highest, onSet } = props;
  return (
    <div class="stepper small" role="group" aria-label={label}>
      <span>{label}</span>
      <button type="button" aria-label={`${label}: one less`} disabled={value <= lowest} onClick={() => onSet(value - 1)}>−</button>
      <output>{value}</output>
      <button type="button" aria-label={`${label}: one more`} disabled={value >= highest} onClick={() => onSet(value + 1)}>+</button>
    </div>
  );
}
