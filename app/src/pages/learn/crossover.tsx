/** The crossovers first: where both ends slip alike, and where both lock together, in the adjuster's own numbers. */
import type { Of } from "../../api/types";
import { useWidth } from "../../draw/wide";
import { Figure } from "../../parts/figure";
import { sentence } from "../../words/text";
import { decel, setting, speed } from "../../words/units";

type Result = Of<"Learn">;

export function Crossover({ result }: { result: Result }) {
  return (
    <section class="card stack" aria-label="Crossovers">
      <div class="crossovers">
        <Alike crossover={result.crossover} />
        <Lock lock={result.lock} />
      </div>
      <Scale result={result} />
      {result.lock.text && <p>{result.lock.text}</p>}
    </section>
  );
}

function Alike({ crossover }: Pick<Result, "crossover">) {
  if (crossover.setting === null)
    return <NotTold head="Where both ends slip alike cannot be told yet" why={crossover} />;
  const { decel_mps2, speed_mps, brakings, inside } = crossover;
  const where = decel_mps2 === null || speed_mps === null ? "" : `at ${decel(decel_mps2)} and ${speed(speed_mps)}, `;
  return (
    <div>
      <h2>Both ends slip alike at</h2>
      <Number shown={crossover.shown} />
      <p>{sentence(`${where}from ${brakings} brakings`)} {inside ? sentence(crossover.because) : "It lies outside the settings that were driven: take it as a direction."}</p>
    </div>
  );
}

function Lock({ lock }: Pick<Result, "lock">) {
  if (lock.setting === null)
    return <NotTold head="Where both ends lock together is not known, nor which lets go first" why={lock} />;
  return (
    <div>
      <h2>In a straight stop both ends lock together at</h2>
      <Number shown={lock.shown} />
      <p>From {speed(lock.speed_mps)}, {lock.because}.</p>
    </div>
  );
}

/** The number large, what it is known to beside it. */
function Number({ shown }: { shown: string }) {
  const [value, half] = shown.split("\u00a0");
  return <p class="big">{value} <small>{half}</small></p>;
}

function NotTold({ head, why }: { head: string; why: { because: string; would_settle: string } }) {
  return (
    <div>
      <h2>{head}</h2>
      <p>{sentence(why.because)}</p>
      {why.would_settle && <p><strong>It would take:</strong> {why.would_settle}.</p>}
    </div>
  );
}

interface Place {
  name: string;
  setting: number;
  low: number;
  high: number;
  shown: string;
}

/** What is told of a setting, with its interval. */
function placesOf({ crossover, lock }: Result): Place[] {
  const told = [{ name: "slip alike", ...crossover }, { name: "lock together", ...lock }];
  return told.flatMap(({ name, setting, low_90, high_90, shown }) =>
    setting === null || low_90 === null || high_90 === null ? [] : [{ name, setting, low: low_90, high: high_90, shown }],
  );
}

/** The intervals on the scale of the adjuster, with the settings that were driven. */
function Scale({ result }: { result: Result }) {
  const [at, width] = useWidth<HTMLDivElement>(480);
  const places = placesOf(result);
  if (!places.length) return null;
  return (
    <div ref={at} class="settings">
      <Drawn places={places} driven={drivenSettings(result)} step={result.adjuster_step ?? 0.1} width={Math.max(240, Math.min(width.value, 640))} />
      <p class="soft">Dots: the settings driven. 9 of 10 such intervals hold the truth.</p>
    </div>
  );
}

function drivenSettings(result: Result): number[] {
  return [...new Set(result.logs.flatMap((log) => log.settings))].sort((a, b) => a - b);
}

const ROW = 26;

function Drawn({ places, driven, step, width }: { places: Place[]; driven: number[]; step: number; width: number }) {
  const all = [...driven, ...places.flatMap((one) => [one.low, one.high])];
  const from = Math.min(...all);
  const span = Math.max(...all) - from || 1;
  const x = (value: number) => 24 + ((value - from) / span) * (width - 48);
  const line = places.length * ROW + 8;
  return (
    <Figure
      title="Crossovers on the adjuster's scale"
      about={`${places.map((one) => `Both ends ${one.name} at ${one.shown}`).join("; ")}; driven were ${driven.map((one) => setting(one, step)).join(", ") || "no known settings"}.`}
      width={width}
      height={line + 32}
    >
      {places.map((one, i) => (
        <g key={one.name}>
          <rect class="interval" x={x(one.low)} width={Math.max(x(one.high) - x(one.low), 2)} y={i * ROW + 4} height={16} rx={4} />
          <line class="middle" x1={x(one.setting)} x2={x(one.setting)} y1={i * ROW} y2={line} />
          <text x={beside(x(one.high), x(one.low), width)} y={i * ROW + 17} text-anchor={right(x(one.high), width) ? "start" : "end"} font-size="13">{one.name}</text>
        </g>
      ))}
      <line class="scale" x1={24} x2={width - 24} y1={line} y2={line} />
      {driven.map((one) => (
        <g key={one}>
          <circle class="dot" cx={x(one)} cy={line} r={5} />
          <text x={x(one)} y={line + 26} text-anchor="middle" font-size="13">{setting(one, step)}</text>
        </g>
      ))}
    </Figure>
  );
}

/** A name stands right of its interval where there is room, else left of it. */
function right(high: number, width: number): boolean {
  return high < width - 110;
}

function beside(high: number, low: number, width: number): number {
  return right(high, width) ? high + 8 : low - 8;
}
