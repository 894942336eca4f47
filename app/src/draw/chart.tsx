/** A plain chart of one quantity over another: axes, lines, bands and marks, as wide as its place. */
import type { ComponentChildren } from "preact";
import { useId } from "preact/hooks";
import { EndSign, Figure } from "../parts/figure";
import { labelAt, type Px } from "./chart_labels";
import { useWidth } from "./wide";

export type Role = "ink" | "soft" | "front" | "rear";
export type Point = readonly [number, number];

export interface Line {
  name: string;
  points: readonly Point[];
  role: Role;
  dash?: boolean;
  thin?: boolean;
}

export interface Band {
  name: string;
  low: readonly Point[];
  high: readonly Point[];
}

export interface Mark {
  at: Point;
  label: string;
  sign?: "front" | "rear" | "dot";
  /** Where the label stands, so that two do not meet. */
  side?: "above" | "below";
}

export interface Axis {
  name: string;
  low: number;
  high: number;
  /** The value in words. */
  show: (value: number) => string;
}

interface ChartProps {
  title: string;
  about: string;
  x: Axis;
  y: Axis;
  lines: Line[];
  bands?: Band[];
  marks?: Mark[];
  caption?: ComponentChildren;
  height?: number;
}

const LEFT = 56;
const RIGHT = 14;
const TOP = 28;
const FOOT = 44;

export function Chart(props: ChartProps) {
  const [at, width] = useWidth<HTMLDivElement>(480);
  return <div ref={at}><Drawn {...props} width={Math.max(260, width.value)} /></div>;
}

function Drawn(props: ChartProps & { width: number }) {
  const { width } = props;
  const height = props.height ?? 260;
  const clip = useId();
  const px = scale(props.x, LEFT, width - RIGHT);
  const py = scale(props.y, height - FOOT, TOP);
  const place = ([x, y]: Point): Px => [px(x), py(y)];
  const path = (points: readonly Point[]) => points.map((one) => place(one).map((v) => v.toFixed(1)).join(",")).join(" ");
  const drawn = props.lines.map((line) => line.points.map(place));
  const frame = { left: LEFT, right: width - RIGHT, top: TOP, bottom: height - FOOT };
  return (
    <Figure title={props.title} about={props.about} width={width} height={height} caption={props.caption}>
      <XAxis axis={props.x} at={px} width={width} height={height} />
      <YAxis axis={props.y} at={py} width={width} />
      {/* What runs out of the frame is cut at it. */}
      <clipPath id={clip}><rect x={LEFT} y={TOP} width={width - RIGHT - LEFT} height={height - FOOT - TOP} /></clipPath>
      <g clip-path={`url(#${clip})`}>
        {props.bands?.map((band) => (
          <polygon key={band.name} class="band" points={path([...band.low, ...[...band.high].reverse()])} />
        ))}
        {props.lines.map((line) => (
          <polyline
            key={line.name}
            points={path(line.points)}
            fill="none"
            stroke={`var(--${line.role})`}
            stroke-width={line.thin ? 1.5 : 2.5}
            stroke-dasharray={line.dash ? "6 5" : undefined}
            stroke-linejoin="round"
          />
        ))}
      </g>
      {props.marks?.map((mark) => {
        const spot = place(mark.at);
        return <Marked key={mark.label} mark={mark} at={spot} label={labelAt(mark.label, spot, mark.side ?? "above", drawn, frame)} />;
      })}
    </Figure>
  );
}

function scale(axis: Axis, from: number, to: number): (value: number) => number {
  const span = axis.high - axis.low || 1;
  return (value) => from + ((value - axis.low) / span) * (to - from);
}

/** Round places on an axis, some five of them. */
export function ticks(low: number, high: number, wanted = 5): number[] {
  const rough = (high - low) / wanted;
  if (!(rough > 0)) return [low];
  const ten = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * ten).find((s) => s >= rough * 0.999)!;
  const first = Math.ceil(low / step - 1e-9);
  const last = Math.floor(high / step + 1e-9);
  return Array.from({ length: last - first + 1 }, (_, i) => (first + i) * step);
}

function XAxis({ axis, at, width, height }: { axis: Axis; at: (v: number) => number; width: number; height: number }) {
  const foot = height - FOOT;
  return (
    <g class="axis">
      <line x1={LEFT} x2={width - RIGHT} y1={foot} y2={foot} />
      {ticks(axis.low, axis.high, width < 400 ? 4 : 5).map((value) => (
        <g key={value}>
          <line x1={at(value)} x2={at(value)} y1={foot} y2={foot + 4} />
          <text x={at(value)} y={foot + 17} text-anchor="middle">{axis.show(value)}</text>
        </g>
      ))}
      <text x={(LEFT + width - RIGHT) / 2} y={height - 8} text-anchor="middle" class="named">{axis.name}</text>
    </g>
  );
}

function YAxis({ axis, at, width }: { axis: Axis; at: (v: number) => number; width: number }) {
  return (
    <g class="axis">
      {ticks(axis.low, axis.high, 4).map((value) => (
        <g key={value}>
          <line class="grid" x1={LEFT} x2={width - RIGHT} y1={at(value)} y2={at(value)} />
          <text x={LEFT - 6} y={at(value) + 4} text-anchor="end">{axis.show(value)}</text>
        </g>
      ))}
      <text x={4} y={13} class="named">{axis.name}</text>
    </g>
  );
}

function Marked({ mark, at: [x, y], label }: { mark: Mark; at: Px; label: { at: Px; anchor: "start" | "middle" | "end" } }) {
  const end = mark.sign === "front" || mark.sign === "rear" ? mark.sign : null;
  return (
    <g>
      {end ? <EndSign end={end} x={x} y={y} size={13} /> : <circle cx={x} cy={y} r={5} class="dot" />}
      <text x={label.at[0]} y={label.at[1]} text-anchor={label.anchor} class="marked">{mark.label}</text>
    </g>
  );
}
