/** Every number before and after: its range as a bar, the verdict in words, and what would settle it. */
import type { Of } from "../../api/types";
import { percent } from "../../words/units";

type Result = Of<"Learn">;
type Parameter = Result["parameters"][number];

const VERDICTS: Record<Parameter["verdict"], { word: string; order: number }> = {
  learned: { word: "learned", order: 0 },
  narrowed: { word: "narrowed", order: 1 },
  contradictory: { word: "contradicts what was stated", order: 2 },
  not_identifiable: { word: "cannot be seen in these channels", order: 3 },
  not_attempted: { word: "not looked at yet", order: 4 },
};

export function Parameters({ result }: { result: Result }) {
  const sorted = [...result.parameters].sort((a, b) => VERDICTS[a.verdict].order - VERDICTS[b.verdict].order);
  const told = sorted.filter((one) => VERDICTS[one.verdict].order < 3);
  const rest = sorted.filter((one) => VERDICTS[one.verdict].order >= 3);
  return (
    <section class="card" aria-labelledby="numbers-head">
      <h2 id="numbers-head">Before and after</h2>
      <p class="soft">Pale: what was known before. Dark: what it is now; 9 of 10 such ranges hold the truth.</p>
      {told.length ? <ul class="parameters">{told.map((one) => <Item key={nameOf(one)} one={one} />)}</ul> : <p>These logs say nothing new about any number.</p>}
      {rest.length > 0 && (
        <details>
          <summary>{rest.length} numbers these logs do not show</summary>
          <ul class="parameters">{rest.map((one) => <Item key={nameOf(one)} one={one} />)}</ul>
        </details>
      )}
      <Correlations correlation={result.correlation} />
    </section>
  );
}

/** What the trade calls it, where the key in plain words would not tell. */
const WORDS: Record<string, string> = {
  force_share_frac: "Front share of the braking force",
  decel_per_front_pressure_mps2_per_Pa: "Deceleration per front line pressure",
  gain_front_N_per_Pa: "Front braking force per line pressure",
  gain_rear_N_per_Pa: "Rear braking force per line pressure",
  cg_height_m: "Height of the centre of gravity",
  height_per_wheelbase: "Height of the centre of gravity by wheelbase",
};

/** "front share at 54.5": the key in plain words, with its setting. */
export function nameOf({ key, setting }: Pick<Parameter, "key" | "setting">): string {
  const gear = /^drive\.gear\.(\d+)\.engine_drag_Nm$/.exec(key);
  const words = gear ? `Engine braking, gear ${gear[1]} of the file` : WORDS[key];
  if (words) return setting === null ? words : `${words} at ${setting}`;
  const plain = key.split(".").map((word) => word.replace(/_(frac|kgm2|kg|Nm|m2|mps2|mps|m|s|N|Pa|1prad|bar)(?=$|_)/g, "").replaceAll("_", " ")).join(", ");
  const text = plain.charAt(0).toUpperCase() + plain.slice(1);
  return setting === null ? text : `${text} at ${setting}`;
}

function Item({ one }: { one: Parameter }) {
  return (
    <li>
      <div class="row">
        <strong>{nameOf(one)}</strong>
        <span>{valueOf(one)}</span>
        <span class={`verdict ${one.verdict}`}>{VERDICTS[one.verdict].word}</span>
      </div>
      <Bars one={one} />
      <small>{one.because}</small>
      {one.would_settle && <small> It would take: {one.would_settle}</small>}
    </li>
  );
}

function valueOf(one: Parameter): string {
  const { estimate, low_90, high_90, unit } = one;
  if (estimate === null || low_90 === null || high_90 === null) return "";
  if (unit.endsWith("/Pa")) return valueOf({ ...one, ...perBar({ estimate, low_90, high_90, unit }) });
  const half = (high_90 - low_90) / 2;
  return unit === "" && Math.abs(estimate) <= 1.5
    ? `${(estimate * 100).toFixed(half < 0.005 ? 1 : 0)} % ±${(half * 100).toFixed(half < 0.005 ? 1 : 0)}`
    : `${round(estimate, half)} ±${round(half, half)} ${unit}`;
}

/** Nobody reads pressure in pascals: 1 bar is 100 000 of them. */
export function perBar({ estimate, low_90, high_90, unit }: { estimate: number; low_90: number; high_90: number; unit: string }) {
  const PER_BAR = 1e5;
  return { estimate: estimate * PER_BAR, low_90: low_90 * PER_BAR, high_90: high_90 * PER_BAR, unit: unit.replace("/Pa", " per bar") };
}

/** As many places as the width deserves: two digits of it. */
export function round(value: number, width: number): string {
  const places = width > 0 ? Math.min(Math.max(1 - Math.floor(Math.log10(width)), 0), 6) : 3;
  return value.toFixed(places);
}

function Bars({ one }: { one: Parameter }) {
  const low = Math.min(one.prior_low, one.low_90 ?? one.prior_low);
  const span = Math.max(one.prior_high, one.high_90 ?? one.prior_high) - low || 1;
  const x = (value: number) => ((value - low) / span) * 100;
  return (
    <svg class="bars" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">
      <rect class="before" x={x(one.prior_low)} width={Math.max(x(one.prior_high) - x(one.prior_low), 0.6)} y={1} height={8} />
      {one.low_90 !== null && one.high_90 !== null && (
        <rect class="after" x={x(one.low_90)} width={Math.max(x(one.high_90) - x(one.low_90), 0.6)} y={3} height={4} />
      )}
    </svg>
  );
}

/** How errors hang together: for engineers, folded. */
function Correlations({ correlation }: { correlation: Result["correlation"] }) {
  if (correlation.keys.length < 2) return null;
  const strong = pairs(correlation).filter((one) => Math.abs(one.value) >= 0.5);
  return (
    <details>
      <summary>How their errors hang together</summary>
      {strong.length ? (
        <div class="scroll">
          <table>
            <thead><tr><th scope="col">One</th><th scope="col">Other</th><th scope="col">Correlation</th></tr></thead>
            <tbody>
              {strong.map((one) => (
                <tr key={one.a + one.b}>
                  <td>{nameOf({ key: one.a, setting: null })}</td><td>{nameOf({ key: one.b, setting: null })}</td><td class="number">{percent(one.value)}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      ) : <p>None of them by half or more.</p>}
    </details>
  );
}

function pairs({ keys, matrix }: Result["correlation"]): { a: string; b: string; value: number }[] {
  return keys
    .flatMap((a, i) => keys.slice(i + 1).map((b, j) => ({ a, b, value: matrix[i]![i + 1 + j]! })))
    .sort((one, other) => Math.abs(other.value) - Math.abs(one.value));
}
