/** Every number before and after: its range as a bar, the verdict in words, and what would settle it. */
import type { Of } from "../../api/types";
import { capital, sentence } from "../../words/text";
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
      {told.length ? <ul class="parameters">{told.map((one) => <Item key={one.name} one={one} />)}</ul> : <p>These logs say nothing new about any number.</p>}
      {rest.length > 0 && (
        <details>
          <summary>{rest.length} numbers these logs do not show</summary>
          <ul class="parameters">{rest.map((one) => <Item key={one.name} one={one} />)}</ul>
        </details>
      )}
      <Correlations correlation={result.correlation} />
    </section>
  );
}

function Item({ one }: { one: Parameter }) {
  return (
    <li>
      <div class="row">
        <strong>{capital(one.name)}</strong>
        <span>{one.now || `${one.before} before`}</span>
        <span class={`verdict ${one.verdict}`}>{VERDICTS[one.verdict].word}</span>
      </div>
      <Bars one={one} />
      <small>{sentence(one.because)}</small>
      {one.would_settle && <small> It would take: {one.would_settle}.</small>}
    </li>
  );
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
                  <td>{capital(one.a)}</td><td>{capital(one.b)}</td><td class="number">{percent(one.value)}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      ) : <p>None of them by half or more.</p>}
    </details>
  );
}

function pairs({ names, matrix }: Result["correlation"]): { a: string; b: string; value: number }[] {
  return names
    .flatMap((a, i) => names.slice(i + 1).map((b, j) => ({ a, b, value: matrix[i]![i + 1 + j]! })))
    .sort((one, other) => Math.abs(other.value) - Math.abs(one.value));
}
