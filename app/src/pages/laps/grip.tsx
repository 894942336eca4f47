/** How much of the grip a zone's passes used: each end by the model, and of what the car has shown. */
import type { Of } from "../../api/types";
import { useWidth } from "../../draw/wide";
import { EndSign, Figure } from "../../parts/figure";
import { percent } from "../../words/units";

const ROW = 26;
const LEFT = 128;
const RIGHT = 52;
const MOST = 420;

export function GripUse(props: GripProps) {
  const [at, width] = useWidth<HTMLDivElement>(360);
  return <div ref={at} class="gripuse"><Drawn {...props} width={Math.max(240, Math.min(width.value, MOST))} /></div>;
}

interface GripProps {
  zone: Of<"DebriefZone">;
  result: Of<"Debrief">;
}

function Drawn({ zone, result, width }: GripProps & { width: number }) {
  const bar = width - LEFT - RIGHT;
  const full = new Set(result.laps.filter((lap) => lap.kind === "full").map((lap) => lap.lap_id));
  const passes = result.passes.filter((one) => one.zone_id === zone.zone_id && full.has(one.lap_id));
  const rows = [
    { name: "front, by the model", end: "front" as const, values: passes.map((one) => one.grip_use_front_frac) },
    { name: "rear, by the model", end: "rear" as const, values: passes.map((one) => one.grip_use_rear_frac) },
    { name: "of what was shown", end: null, values: passes.map((one) => one.grip_use_shown_frac) },
  ]
    .map((row) => ({ ...row, values: row.values.filter((one): one is number => one !== null) }))
    .filter((row) => row.values.length > 0);
  if (!rows.length) return null;
  const about = rows.map((row) => `${row.name}: ${percent(Math.min(...row.values))} to ${percent(Math.max(...row.values))}`).join("; ");
  return (
    <Figure title={`Use of grip in ${zone.name}`} about={`${about}.`} width={width} height={ROW * rows.length + 22} caption="Use of grip while braking: a line for every pass, the bar ends at the middle one. 100 % is the limit.">
      {rows.map((row, i) => <Row key={row.name} row={row} y={8 + ROW * i} width={width} />)}
      <line x1={LEFT + bar / 1.2} x2={LEFT + bar / 1.2} y1={2} y2={ROW * rows.length + 6} stroke="var(--ink)" stroke-dasharray="3 3" />
    </Figure>
  );
}

function Row({ row, y, width }: { row: { name: string; end: "front" | "rear" | null; values: number[] }; y: number; width: number }) {
  const middle = row.values.toSorted((a, b) => a - b)[Math.floor(row.values.length / 2)]!;
  const x = (frac: number) => LEFT + (width - LEFT - RIGHT) * Math.min(frac / 1.2, 1);
  const ink = row.end ? `var(--${row.end})` : "var(--soft)";
  return (
    <g>
      {row.end && <EndSign end={row.end} x={6} y={y + 8} />}
      <text x={16} y={y + 12} font-size="12">{row.name}</text>
      <rect x={LEFT} y={y + 3} width={x(middle) - LEFT} height={10} fill={ink} opacity="0.55" />
      {row.values.map((one, i) => <line key={i} x1={x(one)} x2={x(one)} y1={y} y2={y + 16} stroke={ink} stroke-width="1.5" />)}
      <text x={width - 4} y={y + 12} text-anchor="end" font-size="12">{percent(middle)}</text>
    </g>
  );
}
