/** The choices of the card: which plan, which product, in which units, with which date. */
import type { RefObject } from "preact";
import { useLoaded } from "../../house/loaded";
import { ask } from "../../api/call";
import { ofKind } from "../../api/library";
import type { WorkState } from "../../api/work";
import { turn } from "../../house/address";
import { when } from "../../words/files";
import { keptName } from "../../words/works";
import { desk } from "../../house/desk";
import { Choices, Select, TextField } from "../../parts/field";
import { choosePrint, type Printing } from "../card";
import type { Source } from "./source";

/** As many plans that nobody kept as one looks through. */
const LATEST = 12;

interface Props {
  now: Printing;
  source: Source | null;
  gone: boolean;
  /** Where the plan is chosen. */
  where: RefObject<HTMLDivElement | null>;
}

export function Choosing({ now, source, gone, where }: Props) {
  const made = useLoaded(`works ${source?.reference ?? ""}`, (signal) => ask<WorkState[]>("GET", "work", undefined, signal));
  const own = source ? `conditions/${source.plan.inputs.conditions?.id ?? ""}` : desk.value.conditions;
  const backs = ofKind("conditions").filter((one) => `conditions/${one.id}` !== own);
  return (
    <>
      <Choices<Printing["product"]>
        label="Print"
        value={now.product}
        options={[{ value: "sticker", label: "Cockpit sticker" }, { value: "briefing", label: "Briefing" }]}
        onPick={(product) => choosePrint({ product: product === "sticker" ? "" : product }, "What to print")}
      />
      <div ref={where}>
        <Select label="Plan" value={now.plan} options={plans(now.plan, made.value.value ?? [], gone)} onPick={(plan) => choosePrint({ plan }, "Plan of the card")} />
      </div>
      <Select
        label="For the rain"
        value={now.wet}
        options={[{ value: "", label: "nothing" }, ...backs.map((one) => ({ value: `conditions/${one.id}`, label: one.name }))]}
        help={now.product === "sticker" ? "It stands on the back of the sticker." : "It stands in the briefing."}
        onPick={(wet) => choosePrint({ wet }, "Back of the card")}
      />
      {now.product === "briefing" && (
        <Choices<Printing["units"]>
          label="Units"
          value={now.units}
          options={[{ value: "metric", label: "km/h, m, bar" }, { value: "imperial", label: "mph, ft, psi" }]}
          onPick={(card_units) => choosePrint({ card_units }, "Units of the card")}
        />
      )}
      <TextField
        label="Date"
        value={now.date}
        placeholder="left for the pen"
        size={16}
        help="As it is to be printed; nothing leaves a line for the pen."
        onInput={(date) => turn({ date })}
      />
    </>
  );
}

/** Plans kept under a name, then the latest others, each with its moment; newest first. */
export function plans(now: string, works: readonly WorkState[], gone: boolean): { value: string; label: string }[] {
  const kept = [...ofKind("plans")]
    .sort((a, b) => b.saved_at.localeCompare(a.saved_at))
    .map((one) => ({ value: `plans/${one.id}`, label: `${one.name}, ${when(one.saved_at)}` }));
  const made = works
    .filter((one) => one.job === "plan" && one.state === "done")
    .map((one) => ({ value: `works/${one.work_id}`, label: `${keptName(one) || one.title}, ${when(one.started_at)}`, kept: keptName(one) !== "" }));
  const shown = made.filter((one) => !one.kept).slice(0, LATEST);
  const all = [{ value: "", label: "of what lies on the desk" }, ...kept, ...shown];
  if (all.some((one) => one.value === now)) return all;
  const other = made.find((one) => one.value === now)?.label ?? "one made earlier";
  return [...all, { value: now, label: gone ? "one that is gone" : other }];
}
