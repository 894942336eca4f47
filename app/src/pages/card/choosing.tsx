/** The choices of the card: which plan, which product, in which units, with which date. */
import { useLoaded } from "../../house/loaded";
import { ask } from "../../api/call";
import { ofKind } from "../../api/library";
import type { WorkState } from "../../api/work";
import { turn } from "../../house/address";
import { desk } from "../../house/desk";
import { Choices, Select, TextField } from "../../parts/field";
import { choosePrint, type Printing } from "../card";
import type { Source } from "./source";

export function Choosing({ now, source }: { now: Printing; source: Source | null }) {
  const made = useLoaded("works", (signal) => ask<WorkState[]>("GET", "work", undefined, signal));
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
      <Select label="Plan" value={now.plan} options={plans(now.plan, made.value.value ?? [])} onPick={(plan) => choosePrint({ plan }, "Plan of the card")} />
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

function plans(now: string, works: readonly WorkState[]): { value: string; label: string }[] {
  const kept = ofKind("plans").map((one) => ({ value: `plans/${one.id}`, label: one.name }));
  const done = works
    .filter((one) => one.job === "plan" && one.state === "done")
    .slice(0, 12)
    .map((one) => ({ value: `works/${one.work_id}`, label: `${one.title.replace(/^Plan: /, "")}, ${when(one.started_at)}` }));
  const all = [{ value: "", label: "of what lies on the desk" }, ...kept, ...done];
  return all.some((one) => one.value === now) ? all : [...all, { value: now, label: now }];
}

function when(started_at: string): string {
  const at = new Date(started_at);
  return Number.isNaN(at.getTime()) ? started_at : at.toLocaleString("en-GB", { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
}
