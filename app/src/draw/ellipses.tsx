/** Four tyres seen from above, the car heading up: what each could hold, and what it is asked for. */
import { Figure } from "../parts/figure";
import { percent } from "../words/units";
import "../style/ellipses.css";

export interface Wheel {
  /** Forces against the motion and to the inside of the corner, and the most of each alone. [N] */
  along_N: number;
  across_N: number;
  mostAlong_N: number;
  mostAcross_N: number;
  use: number;
  sliding: boolean;
}

/** Where a tyre lets go: parts of what it could do in one direction alone. */
export interface Limit {
  along: number[];
  across: number[];
}

export interface Car {
  name: string;
  /** Front inside, front outside, rear inside, rear outside. */
  wheels: Wheel[];
}

interface Props {
  cars: Car[];
  limits: [Limit, Limit];
  insideLeft: boolean;
  /** The force that is drawn as long as a tyre's own place is wide. [N] */
  scale_N: number;
  caption: string;
}

const WIDTH = 380;
const HEIGHT = 400;
const REACH = 74;
const NAMES = ["front inside", "front outside", "rear inside", "rear outside"];

export function Ellipses({ cars, limits, insideLeft, scale_N, caption }: Props) {
  const px = (force: number) => (force / scale_N) * REACH;
  return (
    <Figure title="The four tyres" about={words(cars[0]!)} width={WIDTH} height={HEIGHT} caption={caption}>
      <Body />
      {cars.map((car, k) =>
        car.wheels.map((wheel, w) => (
          <Tyre key={`${k} ${w}`} wheel={wheel} place={placeOf(w, insideLeft)} limit={limits[w < 2 ? 0 : 1]} front={w < 2} other={k > 0} insideLeft={insideLeft} px={px} />
        )),
      )}
    </Figure>
  );
}

function words(car: Car): string {
  return car.wheels.map((wheel, w) => `${NAMES[w]} ${wheel.sliding ? "slides" : percent(wheel.use)}`).join(", ");
}

function placeOf(wheel: number, insideLeft: boolean): [number, number] {
  const left = (wheel % 2 === 0) === insideLeft;
  return [left ? 100 : 280, wheel < 2 ? 100 : 305];
}

/** The car under its tyres: two axles, and a nose that says which way it heads. */
function Body() {
  return (
    <g class="body">
      <path d="M100,100 H280 M100,305 H280" />
      <path d="M168,74 Q190,40 212,74 L220,330 Q190,346 160,330 Z" class="shell" />
      <path class="way" d="M190,34 V12 M183,19 L190,10 L197,19" />
    </g>
  );
}

interface TyreProps {
  wheel: Wheel;
  place: [number, number];
  limit: Limit;
  front: boolean;
  other: boolean;
  insideLeft: boolean;
  px: (force: number) => number;
}

function Tyre({ wheel, place, limit, front, other, insideLeft, px }: TyreProps) {
  const [x, y] = place;
  const toInside = insideLeft ? -1 : 1;
  const end = front ? "front" : "rear";
  const [dx, dy] = [toInside * px(wheel.across_N), px(wheel.along_N)];
  return (
    <g transform={`translate(${x} ${y})`} class={`tyre ${end}${other ? " other" : ""}${wheel.sliding ? " sliding" : ""}`}>
      {!other && <rect class="rubber" x={-9} y={-19} width={18} height={38} rx={4} />}
      <path class="limit" d={limitPath(limit, px(wheel.mostAlong_N), px(wheel.mostAcross_N))} />
      <path class="force" d={`M0,0 L${dx.toFixed(1)},${dy.toFixed(1)}`} />
      <path class="head" d={headPath(dx, dy)} />
      {!other && wheel.sliding && <path class="cross" d="M-12,-12 L12,12 M12,-12 L-12,12" />}
      {!other && (
        <text x={0} y={px(wheel.mostAlong_N) + 17} text-anchor="middle" class="use">
          {front ? "F" : "R"} {wheel.sliding ? "slides" : percent(wheel.use)}
        </text>
      )}
    </g>
  );
}

/** The limit all round: the same to both sides, and braking as driving. */
export function limitPath(limit: Limit, along: number, across: number): string {
  const quarter = limit.along.map((part, i) => [limit.across[i]! * across, part * along] as const);
  const back = [...quarter].reverse();
  const all = [
    ...quarter,
    ...back.map(([x, y]) => [-x, y] as const),
    ...quarter.map(([x, y]) => [-x, -y] as const),
    ...back.map(([x, y]) => [x, -y] as const),
  ];
  return `M${all.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" L")} Z`;
}

function headPath(dx: number, dy: number): string {
  const length = Math.hypot(dx, dy);
  if (length < 4) return "";
  const [ux, uy] = [dx / length, dy / length];
  const size = Math.min(9, length * 0.6);
  const side = (turn: number) => `${(dx - size * (ux + turn * 0.5 * uy)).toFixed(1)},${(dy - size * (uy - turn * 0.5 * ux)).toFixed(1)}`;
  return `M${side(1)} L${dx.toFixed(1)},${dy.toFixed(1)} L${side(-1)} Z`;
}
