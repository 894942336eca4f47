/** Passes of one zone laid over each other: speed above, brake below, by distance to the apex. */
import { Figure } from "../parts/figure";
import { length, speed, units } from "../words/units";
import { useWidth } from "./wide";

export interface Strip {
  name: string;
  /** The best is drawn bold, the other driver's dashed, the rest thin. */
  role: "usual" | "best" | "other";
  speed_mps: readonly (number | null)[];
  brake_frac: readonly (number | null)[];
}

export interface StripMark {
  s_m: number;
  words: string;
  axle: "front" | "rear" | null;
}

export interface StripsProps {
  zone: string;
  s_m: readonly number[];
  strips: readonly Strip[];
  brake_m: number;
  turn_in_m: number;
  plan_brake_m: number | null;
  marks: readonly StripMark[];
}

const LEFT = 58;
const RIGHT = 12;
const TOP = 26;
const SPEED = 190;
const BRAKE = 80;
const GAP = 18;
const HEIGHT = TOP + SPEED + GAP + BRAKE + 36;
const ORDER = { usual: 0, other: 1, best: 2 };
const LOOK = {
  usual: { stroke: "var(--edge)", "stroke-width": 1, opacity: 0.75 },
  other: { stroke: "var(--soft)", "stroke-width": 2.5, "stroke-dasharray": "7 4" },
  best: { stroke: "var(--ink)", "stroke-width": 2.5 },
};

export function Strips(props: StripsProps) {
  const [at, width] = useWidth<HTMLDivElement>(640);
  return <div ref={at}><Drawn {...props} width={Math.max(280, width.value)} /></div>;
}

function Drawn(props: StripsProps & { width: number }) {
  const { s_m, strips, width } = props;
  const speeds = strips.flatMap((one) => one.speed_mps.filter((v): v is number => v !== null));
  if (s_m.length < 2 || !speeds.length) return <p class="soft">No whole lap passes here: there is nothing to draw.</p>;
  const per = units.value === "metric" ? 3.6 : 3600 / 1609.344;
  const step = (Math.max(...speeds) - Math.min(...speeds)) * per < 90 ? 20 : 50;
  const bottom = Math.floor((Math.min(...speeds) * per) / step) * step;
  const top = Math.ceil((Math.max(...speeds) * per) / step) * step;
  const low = s_m[0]!;
  const high = s_m.at(-1)!;
  const x = (s: number) => LEFT + ((s - low) / (high - low)) * (width - LEFT - RIGHT);
  const ySpeed = (mps: number) => TOP + SPEED * (1 - (mps * per - bottom) / (top - bottom));
  const zero = TOP + SPEED + GAP + BRAKE;
  const yBrake = (frac: number) => zero - BRAKE * Math.min(frac / 1.1, 1);
  const line = (values: readonly (number | null)[], y: (v: number) => number) => lineOf(s_m, values, x, y);
  const ticks = Array.from({ length: (top - bottom) / step + 1 }, (_, i) => bottom + i * step);
  return (
    <Figure
      title={`${props.zone}: passes laid over each other`}
      about={describe(props)}
      width={width}
      height={HEIGHT}
      caption={<Key strips={strips} />}
    >
      {ticks.map((value) => (
        <g key={value}>
          <line x1={LEFT} x2={width - RIGHT} y1={ySpeed(value / per)} y2={ySpeed(value / per)} stroke="var(--rule)" />
          <text x={LEFT - 8} y={ySpeed(value / per) + 4} text-anchor="end" font-size="12">{value}</text>
        </g>
      ))}
      <text x={LEFT} y={14} font-size="12">{units.value === "metric" ? "km/h" : "mph"}</text>
      <line x1={LEFT} x2={width - RIGHT} y1={zero} y2={zero} stroke="var(--rule)" />
      <text x={LEFT - 8} y={zero - BRAKE + 12} text-anchor="end" font-size="12">brake</text>
      <Place x={x(props.brake_m)} label="brake" zero={zero} />
      <Place x={x(props.turn_in_m)} label="turn-in" zero={zero} />
      <Place x={x(0)} label="apex" zero={zero} />
      {props.plan_brake_m !== null && props.plan_brake_m > low && <PlanPlace x={x(props.plan_brake_m)} zero={zero} />}
      {[...strips].sort((a, b) => ORDER[a.role] - ORDER[b.role]).map((one) => (
        <g key={one.name} fill="none" stroke-linejoin="round" {...LOOK[one.role]}>
          <path d={line(one.speed_mps, ySpeed)} />
          <path d={line(one.brake_frac, yBrake)} />
        </g>
      ))}
      {props.marks.filter((mark) => mark.s_m >= low && mark.s_m <= high).map((mark, i) => <Happened key={i} mark={mark} x={x(mark.s_m)} y={TOP + 8 + 13 * (i % 3)} />)}
    </Figure>
  );
}

/** A path through what is known; it breaks where nothing is. */
export function lineOf(
  s: readonly number[],
  values: readonly (number | null)[],
  x: (s: number) => number,
  y: (v: number) => number,
): string {
  let path = "";
  let open = false;
  values.forEach((value, i) => {
    if (value === null) {
      open = false;
      return;
    }
    path += `${open ? "L" : "M"}${x(s[i]!).toFixed(1)} ${y(value).toFixed(1)}`;
    open = true;
  });
  return path;
}

function Place({ x, label, zero }: { x: number; label: string; zero: number }) {
  return (
    <g>
      <line x1={x} x2={x} y1={TOP} y2={zero} stroke="var(--edge)" stroke-dasharray="2 4" />
      <text x={x} y={zero + 16} text-anchor="middle" font-size="12">{label}</text>
    </g>
  );
}

function PlanPlace({ x, zero }: { x: number; zero: number }) {
  return (
    <g>
      <line x1={x} x2={x} y1={TOP} y2={zero} stroke="var(--ink)" stroke-dasharray="8 3 2 3" />
      <text x={x} y={zero + 30} text-anchor="middle" font-size="12" font-weight="700">plan</text>
    </g>
  );
}

function Happened({ mark, x, y }: { mark: StripMark; x: number; y: number }) {
  const way = mark.axle === "rear" ? 1 : -1;
  const fill = mark.axle ? `var(--${mark.axle})` : "var(--ink)";
  return (
    <polygon points={`${x},${y + way * 6} ${x + 6},${y - way * 6} ${x - 6},${y - way * 6}`} fill={fill}>
      <title>{mark.words}</title>
    </polygon>
  );
}

function Key({ strips }: { strips: readonly Strip[] }) {
  const best = strips.find((one) => one.role === "best");
  const other = strips.find((one) => one.role === "other");
  const usual = strips.filter((one) => one.role === "usual").length;
  const said = [
    best && `bold: ${best.name}, the best pass`,
    other && `dashed: ${other.name}`,
    usual > 0 && `thin: ${usual} other ${usual === 1 ? "pass" : "passes"}`,
  ].filter(Boolean);
  return <>{said.join("; ")}. Distance to the apex; triangles are where something went wrong.</>;
}

function describe(props: StripsProps): string {
  const said = [`${props.strips.length} passes by distance to the apex; the middle brake point lies ${length(-props.brake_m)} before it.`];
  const best = props.strips.find((one) => one.role === "best");
  const known = best?.speed_mps.filter((v): v is number => v !== null) ?? [];
  if (best && known.length) said.push(`${best.name} comes down to ${speed(Math.min(...known))}.`);
  for (const mark of props.marks) said.push(`${mark.words}, ${length(Math.abs(mark.s_m))} ${mark.s_m < 0 ? "before" : "past"} the apex.`);
  return said.join(" ");
}
