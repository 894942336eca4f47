/** Card: what is handed over, seen as it prints. */
import { useSignal } from "@preact/signals";
import { useRef } from "preact/hooks";
import { ask, askFile, problem, type Problem } from "../api/call";
import { place, turn, type Query } from "../house/address";
import { useLoaded } from "../house/loaded";
import { tell } from "../house/tell";
import { keep } from "../house/undo";
import { Cautions, Progress, Warnings, Wrong } from "../parts/notice";
import { units } from "../words/units";
import { Moved, MovedNotice, movedWord } from "./plan/moved";
import { Choosing } from "./card/choosing";
import { Gone, isGone } from "./card/gone";
import { Paper } from "./card/paper";
import { Spoken } from "./card/spoken";
import { useSource, type Source } from "./card/source";
import "../style/card.css";

export interface Printing {
  plan: string;
  /** Conditions of the back; empty for none. */
  wet: string;
  product: "sticker" | "briefing";
  units: "metric" | "imperial";
  date: string;
}

export function printingOf(query: Query): Printing {
  const said = query.card_units;
  return {
    plan: query.plan ?? "",
    wet: query.wet ?? "",
    product: query.product === "briefing" ? "briefing" : "sticker",
    units: said === "metric" || said === "imperial" ? said : units.value,
    date: query.date ?? "",
  };
}

/** The request for one product of a plan; null while the back that is wanted is not made. */
export function cardRequest(now: Printing, source: Source): Record<string, unknown> | null {
  const asked: Record<string, unknown> = { plan: source.reference, product: now.product, units: now.units };
  if (now.date.trim()) asked.date = now.date.trim();
  if (now.wet) {
    const back = source.others.find((one) => one.conditions === now.wet);
    if (!back) return null;
    asked.wet = back.reference;
  }
  return asked;
}

export function choosePrint(changes: Query, label: string): void {
  const before = Object.fromEntries(Object.keys(changes).map((key) => [key, place.value.query[key] ?? ""]));
  turn(changes);
  keep({ label, redo: () => turn(changes), undo: () => turn(before) });
}

export function Card() {
  const now = printingOf(place.value.query);
  const sources = useSource(now.plan, now.wet);
  const source = sources.now;
  const request = source && cardRequest(now, source);
  const shown = useLoaded(request && JSON.stringify(request), (signal) => pagesOf(now.product, request!, signal), 60);
  const { rested, pair } = sources;
  const wrong = (now.plan ? sources.named.value.wrong : now.wet ? pair.wrong.value : rested.wrong) ?? null;
  const gone = isGone(now.plan ? wrong : null) || (!shown.value.busy && isGone(request && shown.value.wrong));
  const choice = useRef<HTMLDivElement>(null);
  const plan = () => {
    choosePrint({ plan: "" }, "Plan of the desk");
    sources.make(now.wet);
  };
  const making = !now.plan && (now.wet ? pair.busy.value : !rested.now && !rested.wrong);
  const waiting = making || (now.plan !== "" && sources.named.value.busy);
  return (
    <article>
      <header>
        <h1>The card</h1>
        <p>{source ? about(source) : "What the driver takes along: a sticker for the cockpit, a briefing for the paddock."}</p>
      </header>
      <div class="handover">
        <section class="card stack noprint" aria-label="What to print">
          <Choosing now={now} source={source} gone={gone} where={choice} />
        </section>
        <div class="stack">
          {now.plan ? source && <Named source={source} /> : <Moved />}
          {!now.plan && pair.busy.value && <Progress state={pair.state} onStop={pair.stop} label="Making both plans" />}
          {!now.plan && rested.work && <Progress state={rested.work.state} onStop={rested.work.cancel} label="Making the plan" />}
          {making && !pair.busy.value && !rested.work && <p class="soft" role="status">The plan comes first.</p>}
          {gone && !waiting && <Gone now={now} onPlan={plan} onChoose={() => choice.current?.querySelector("select")?.focus()} />}
          {wrong && !gone && <Wrong problem={wrong} />}
          {!gone && !waiting && !request && <Make now={now} source={source} onMake={plan} />}
          {!gone && request && shown.value.wrong && <Wrong problem={shown.value.wrong} />}
          {!gone && request && shown.value.value && (
            <section aria-label="As it prints">
              <Paper pages={shown.value.value.pages} busy={shown.value.busy} product={shown.value.value.product} />
              <Printed request={request} product={now.product} sides={shown.value.value.pages.length} />
            </section>
          )}
          {request && shown.value.busy && shown.value.value?.product !== now.product && <p class="soft" role="status">Drawing the {now.product}</p>}
          {source && <Cautions cautions={source.plan.cautions} />}
          {source && <Spoken plan={source.plan.result} />}
          {source && <Warnings warnings={source.plan.warnings} />}
        </div>
      </div>
    </article>
  );
}

/** The pages with what they are of: the last good ones stay in sight while others are drawn. */
async function pagesOf(product: Printing["product"], request: object, stop: AbortSignal) {
  const { pages } = await ask<{ pages: string[] }>("POST", "card", { ...request, format: "svg" }, stop);
  return { pages, product };
}

function about(source: Source): string {
  const plan = source.plan.result;
  return `${plan.car_name}, ${plan.circuit_name}, ${plan.driver_name}, ${plan.conditions_name.toLowerCase()}.`;
}

/** A plan that was picked by hand: what lies on the desk does not count, and that is said. */
function Named({ source }: { source: Source }) {
  const said = source.plan.result.moved.map((one) => movedWord(one.key, one.value));
  const back = <button type="button" class="bare" onClick={() => choosePrint({ plan: "" }, "Plan of the desk")}>To the plan of what lies on the desk</button>;
  return (
    <>
      {said.length > 0 && <MovedNotice said={said} />}
      <div class="notice row noprint"><span>A plan made earlier: what lies on the desk now does not change it.</span>{back}</div>
    </>
  );
}

/** There is no plan yet, or none with the back that is wanted. */
function Make({ now, source, onMake }: { now: Printing; source: Source | null; onMake: () => void }) {
  return (
    <div class="card stack">
      <p>{source ? "The wet side belongs to the dry one: the two are planned together." : "There is no plan yet of what lies on the desk."}</p>
      <div><button type="button" class="go" onClick={onMake}>{now.wet ? "Make the plan for both" : "Make the plan"}</button></div>
    </div>
  );
}

function Printed({ request, product, sides }: { request: Record<string, unknown>; product: string; sides: number }) {
  const wrong = useSignal<Problem | null>(null);
  const busy = useSignal("");
  const fetched = async (format: "pdf" | "png", then: (address: string) => void, page = 1) => {
    busy.value = format;
    wrong.value = null;
    try {
      const file = await askFile("card", { ...request, format, page });
      then(URL.createObjectURL(file));
    } catch (error) {
      wrong.value = problem(error);
    }
    busy.value = "";
  };
  return (
    <div class="stack noprint printed">
      <div class="row">
        <button type="button" class="go" disabled={busy.value !== ""} onClick={() => void fetched("pdf", open_)}>Print</button>
        <button type="button" disabled={busy.value !== ""} onClick={() => void fetched("pdf", (at) => download(at, `${product}.pdf`))}>Download PDF</button>
        {pictures(product, sides).map(({ label, file }, i) => (
          <button key={file} type="button" disabled={busy.value !== ""} onClick={() => void fetched("png", (at) => download(at, file), i + 1)}>{label}</button>
        ))}
      </div>
      {busy.value && <p role="status" class="soft">Setting the {product}</p>}
      {wrong.value && <Wrong problem={wrong.value} />}
      <p class="soft">Print at 100 %: {product === "sticker" ? "the sticker is 50 mm by 90 mm" : "the briefing is A5"}.</p>
    </div>
  );
}

/** The pictures there are: a label printer takes one side at a time. */
export function pictures(product: string, sides: number): { label: string; file: string }[] {
  if (sides < 2) return [{ label: "Download picture", file: `${product}.png` }];
  return [
    { label: "Picture of the front", file: `${product}.png` },
    { label: "Picture of the wet side", file: `${product}-wet.png` },
  ];
}

/** The PDF in a tab of its own, where the browser prints it. */
function open_(address: string): void {
  if (window.open(address, "_blank")) return;
  tell({ kind: "done", text: "The browser keeps the new tab closed.", action: { label: "Download instead", run: () => download(address, "card.pdf") } });
}

function download(address: string, name: string): void {
  const link = document.createElement("a");
  link.href = address;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
