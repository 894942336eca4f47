/** Show: the car driven at the planned setting and at wrong ones, so that nobody has to try. */
import type { Envelope, Of } from "../api/types";
import { job } from "../api/call";
import { titleOf, useKeptWork } from "../api/kept";
import { place } from "../house/address";
import { desk, onRoad } from "../house/desk";
import { useLoaded } from "../house/loaded";
import { Progress, Wrong } from "../parts/notice";
import { showRequest, wishOf } from "./show/ask";
import { Runs } from "./show/runs";
import { Wishes } from "./show/wishes";
import "../style/show.css";

export function Show() {
  const now = wishOf(place.value.query);
  const request = showRequest(now);
  const planned = usePlanned();
  const { car, road, driver, conditions } = desk.value;
  const kept = useKeptWork<Envelope<Of<"Show">>>(
    "show",
    [car, road, driver, conditions, now.zone].join(" "),
    titleOf("show", request),
  );
  const asked = planned.value.wrong;
  const lacking = now.way === "chosen" && now.settings.length === 0;
  return (
    <article>
      <header>
        <h1>See what a wrong setting does</h1>
        <p>A driver practises the planned setting. Then only the setting changes: same brake point, same pedal.</p>
      </header>
      <div class="show">
        <section class="card stack noprint" aria-label="What to drive">
          {asked && <Wrong problem={asked} />}
          <Wishes now={now} plan={planned.value.value} />
          <button type="button" class="go" disabled={lacking || kept.busy.value} onClick={() => kept.start(showRequest(now))}>
            {kept.busy.value ? "Driving" : "Drive it"}
          </button>
          {lacking && <p class="soft">Pick at least one setting to try.</p>}
        </section>
        <section class="stack" aria-label="What happened">
          {kept.busy.value && <Progress state={kept.state} onStop={kept.stop} label="Driving" />}
          {kept.wrong.value && <Wrong problem={kept.wrong.value} />}
          {kept.answer.value && kept.id.value
            ? <Runs answer={kept.answer.value} id={kept.id.value} files={kept.files.value} />
            : !kept.busy.value && <p class="card soft">Nothing driven yet for this car and zone. Press “Drive it”: it takes some seconds.</p>}
        </section>
      </div>
    </article>
  );
}

/** The zones of what lies on the desk with their planned settings, and the adjuster. */
function usePlanned() {
  const request = { ...onRoad(), conditions: desk.value.conditions };
  return useLoaded(JSON.stringify(request), async (signal) => (await job<Envelope<Of<"Live">>>("live", request, signal)).result);
}
