/** Every effect with its interval, drawn about nought, one scale per unit. */
import type { Of } from "../../api/types";
import { capital } from "../../words/text";
import { setting } from "../../words/units";

type Verdict = Of<"TrialVerdict">;
type Comparison = Verdict["comparisons"][number];

const WORD = { difference: "difference", no_difference_shown: "no difference shown", cannot_tell: "cannot tell" };

export function Effects({ verdict }: { verdict: Verdict }) {
  const sorted = [...verdict.comparisons].sort((a, b) => Number(b.primary) - Number(a.primary));
  const told = sorted.filter((one) => one.primary || one.verdict !== "cannot_tell");
  const untold = sorted.filter((one) => !told.includes(one));
  return (
    <section class="card stack" aria-labelledby="effects-head">
      <h2 id="effects-head">Every effect with its interval</h2>
      <p class="soft">Setting minus {setting(verdict.against, verdict.step)}: below nought, a time or a distance is won. The line in the middle is nought.</p>
      {told.length > 0 && <Table label="Effects" rows={told} verdict={verdict} />}
      {untold.length > 0 && (
        <details>
          <summary>{untold.length} {told.length ? "others " : ""}of which these laps cannot tell</summary>
          <Table label="Effects that cannot be told" rows={untold} verdict={verdict} />
        </details>
      )}
      {verdict.incidents.length > 0 && <ul>{verdict.incidents.map((one) => <li key={one.text}>{one.text}</li>)}</ul>}
    </section>
  );
}

function Table({ label, rows, verdict }: { label: string; rows: Comparison[]; verdict: Verdict }) {
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label={label}>
      <table class="effects">
        <thead>
          <tr><th scope="col">Measured</th><th scope="col">Setting</th><th scope="col">Effect</th><th scope="col" class="drawn">Interval</th><th scope="col">Verdict</th></tr>
        </thead>
        {rows.map((one) => (
          <tbody key={`${one.endpoint} ${one.setting}`}>
            <tr>
              <th scope="row">{capital(one.words)}{one.primary && <small> first</small>}</th>
              <td class="number">{setting(one.setting, verdict.step)}</td>
              <td class="number">{(one.shown[0] ?? "–").replace("-", "−")}</td>
              <td class="drawn"><Whisker one={one} widest={widestOf(verdict, one.unit)} /></td>
              <td>{WORD[one.verdict]}</td>
            </tr>
            {!verdict.summary.includes(one.text) && <tr><td colSpan={5}><small>{one.text}</small></td></tr>}
          </tbody>
        ))}
      </table>
    </div>
  );
}

function widestOf(verdict: Verdict, unit: string): number {
  const all = verdict.comparisons.filter((one) => one.unit === unit).flatMap((one) => [one.low, one.high, one.effect]);
  return Math.max(1e-9, ...all.filter((one): one is number => one !== null).map(Math.abs));
}

function Whisker({ one, widest }: { one: Comparison; widest: number }) {
  if (one.effect === null || one.low === null || one.high === null) return null;
  const x = (value: number) => 80 + (value / widest) * 74;
  const [effect, low, high] = one.shown;
  const about = `${effect}, between ${low} and ${high}`;
  return (
    <svg class="whisker" viewBox="0 0 160 22" role="img" aria-label={about}>
      <line class="nought" x1={80} x2={80} y1={0} y2={22} />
      <line class="arm" x1={x(one.low)} x2={x(one.high)} y1={11} y2={11} />
      <circle class="dot" cx={x(one.effect)} cy={11} r={5} />
    </svg>
  );
}
