/** The four tyres at one place, and the car's motion there. */
import { Ellipses, type Limit } from "../../draw/ellipses";
import { decel, percent, setting, speed } from "../../words/units";
import { carAt, fromApex, greatest, type ZoneSetting, type ZoneView } from "./view";

export function Here({ view, at }: { view: ZoneView; at: number }) {
  const step = view.adjuster.step;
  const shown = view.settings.slice(0, 2);
  const limits = view.limits.map((one): Limit => ({ along: one.along_frac, across: one.across_frac }));
  return (
    <>
      <Ellipses
        cars={shown.map((one) => carAt(one, at, setting(one.setting, step)))}
        limits={[limits[0]!, limits[1]!]}
        insideLeft={view.zone.direction !== "right"}
        scale_N={greatest(view)}
        caption={caption(view)}
      />
      <div class="scroll">
        <table>
          <thead>
            <tr><th scope="col">Here</th>{shown.map((one) => <th key={one.setting} scope="col" class="number">{setting(one.setting, step)}</th>)}</tr>
          </thead>
          <tbody>
            {rows.map(([name, say]) => (
              <tr key={name}><th scope="row">{name}</th>{shown.map((one) => <td key={one.setting} class="number">{say(one, fromApex(one, at))}</td>)}</tr>
            ))}
          </tbody>
        </table>
      </div>
    </>
  );
}

const rows: [string, (one: ZoneSetting, k: number) => string][] = [
  ["Speed", (one, k) => speed(one.profile.speed_mps[k]!)],
  ["Deceleration", (one, k) => decel(one.profile.decel_mps2[k]!)],
  ["Cornering", (one, k) => decel(one.profile.lateral_mps2[k]!)],
  ["Pedal, of its most", (one, k) => percent(one.profile.pedal_frac[k]!)],
  ["Front’s part of all braking", (one, k) => (one.road_share_frac[k] == null ? "–" : percent(one.road_share_frac[k]!))],
];

function caption(view: ZoneView): string {
  const turn = view.zone.direction === "none" ? "" : ` The inside is on the ${view.zone.direction}.`;
  const other = view.settings[1] ? ` In dashes: ${setting(view.settings[1].setting, view.adjuster.step)}.` : "";
  return `From above, the car heading up.${turn} Each line round a tyre is all it can hold, the arrow what it is asked for.${other}`;
}
