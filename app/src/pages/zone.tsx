/** One zone: what each tyre does on the way to the apex, and what another setting would change. */
import { job, problem } from "../api/call";
import type { Envelope } from "../api/types";
import { go, parts, place, turn } from "../house/address";
import { desk } from "../house/desk";
import { draft } from "../house/draft";
import { useLoaded } from "../house/loaded";
import { Link } from "../house/rail";
import { Select, Slider } from "../parts/field";
import { Warnings, Wrong } from "../parts/notice";
import { length, setting } from "../words/units";
import { asked, key, planReference } from "./plan/ask";
import { Moved } from "./plan/moved";
import { Distances, Motion, Shares } from "./zone/charts";
import { Details } from "./zone/details";
import { Here } from "./zone/here";
import { Says } from "./zone/says";
import { startAt, type ZoneSetting, type ZoneView } from "./zone/view";
import "../style/plan.css";
import "../style/zone.css";

export function ZonePage() {
  const id = parts()[1] ?? "";
  const settings = listed(place.value.query.settings ?? "");
  const plan = planReference.value;
  const loaded = useLoaded(`${key.value} ${id} ${settings.join()} ${plan}`, (signal) => {
    const body = { ...asked.peek(), conditions: desk.peek().conditions, settings, ...(id && { zone: id }) };
    const look = (more: object) => job<Envelope<ZoneView>>("zone", { ...body, ...more }, signal);
    // Works are kept for a while only; without its work the plan of the middle of the car counts.
    return plan ? look({ plan }).catch((thrown) => (problem(thrown).code === "unknown_reference" ? look({}) : Promise.reject(thrown))) : look({});
  });
  const { value, wrong, busy } = loaded.value;
  return (
    <>
      <header><h1>{value ? value.result.zone.name : "Zone"}</h1></header>
      <div class="stack zone" aria-busy={busy}>
        <Moved />
        {wrong && <Wrong problem={wrong}>{id && <p><Link path="/zone" more={{ settings: "" }}>To the first zone</Link></p>}</Wrong>}
        {value ? <Seen view={value.result} busy={busy} rested={plan !== ""} /> : !wrong && <p class="soft" role="status">Working out the zone …</p>}
        {value && <Warnings warnings={value.warnings.filter((one) => !one.zone_id || one.zone_id === value.result.zone.zone_id)} />}
      </div>
    </>
  );
}

/** "54,55.5" as numbers, at most four. */
export function listed(text: string): number[] {
  return text.split(",").filter(Boolean).map(Number).filter(Number.isFinite).slice(0, 4);
}

function Seen({ view, busy, rested }: { view: ZoneView; busy: boolean; rested: boolean }) {
  const back = draft(`zone.at ${view.zone.zone_id}`, startAt(view));
  const first = view.settings[0]!;
  const other = view.settings[1] ?? null;
  const at = Math.min(back.value, first.profile.s_m.length - 1);
  return (
    <>
      <Around view={view} />
      <Says view={view} first={first} other={other} />
      {!rested && <p class="soft">Planned for the middle of the car file; <Link path="/plan" more={{ settings: "" }}>the plan</Link> counts its doubts too.</p>}
      <Picks view={view} first={first} other={other} busy={busy} />
      <div class="two even">
        <div class="stack">
          <section class="card" aria-label="Tyres">
            <Scrub first={first} at={at} onMove={(to) => (back.value = to)} />
            <Here view={view} at={at} />
          </section>
        </div>
        <div class="stack">
          <section class="card"><Distances view={view} /></section>
          <section class="card"><Shares view={view} at={at} /></section>
          <section class="card"><Motion view={view} at={at} what="speed" /></section>
          <section class="card"><Motion view={view} at={at} what="decel" /></section>
        </div>
      </div>
      <Details view={view} />
    </>
  );
}

/** The other zones of the lap. */
function Around({ view }: { view: ZoneView }) {
  const at = view.zones.findIndex((zone) => zone.zone_id === view.zone.zone_id);
  const to = (id: string) => go(`/zone/${id}`, { settings: "" });
  const beside = (step: number) => view.zones.at((at + step) % view.zones.length)!;
  return (
    <nav class="row noprint" aria-label="Zones of the lap">
      <Select
        label="Zone"
        value={view.zone.zone_id}
        options={view.zones.map((zone, i) => ({ value: zone.zone_id, label: `${i + 1} ${zone.name}` }))}
        onPick={to}
      />
      <Link class="button" path={`/zone/${beside(-1).zone_id}`} more={{ settings: "" }}>← {beside(-1).name}</Link>
      <Link class="button" path={`/zone/${beside(1).zone_id}`} more={{ settings: "" }}>{beside(1).name} →</Link>
    </nav>
  );
}

interface PicksProps {
  view: ZoneView;
  first: ZoneSetting;
  other: ZoneSetting | null;
  busy: boolean;
}

/** Which setting is looked at, and which beside it. */
function Picks({ view, first, other, busy }: PicksProps) {
  const step = view.adjuster.step;
  const label = (value: number) => {
    const said = [value === view.plan_setting && "plan", value === view.lap_setting && "lap", value === view.own_setting && "best here"].filter(Boolean);
    return setting(value, step) + (said.length ? ` (${said.join(", ")})` : "");
  };
  const options = view.field.map((cell) => ({ value: String(cell.setting), label: label(cell.setting) }));
  const pick = (one: number, two: number | null) => turn({ settings: two === null ? String(one) : `${one},${two}` }, true);
  return (
    <div class="row picks noprint">
      <Select label="Setting" value={String(first.setting)} options={options} onPick={(to) => pick(Number(to), other?.setting ?? null)} />
      <Select
        label="Beside it, in outline"
        value={other ? String(other.setting) : ""}
        options={[{ value: "", label: "nothing" }, ...options]}
        onPick={(to) => pick(first.setting, to === "" ? null : Number(to))}
      />
      <Link class="button" path="/show" more={{ zone: view.zone.zone_id, try: other ? String(other.setting) : "", settings: "" }}>Show it driven</Link>
      {busy && <span class="soft" role="status">…</span>}
    </div>
  );
}

function Scrub({ first, at, onMove }: { first: ZoneSetting; at: number; onMove: (to: number) => void }) {
  const last = first.profile.s_m.length - 1;
  const before = -first.profile.s_m[last - at]!;
  const shown = before < 0.5 ? "at the apex" : `${length(before)} before the apex`;
  // The slider runs in driving order: from where he brakes, on the left, to the apex.
  return <Slider label="Where" min={0} max={last} step={1} value={last - at} shown={shown} onMove={(to) => onMove(last - to)} />;
}
