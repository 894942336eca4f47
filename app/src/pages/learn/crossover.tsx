/** The crossover first: the setting at which both ends slip alike, in the adjuster's own numbers. */
import type { Of } from "../../api/types";
import { useWidth } from "../../draw/wide";
import { Figure } from "../../parts/figure";
import { decel, speed } from "../../words/units";

type Result = Of<"Learn">;

export function Crossover({ result }: { result: Result }) {
  const { crossover } = result;
  if (crossover.setting === null) return <NotTold crossover={crossover} />;
  const half = halfWidth(crossover);
  const places = half < 1 ? 1 : 0;
  return (
    <section class="card crossover" aria-labelledby="cross-head">
      <h2 id="cross-head">Both ends slip alike at</h2>
      <p class="big">
        {crossover.setting.toFixed(places)} <small>±{half.toFixed(places)}</small>
      </p>
      <p>{under(crossover)}</p>
      <Range crossover={crossover} driven={drivenSettings(result)} places={places} />
      <p class="soft">Slipping alike is not yet locking together: a harder stop moves load forward, so this does not say which end lets go first. {crossover.because}</p>
    </section>
  );
}

function halfWidth(crossover: Result["crossover"]): number {
  return crossover.low_90 === null || crossover.high_90 === null ? 0 : (crossover.high_90 - crossover.low_90) / 2;
}

function under({ decel_mps2, speed_mps, brakings, inside }: Result["crossover"]): string {
  const where = decel_mps2 === null || speed_mps === null ? "" : `At ${decel(decel_mps2)} from ${speed(speed_mps)}`;
  const from = `${where ? `${where}, f` : "F"}rom ${brakings} brakings; 9 such intervals of 10 hold the truth.`;
  return inside ? from : `${from} It lies outside the settings that were driven: take it as a direction.`;
}

function drivenSettings(result: Result): number[] {
  return [...new Set(result.logs.flatMap((log) => log.settings))].sort((a, b) => a - b);
}

function NotTold({ crossover }: { crossover: Result["crossover"] }) {
  return (
    <section class="card" aria-labelledby="cross-head">
      <h2 id="cross-head">Where both ends slip alike cannot be told yet</h2>
      <p>{crossover.because}</p>
      {crossover.would_settle && <p><strong>It would take:</strong> {crossover.would_settle}</p>}
    </section>
  );
}

/** The interval on the scale of the adjuster, with the settings that were driven. */
function Range(props: RangeProps) {
  const [at, width] = useWidth<HTMLDivElement>(480);
  return <div ref={at}><Drawn {...props} width={Math.max(240, Math.min(width.value, 544))} /></div>;
}

interface RangeProps {
  crossover: Result["crossover"];
  driven: number[];
  places: number;
}

function Drawn({ crossover, driven, places, width }: RangeProps & { width: number }) {
  const low = crossover.low_90 ?? crossover.setting!;
  const high = crossover.high_90 ?? crossover.setting!;
  const all = [...driven, low, high];
  const from = Math.min(...all);
  const span = Math.max(...all) - from || 1;
  const x = (setting: number) => 24 + ((setting - from) / span) * (width - 48);
  return (
    <Figure
      title="Crossover on the adjuster's scale"
      about={`Between ${low.toFixed(places)} and ${high.toFixed(places)}; driven were ${driven.join(", ") || "no known settings"}.`}
      width={width}
      height={74}
    >
      <line class="scale" x1={24} x2={width - 24} y1={38} y2={38} />
      <rect class="interval" x={x(low)} width={Math.max(x(high) - x(low), 2)} y={28} height={20} rx={4} />
      <line class="middle" x1={x(crossover.setting!)} x2={x(crossover.setting!)} y1={22} y2={54} />
      {driven.map((setting) => (
        <g key={setting}>
          <circle class="dot" cx={x(setting)} cy={38} r={5} />
          <text x={x(setting)} y={68} text-anchor="middle" font-size="12">{setting}</text>
        </g>
      ))}
    </Figure>
  );
}
