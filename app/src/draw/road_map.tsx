/** The road from above: its line, its start, which way it is driven, and numbered places on it. */
import { useMemo } from "preact/hooks";
import { Figure } from "../parts/figure";

export interface Outline {
  x_m: number[];
  y_m: number[];
  length_m: number;
  closed?: boolean;
  /** Distance of each point along the lap; evenly spread where it is not said. */
  s_m?: number[];
}

export interface Place {
  id: string;
  s_m: number;
  number: number;
  name: string;
}

interface MapProps {
  title: string;
  outline: Outline;
  places: Place[];
  current?: string | null;
  onPick?: (id: string) => void;
  /** A place on the road that was pressed, as distance along the lap. */
  onPlace?: (s_m: number) => void;
}

const WIDTH = 480;
const PAD = 30;

export function RoadMap({ title, outline, places, current, onPick, onPlace }: MapProps) {
  const drawn = useMemo(() => draw(outline), [outline]);
  const press = (event: MouseEvent) => {
    if (!onPlace) return;
    const svg = (event.currentTarget as SVGElement).ownerSVGElement!;
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM()!.inverse());
    onPlace(nearest(drawn, at.x, at.y));
  };
  return (
    <Figure title={title} about={`${places.length} braking zones: ${places.map((one) => `${one.number} ${one.name}`).join(", ")}.`} width={WIDTH} height={drawn.height}>
      <polyline class="road" points={drawn.line} />
      <polyline class="roadmiddle" points={drawn.line} onClick={press} />
      <Start drawn={drawn} />
      {places.map((one) => <Numbered key={one.id} place={one} drawn={drawn} current={one.id === current} onPick={onPick} />)}
    </Figure>
  );
}

interface Drawn {
  points: { x: number; y: number; s: number }[];
  line: string;
  height: number;
}

/** Points of the outline in the picture: y up becomes y down, the longer side fills the width. */
function draw(outline: Outline): Drawn {
  const { x_m, y_m, length_m } = outline;
  const [left, right, low, high] = [Math.min(...x_m), Math.max(...x_m), Math.min(...y_m), Math.max(...y_m)];
  const scale = (WIDTH - 2 * PAD) / Math.max(right - left, (high - low) * 0.8, 1);
  const aside = (WIDTH - (right - left) * scale) / 2;
  const points = x_m.map((x, i) => ({
    x: aside + (x - left) * scale,
    y: PAD + (high - y_m[i]!) * scale,
    s: outline.s_m?.[i] ?? (length_m * i) / (x_m.length - (outline.closed ? 0 : 1)),
  }));
  const shut = outline.closed === false ? points : [...points, points[0]!];
  return { points, line: shut.map((p) => `${p.x.toFixed(1)},${p.y.toFixed(1)}`).join(" "), height: (high - low) * scale + 2 * PAD };
}

/** Where a distance lies in the picture, and the way the road goes there. */
function find(drawn: Drawn, s_m: number): { x: number; y: number; dx: number; dy: number } {
  const after = drawn.points.findIndex((p) => p.s >= s_m);
  const i = after < 0 ? drawn.points.length - 1 : after;
  const here = drawn.points[i]!;
  const next = drawn.points[(i + 1) % drawn.points.length]!;
  const far = Math.hypot(next.x - here.x, next.y - here.y) || 1;
  return { x: here.x, y: here.y, dx: (next.x - here.x) / far, dy: (next.y - here.y) / far };
}

function nearest(drawn: Drawn, x: number, y: number): number {
  const gap = (p: { x: number; y: number }) => (p.x - x) ** 2 + (p.y - y) ** 2;
  return drawn.points.reduce((best, p) => (gap(p) < gap(best) ? p : best)).s;
}

function Start({ drawn }: { drawn: Drawn }) {
  const { x, y, dx, dy } = find(drawn, 0);
  const tip = `${x + dx * 26},${y + dy * 26}`;
  const wing = (side: number) => `${x + dx * 14 - side * dy * 6},${y + dy * 14 + side * dx * 6}`;
  return (
    <g class="start" aria-hidden="true">
      <line x1={x - dy * 9} y1={y + dx * 9} x2={x + dy * 9} y2={y - dx * 9} />
      <polygon points={`${tip} ${wing(1)} ${wing(-1)}`} />
    </g>
  );
}

function Numbered({ place, drawn, current, onPick }: { place: Place; drawn: Drawn; current: boolean; onPick?: ((id: string) => void) | undefined }) {
  const { x, y } = find(drawn, place.s_m);
  return (
    <g class={current ? "place current" : "place"} onClick={() => onPick?.(place.id)}>
      <title>{place.name}</title>
      <circle cx={x} cy={y} r={11} />
      <text x={x} y={y + 4.5} text-anchor="middle">{place.number}</text>
    </g>
  );
}
