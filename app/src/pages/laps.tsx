/** Laps: logs brought in, their columns named, and what the driving was like zone by zone. */
import type { Envelope, Of } from "../api/types";
import { ofKind, itemOf } from "../api/library";
import { useKeptWork } from "../api/kept";
import { place } from "../house/address";
import { desk } from "../house/desk";
import { draft } from "../house/draft";
import { Choices, Select, TextField } from "../parts/field";
import { Progress, Wrong } from "../parts/notice";
import { Channels } from "./laps/channels";
import { choose, chosenOf, debriefRequest, type Chosen, type Names } from "./laps/chosen";
import { Debriefed } from "./laps/debriefed";
import { Logs } from "./laps/logs";
import "../style/laps.css";

export function Laps() {
  const now = chosenOf(place.value.query);
  const names = draft<Names>("laps.names", { driver: "", other: "" });
  const own = names.value.driver || itemOf(desk.value.driver)?.name || "";
  const request = debriefRequest(now, { ...names.value, driver: own });
  const kept = useKeptWork<Envelope<Of<"Debrief">>>(
    "debrief",
    now.logs.length ? [...now.logs, "|", now.against, now.own ? "own" : desk.value.road].join(" ") : null,
    { logs: request.logs, against: request.against, circuit: request.circuit },
  );
  const found = kept.answer.value && kept.id.value ? { answer: kept.answer.value, id: kept.id.value } : null;
  return (
    <article class="laps">
      <header>
        <h1>What the laps show</h1>
        <p>Drop the logs of a driver: what to work on first, then every zone of every lap.</p>
      </header>
      <div class="stack">
        {found ? (
          <details class="noprint">
            <summary>{said(now)}</summary>
            <div class="stack">
              <Logs now={now} />
              <Asking {...{ now, names, own, kept, request }} again />
            </div>
          </details>
        ) : <Logs now={now} />}
        {kept.busy.value && <Progress state={kept.state} onStop={kept.stop} label="Debriefing" />}
        {kept.wrong.value && <Wrong problem={kept.wrong.value} />}
        {found && <Debriefed key={found.id} answer={found.answer} id={found.id} files={kept.files.value} now={now} />}
        <Channels now={now} />
        {!found && now.logs.length > 0 && <Asking {...{ now, names, own, kept, request }} />}
      </div>
    </article>
  );
}

/** Whose logs are looked at, in a line. */
function said(now: Chosen): string {
  const own = now.logs.map((one) => one.slice("logs/".length)).join(", ");
  return now.against ? `${own} against ${now.against.slice("logs/".length)}` : own;
}

interface AskingProps {
  now: Chosen;
  names: { value: Names };
  own: string;
  kept: ReturnType<typeof useKeptWork>;
  request: object;
  again?: boolean;
}

function Asking({ now, names, own, kept, request, again }: AskingProps) {
  const road = desk.value.road;
  const fields = (
    <>
      <div class="row fields">
        <TextField label="Driver" value={names.value.driver} placeholder={own} onInput={(driver) => (names.value = { ...names.value, driver })} size={18} />
        {now.against && <TextField label="Other driver" value={names.value.other} onInput={(other) => (names.value = { ...names.value, other })} size={18} />}
        <Select label="Hold against a plan" value={now.plan} options={plans(now.plan)} onPick={(plan) => choose({ plan }, "Plan held against")} />
      </div>
      <Choices
        label="Circuit"
        value={now.own || !road.startsWith("circuits/") ? "log" : "desk"}
        options={[
          ...(road.startsWith("circuits/") ? [{ value: "desk", label: `${itemOf(road)?.name ?? road}, from the desk` }] : []),
          { value: "log", label: "made from the log" },
        ]}
        onPick={(one) => choose({ circuit_from: one === "log" ? "log" : "" }, "Circuit of the laps")}
      />
    </>
  );
  return (
    <section class="card stack noprint" aria-label="Debrief">
      <h2>Debrief</h2>
      {fields}
      <div class="row">
        <button type="button" class={again ? "" : "go"} disabled={kept.busy.value || !now.logs.length} onClick={() => kept.start(request)}>
          {kept.busy.value ? "Debriefing" : again ? "Debrief again" : "Debrief these laps"}
        </button>
      </div>
    </section>
  );
}

function plans(now: string): { value: string; label: string }[] {
  const known = ofKind("plans").map((one) => ({ value: `plans/${one.id}`, label: one.name }));
  if (now && !known.some((one) => one.value === now)) known.unshift({ value: now, label: now });
  return [{ value: "", label: "none" }, ...known];
}
