/** What one setting would do in one zone. */
import type { Of } from "../../api/types";
import { Link } from "../../house/rail";
import { decel, length, percent, seconds, setting } from "../../words/units";
import type { Place } from "../../draw/staircase";
import { indexOf, losses, stepsForward, type Stairs } from "./stairs";

const WHEELS: Record<string, string> = {
  front_inside: "inside front",
  front_outside: "outside front",
  rear_inside: "inside rear",
  rear_outside: "outside rear",
  none: "none",
};

/** A cell in one sentence, as screen readers are told it while one moves through a zone. */
export function cellInWords(stairs: Stairs, { zone, index }: Place): string {
  const found = stairs.zones[zone]!;
  const loss = losses(found)[index];
  const said = [setting(stairs.settings[index]!, stairs.step)];
  if (index === indexOf(stairs, found.setting)) said.push("the plan’s own");
  said.push(loss == null ? "not possible here" : loss === 0 ? "the best here" : `loses ${seconds(loss, 3)} against the best`);
  return said.join(", ");
}

interface Props {
  stairs: Stairs;
  place: Place;
  plan: Of<"Plan"> | null;
  onClose: () => void;
}

export function CellPanel({ stairs, place, plan, onClose }: Props) {
  const zone = stairs.zones[place.zone]!;
  const value = stairs.settings[place.index]!;
  const shown = setting(value, stairs.step);
  const compared = { settings: value === zone.setting ? "" : `${zone.setting},${value}` };
  return (
    <section class="card stack" aria-label="One setting in one zone" aria-live="polite">
      <div class="row">
        <h2>{shown} in {zone.name}</h2>
        <button type="button" class="bare" onClick={onClose}>Close</button>
      </div>
      <p>{against(stairs, place)}</p>
      <Numbers stairs={stairs} place={place} cell={cellOf(plan, place)} />
      <p class="row noprint">
        <Link class="button" path={`/zone/${zone.id}`} more={compared}>Compare in Zone</Link>
        <Link class="button" path="/show" more={{ zone: zone.id, tried: String(value) }}>Show it</Link>
      </p>
    </section>
  );
}

function cellOf(plan: Of<"Plan"> | null, place: Place): Of<"Cell"> | null {
  return plan?.zones[place.zone]?.field[place.index] ?? null;
}

function against(stairs: Stairs, { zone, index }: Place): string {
  const found = stairs.zones[zone]!;
  const steps = stepsForward(stairs, found.setting, stairs.settings[index]!);
  const loss = losses(found)[index];
  if (loss == null) return "The car cannot do this zone at this setting.";
  const where = steps === 0 ? "This is the plan’s setting" : `${Math.abs(steps)} ${Math.abs(steps) === 1 ? "step" : "steps"} to the ${steps > 0 ? "front" : "rear"} of the plan`;
  const lost = loss < 0.0005 ? "the best there is for this zone alone" : `${seconds(loss, 3)} a lap lost against the best for this zone alone`;
  return `${where}: ${lost}.`;
}

/** The numbers of a cell beside those of the plan's setting. */
function Numbers({ stairs, place, cell }: { stairs: Stairs; place: Place; cell: Of<"Cell"> | null }) {
  const zone = stairs.zones[place.zone]!;
  const own = indexOf(stairs, zone.setting);
  const i = place.index;
  const rows: [string, (k: number) => string][] = [
    ["Braking distance", (k) => length(zone.brake_m[k]!, 1)],
    ["Time in the zone", (k) => seconds(zone.time_s[k]!)],
    ["▲ Front lets go", (k) => often(zone.pFront[k]!)],
    ["▼ Rear lets go", (k) => often(zone.pRear[k]!)],
  ];
  return (
    <div class="scroll">
      <table>
        <thead>
          <tr><th scope="col"></th><th scope="col" class="number">{setting(stairs.settings[i]!, stairs.step)}</th>{i !== own && <th scope="col" class="number">plan {setting(zone.setting, stairs.step)}</th>}</tr>
        </thead>
        <tbody>
          {rows.map(([name, say]) => (
            <tr key={name}><th scope="row">{name}</th><td class="number">{say(i)}</td>{i !== own && <td class="number">{say(own)}</td>}</tr>
          ))}
        </tbody>
      </table>
      {cell && <p class="soft">In a straight line the {WHEELS[cell.first_lock_wheel]} wheel locks first, at {decel(cell.first_lock_decel_mps2)}; the front makes {percent(cell.front_share_frac)} of the braking.</p>}
    </div>
  );
}

/** A chance per pass as people count: "1 in 40 passes". */
export function often(chance: number): string {
  if (chance < 0.0005) return "hardly ever";
  if (chance > 0.5) return `${percent(chance)} of passes`;
  const of = 1 / chance;
  const round = of < 20 ? Math.round(of) : of < 100 ? Math.round(of / 5) * 5 : Math.round(of / 50) * 50;
  return `1 in ${round} passes`;
}
