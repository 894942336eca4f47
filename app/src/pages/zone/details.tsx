/** For the engineer: every wheel at every place, and every setting of the zone. */
import { percent, seconds, setting, decel, length } from "../../words/units";
import { often } from "../plan/cell";
import { WHEELS, type ZoneSetting, type ZoneView } from "./view";

export function Details({ view }: { view: ZoneView }) {
  return (
    <section class="stack" aria-label="In numbers">
      <details>
        <summary>Every setting in numbers</summary>
        <Field view={view} />
      </details>
      {view.settings.map((one) => (
        <details key={one.setting}>
          <summary>Every wheel at {setting(one.setting, view.adjuster.step)}</summary>
          <Wheels one={one} />
        </details>
      ))}
    </section>
  );
}

function Field({ view }: { view: ZoneView }) {
  const best = Math.min(...view.field.filter((cell) => cell.feasible).map((cell) => cell.cost_us));
  const heads = ["Setting", "Front share", "Braking distance", "Time", "▲ Front lets go", "▼ Rear lets go", "First to lock", "at", "Lost against the best"];
  return (
    <div class="scroll">
      <table>
        <thead><tr>{heads.map((head) => <th key={head} scope="col">{head}</th>)}</tr></thead>
        <tbody>
          {view.field.map((cell) => (
            <tr key={cell.setting} class={cell.setting === view.plan_setting ? "planned" : undefined}>
              <th scope="row">{setting(cell.setting, view.adjuster.step)}{cell.setting === view.plan_setting ? " plan" : ""}</th>
              <td class="number">{percent(cell.front_share_frac)}</td>
              <td class="number">{length(cell.brake_distance_m, 1)}</td>
              <td class="number">{seconds(cell.time_s, 3)}</td>
              <td class="number">{often(cell.p_front)}</td>
              <td class="number">{often(cell.p_rear)}</td>
              <td>{WHEELS[cell.first_lock_wheel] ?? "–"}</td>
              <td class="number">{decel(cell.first_lock_decel_mps2)}</td>
              <td class="number">{cell.feasible ? seconds((cell.cost_us - best) / 1e6, 3) : "not possible"}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

function Wheels({ one }: { one: ZoneSetting }) {
  const kN = (force: number) => (force / 1000).toFixed(2);
  return (
    <div class="scroll">
      <table>
        <caption>Load, braking and cornering force in kN, and the part used</caption>
        <thead>
          <tr>
            <th scope="col" rowSpan={2}>Before apex</th>
            {one.wheels.map((wheel) => <th key={wheel.wheel} scope="colgroup" colSpan={4}>{WHEELS[wheel.wheel]}</th>)}
          </tr>
          <tr>{one.wheels.flatMap((wheel) => ["load", "along", "across", "used"].map((head) => <th key={wheel.wheel + head} scope="col">{head}</th>))}</tr>
        </thead>
        <tbody>
          {one.profile.s_m.map((s, k) => (
            <tr key={s}>
              <th scope="row">{length(-s || 0)}</th>
              {one.wheels.flatMap((wheel) => [
                <td key={`${wheel.wheel} l`} class="number">{kN(wheel.load_N[k]!)}</td>,
                <td key={`${wheel.wheel} a`} class="number">{kN(wheel.along_N[k]!)}</td>,
                <td key={`${wheel.wheel} c`} class="number">{kN(wheel.across_N[k]!)}</td>,
                <td key={`${wheel.wheel} u`} class="number">{wheel.sliding[k] ? "slides" : percent(wheel.use_frac[k]!)}</td>,
              ])}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
