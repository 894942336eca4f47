/** The lists of a debrief: what went wrong, the laps, and what these channels cannot tell. */
import type { Of } from "../../api/types";
import { percent, seconds } from "../../words/units";
import { inWords } from "./mapping";
import { EVENTS, signOf, type Event } from "./words";

type Debrief = Of<"Debrief">;

interface Row {
  kind: Event["kind"];
  zone: string;
  events: Event[];
}

/** Events of one kind in one zone together. */
export function gathered(result: Pick<Debrief, "events" | "zones">): Row[] {
  const rows: Row[] = [];
  for (const kind of Object.keys(EVENTS) as Event["kind"][])
    for (const zone of result.zones) {
      const events = result.events.filter((one) => one.kind === kind && one.zone_id === zone.zone_id);
      if (events.length) rows.push({ kind, zone: zone.name, events });
    }
  return rows;
}

export function EventsTable({ result }: { result: Debrief }) {
  const rows = gathered(result);
  return (
    <section class="card">
      <h2>What went wrong</h2>
      {rows.length === 0 && <p>Nothing that these channels show.</p>}
      {rows.length > 0 && (
        <div class="scroll" tabIndex={0} role="region" aria-label="Events">
          <table class="events">
            <thead><tr><th scope="col">What</th><th scope="col">Where</th><th scope="col">Laps</th><th scope="col" class="number">Longest</th><th scope="col" class="number">Sure</th><th scope="col">Seen in</th></tr></thead>
            <tbody>
              {rows.map(({ kind, zone, events }) => (
                <tr key={kind + zone}>
                  <th scope="row"><span class={events[0]!.axle ?? ""} aria-hidden="true">{signOf(events[0]!)}</span> {EVENTS[kind]}<small> {wheels(events)}</small></th>
                  <td>{zone}</td>
                  <td>{[...new Set(events.map((one) => one.lap_id))].join(", ")}</td>
                  <td class="number">{seconds(Math.max(...events.map((one) => one.duration_s)))}</td>
                  <td class="number">{percent(events.reduce((sum, one) => sum + one.confidence_frac, 0) / events.length)}</td>
                  <td><small>{[...new Set(events.flatMap((one) => one.channels))].map(inWords).join(", ")}</small></td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      )}
    </section>
  );
}

function wheels(events: Event[]): string {
  const found = [...new Set(events.map((one) => one.wheel).filter((one): one is string => one !== null))];
  if (found.length) return found.map((one) => one.replace("_", " ")).join(" and ");
  return events[0]?.axle ?? "";
}

const KINDS: Record<Of<"DebriefLap">["kind"], string> = {
  full: "full",
  in: "in lap",
  out: "out lap",
  slow: "slow",
  partial: "part of a lap",
};

export function LapsTable({ result }: { result: Debrief }) {
  const best = Math.min(...result.laps.filter((lap) => lap.kind === "full").map((lap) => lap.duration_s));
  return (
    <section class="card">
      <h2>Laps</h2>
      <div class="scroll" tabIndex={0} role="region" aria-label="Laps">
        <table>
          <thead><tr><th scope="col">Lap</th><th scope="col" class="number">Time</th><th scope="col" class="number">To the best</th><th scope="col">Kind</th></tr></thead>
          <tbody>
            {result.laps.map((lap) => (
              <tr key={lap.lap_id}>
                <th scope="row">{lap.lap_id}</th>
                <td class="number">{seconds(lap.duration_s)}</td>
                <td class="number">{lap.kind !== "full" ? "" : lap.duration_s === best ? "best" : seconds(lap.duration_s - best, 2, true)}</td>
                <td>{KINDS[lap.kind]}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

export function Untold({ result }: { result: Debrief }) {
  if (!result.cannot_tell.length) return null;
  return (
    <section class="card">
      <h2>What these channels cannot tell</h2>
      <dl>
        {result.cannot_tell.map((one) => (
          <div key={one.what}>
            <dt><strong>{one.what}</strong></dt>
            <dd>{one.because}. What would settle it: {one.would_settle}.</dd>
          </div>
        ))}
      </dl>
    </section>
  );
}
