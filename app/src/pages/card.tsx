/** Card: what is handed over, seen as it prints. */
import { useSignal } from "@preact/signals";
import { ask, askFile, problem, type Problem } from "../api/call";
import { place, turn, type Query } from "../house/address";
import { useLoaded } from "../house/loaded";
import { tell } from "../house/tell";
import { keep } from "../house/undo";
import { Cautions, Progress, Warnings, Wrong } from "../parts/notice";
import { units } from "../words/units";
import { Choosing } from "./card/choosing";
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
  const own = sources.own;
  const wrong = (now.plan ? sources.named.value.wrong : own.wrong.value) ?? null;
  const waiting = own.busy.value || (now.plan !== "" && sources.named.value.busy);
  return (
    <article>
      <header>
        <h1>The card</h1>
        <p>{source ? about(source) : "What the driver takes along: a sticker for the cockpit, a briefing for the paddock."}</p>
      </header>
      <div class="handover">
        <section class="card stack noprint" aria-label="What to print">
          <Choosing now={now} source={source} />
        </section>
        <div class="stack">
          {own.busy.value && <Progress state={own.state} onStop={own.stop} label="Making the plan" />}
          {wrong && <Wrong problem={wrong} />}
          {!waiting && !request && <Make now={now} source={source} onMake={() => { choosePrint({ plan: "" }, "Plan of the desk"); sources.make(now.wet); }} />}
          {request && shown.value.wrong && <Wrong problem={shown.value.wrong} />}
          {request && shown.value.value && (
            <section aria-label="As it prints">
              <Paper pages={shown.value.value.pages} busy={shown.value.busy} product={shown.value.value.product} />
              <Printed request={request} product={now.product} />
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

/** There is no plan yet, or none with the back that is wanted. */
function Make({ now, source, onMake }: { now: Printing; source: Source | null; onMake: () => void }) {
  return (
    <div class="card stack">
      <p>{source ? "The wet side belongs to the dry one: the two are planned together." : "There is no plan yet of what lies on the desk."}</p>
      <div><button type="button" class="go" onClick={onMake}>{now.wet ? "Make the plan for both" : "Make the plan"}</button></div>
    </div>
  );
}

function Printed({ request, product }: { request: Record<string, unknown>; product: string }) {
  const wrong = useSignal<Problem | null>(null);
  const busy = useSignal("");
  const fetched = async (format: "pdf" | "png", then: (address: string) => void) => {
    busy.value = format;
    wrong.value = null;
    try {
      const file = await askFile("card", { ...request, format });
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
        <button type="button" disabled={busy.value !== ""} onClick={() => void fetched("png", (at) => download(at, `${product}.png`))}>Download picture</button>
      </div>
      {busy.value && <p role="status" class="soft">Setting the {product}</p>}
      {wrong.value && <Wrong problem={wrong.value} />}
      <p class="soft">Print at 100 %: {product === "sticker" ? "the sticker is 50 mm by 90 mm" : "the briefing is A5"}.</p>
    </div>
  );
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
