/** Show: the car driven at the planned setting and at wrong ones, so that nobody has to try. */
import { useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import type { Envelope, Of } from "../api/types";
import { job } from "../api/call";
import { useKeptWork } from "../api/kept";
import { place } from "../house/address";
import { desk } from "../house/desk";
import { useLoaded } from "../house/loaded";
import { Mind, Progress, Wrong } from "../parts/notice";
import { asked, key, useRested } from "./plan/ask";
import { Moved } from "./plan/moved";
import { harder, newerThan, settingOf, showRequest, wish, wishOf, type Wish } from "./show/ask";
import { Runs } from "./show/runs";
import { Wishes } from "./show/wishes";
import "../style/show.css";

type ShowAnswer = Envelope<Of<"Show">>;

export function Show() {
  const now = wishOf(place.value.query);
  const zones = useZones();
  const drive = useDriving(now);
  const { kept, plan } = drive;
  const lacking = now.way === "chosen" && now.settings.length === 0;
  const driven = kept.answer.value;
  const more = drive.busy ? undefined : harder(now.press);
  const press = () => {
    wish({ press: String(more) }, "Pedal");
    drive.begin();
  };
  const newer = driven && !kept.busy.value ? newerThan(driven, now, plan.now?.answer ?? null) : [];
  return (
    <article>
      <header>
        <h1>See what a wrong setting does</h1>
        <p>A driver practises the planned setting. Then only the setting changes: same brake point, same pedal.</p>
      </header>
      <div class="stack">
        <Moved />
        <div class="show">
          <section class="card stack noprint" aria-label="What to drive">
            {zones.value.wrong && <Wrong problem={zones.value.wrong} />}
            <Wishes now={now} plan={zones.value.value} planned={settingOf(plan.now?.answer ?? null, now.zone)} />
            <button type="button" class="go" disabled={lacking || drive.busy} onClick={drive.begin}>
              {drive.busy ? "Driving" : "Drive it"}
            </button>
            {lacking && <p class="soft">Pick at least one setting to try.</p>}
          </section>
          <section class="stack" aria-label="What happened">
            {plan.work && <Progress state={plan.work.state} onStop={drive.stop} label="Making the plan" />}
            {drive.waiting && !plan.work && <p class="soft" role="status">The plan comes first.</p>}
            {kept.busy.value && <Progress state={kept.state} onStop={kept.stop} label="Driving" />}
            {kept.wrong.value && <Wrong problem={kept.wrong.value} />}
            {newer.length > 0 && (
              <Mind><p><strong>These runs are older than the choices on this page.</strong> Changed since: {newer.join(", ")}. Drive it again to see what is chosen now.</p></Mind>
            )}
            {driven && kept.id.value
              ? <Runs answer={driven} id={kept.id.value} files={kept.files.value} onHarder={more ? press : undefined} />
              : !drive.busy && <p class="card soft">Nothing driven yet for this car and zone. Press “Drive it”: it takes some seconds.</p>}
          </section>
        </div>
      </div>
    </article>
  );
}

/** The runs and the plan they rest on: that of the page Plan, made first where it is not there. */
function useDriving(now: Wish) {
  const { road } = desk.value;
  const { car, circuit, sheet, driver, conditions, zone } = showRequest(now);
  const kept = useKeptWork<ShowAnswer>("show", [car, road, driver, conditions, now.zone].join(" "), { car, circuit, sheet, driver, conditions, zone });
  const plan = useRested();
  const waiting = useSignal(false);
  const rests = useSignal(""); // the plan the runs under way were asked with
  const start = (reference: string) => {
    waiting.value = false;
    rests.value = reference;
    kept.start(showRequest(now, reference));
  };
  useEffect(() => {
    if (!waiting.value) return;
    if (plan.now) start(`works/${plan.now.work_id}`);
    else if (plan.wrong) start(""); // the job makes the plan itself, or says what is wrong with it
  }, [waiting.value, plan.now, plan.wrong]);
  const lost = kept.wrong.value?.code === "unknown_reference" && rests.value !== "";
  useEffect(() => {
    if (lost) start(""); // works are kept for a while only
  }, [lost]);
  return {
    kept,
    plan,
    waiting: waiting.value,
    busy: kept.busy.value || waiting.value,
    begin: () => (waiting.value = true),
    stop: () => {
      waiting.value = false;
      plan.work?.cancel();
    },
  };
}

/** The zones of what lies on the desk, and the adjuster: there at once, before the plan is. */
function useZones() {
  return useLoaded(key.value, async (signal) => {
    const body = { ...asked.peek(), conditions: desk.peek().conditions };
    return (await job<Envelope<Of<"Live">>>("live", body, signal)).result;
  });
}
