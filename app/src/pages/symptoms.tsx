/** Tap a zone, say what it did, get the next setting. */
import { useSignal, type Signal } from "@preact/signals";
import { RoadMap } from "../draw/road_map";
import { place, turn } from "../house/address";
import { desk } from "../house/desk";
import { draft } from "../house/draft";
import { useLoaded } from "../house/loaded";
import { keep } from "../house/undo";
import { itemOf } from "../api/library";
import { problem, type Problem } from "../api/call";
import { Link } from "../house/rail";
import { Wrong } from "../parts/notice";
import { planReference, planSoFar } from "./plan/ask";
import { askAdvice, askHistory, whose, zoneOf, type Advised, type Line, type Plan, type Said } from "./symptoms/ask";
import { History } from "./symptoms/history";
import { ZoneRow } from "./symptoms/zone_row";
import "../style/digits.css";
import "../style/symptoms.css";

/** The last answer, with what was told: it stands there until something else is told. */
export interface Last {
  said: Said;
  answer: Advised;
}

export function Symptoms() {
  const { car, road, driver, conditions } = desk.value;
  const revisions = [car, road, driver, conditions].map((one) => itemOf(one)?.revision).join(" ");
  const reference = planReference.value;
  const zones = useLoaded(JSON.stringify([desk.value, revisions, reference]), (signal) => planSoFar(reference, signal));
  const plan = zones.value.value;
  return (
    <article class="symptoms">
      <header>
        <h1>What did it do?</h1>
        <p>Tap the corner, then what the car did there.</p>
      </header>
      {zones.value.wrong && (
        <Wrong problem={zones.value.wrong}>
          {zones.value.wrong.code === "cannot_tell" && <p><Link path="/start" class="button">Answer the four questions first</Link></p>}
        </Wrong>
      )}
      {!plan && zones.value.busy && <p class="soft" role="status">Looking at the corners…</p>}
      {plan && <Reports plan={plan} key={whose()} />}
    </article>
  );
}

function Reports({ plan }: { plan: Plan }) {
  const again = useSignal(0);
  const history = useLoaded(`${whose()} ${again.value}`, () => askHistory());
  const last = draft<Last | null>(`symptoms.last.${whose()}`, null);
  const wrong = useSignal<Problem | null>(null);
  const asking = useSignal<string | null>(null);
  const open = place.value.query.zone ?? "";
  const lines = history.value.value ?? [];
  const report = async (said: Said) => {
    asking.value = said.symptom;
    wrong.value = null;
    try {
      await told(said, last, () => again.value++);
    } catch (error) {
      wrong.value = problem(error);
    }
    asking.value = null;
  };
  const takeBack = async (line: Line) => {
    try {
      await askHistory(line.report);
      if (last.peek()?.said.zone === zoneOf(line)) last.value = null;
    } catch (error) {
      wrong.value = problem(error);
    }
    again.value++;
  };
  return (
    <div class="two">
      <div class="stack">
        <ul class="zonelist">
          {plan.zones.map((zone, at) => (
            <ZoneRow
              key={zone.zone_id}
              zone={zone}
              number={at + 1}
              plan={plan}
              open={open === zone.zone_id}
              lastLine={lines.find((one) => zoneOf(one) === zone.zone_id)}
              last={last.value?.said.zone === zone.zone_id ? last.value : null}
              asking={asking.value}
              wrong={open === zone.zone_id ? wrong.value : null}
              onOpen={() => { wrong.value = null; turn({ zone: open === zone.zone_id ? "" : zone.zone_id }); }}
              onReport={(said) => void report(said)}
              onMore={() => { last.value = null; }}
            />
          ))}
        </ul>
        {wrong.value && !open && <Wrong problem={wrong.value} />}
      </div>
      <div class="stack">
        {plan.outline && <Map plan={plan} open={open} />}
        <History lines={lines} plan={plan} wrong={history.value.wrong} onTakeBack={(line) => void takeBack(line)} />
      </div>
    </div>
  );
}

/** Report, and let it be undone: the report is then taken out of the history again. */
async function told(said: Said, last: Signal<Last | null>, changed: () => void): Promise<void> {
  const before = last.peek();
  let report: string | undefined;
  const redo = async () => {
    const answer = await askAdvice(said);
    last.value = { said, answer };
    const newest = (await askHistory()).find((one) => zoneOf(one) === said.zone);
    report = newest?.report;
    changed();
  };
  await redo();
  keep({
    label: `Report of ${last.peek()!.answer.result.zone_name}`,
    redo,
    undo: async () => {
      if (report) await askHistory(report);
      last.value = before;
      changed();
    },
  });
}

function Map({ plan, open }: { plan: Plan; open: string }) {
  const outline = plan.outline!;
  const places = plan.zones.map((zone, at) => ({ id: zone.zone_id, s_m: zone.apex_s_m ?? 0, number: at + 1, name: zone.name }));
  return (
    <section class="card desktop" aria-label="Map">
      <RoadMap title={plan.circuit_name} outline={outline} places={places} current={open} onPick={(zone) => turn({ zone })} />
    </section>
  );
}
