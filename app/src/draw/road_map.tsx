/** The road from above: its line, its start, which way it is driven, and numbered places beside it. */
import { useMemo } from "preact/hooks";
import { Figure } from "../parts/figure";
import { labelPlaces, pointAt, sheetOf, written, type Outline as Line, type Sheet, type XY } from "./map_places";
import { useWidth } from "./wide";

/** A line whose points lie evenly along the lap where no distances are given. */
export type Outline = Omit<Line, "s_m"> & { s_m?: number[]; closed?: boolean };

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

export function RoadMap(props: MapProps) {
  const [at, width] = useWidth<HTMLDivElement>(480);
  return <div ref={at}><Drawing {...props} width={width.value} /></div>;
}

function Drawing({ title, outline, places, current, onPick, onPlace, width }: MapProps & { width: number }) {
  const drawn = useMemo(() => draw(outline, width), [outline, width]);
  const spots = places.map((one) => drawn.points[pointAt(drawn.whole, one.s_m)]!);
  const labels = labelPlaces(spots, drawn.points, drawn.sheet);
  const press = (event: MouseEvent) => {
    if (!onPlace) return;
    const svg = (event.currentTarget as SVGElement).ownerSVGElement!;
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM()!.inverse());
    onPlace(nearest(drawn, at.x, at.y));
  };
  return (
    <Figure title={title} about={`${places.length} braking zones: ${places.map((one) => `${one.number} ${one.name}`).join(", ")}.`} width={width} height={drawn.sheet.height}>
      <polyline class="road" points={drawn.line} />
      <polyline class="roadmiddle" points={drawn.line} onClick={press} />
      <Start drawn={drawn} />
      {places.map((one, i) => <Numbered key={one.id} place={one} on={spots[i]!} at={labels[i]!} current={one.id === current} onPick={onPick} />)}
    </Figure>
  );
}

interface Drawn {
  whole: Line;
  points: XY[];
  line: string;
  sheet: Sheet;
}

function draw(outline: Outline, width: number): Drawn {
  const whole = { ...outline, s_m: outline.s_m ?? spread(outline) };
  const sheet = sheetOf(whole, width);
  const points = outline.x_m.map((x, i) => sheet.at(x, outline.y_m[i]!));
  const shut = outline.closed === false ? points : [...points, points[0]!];
  return { whole, points, line: written(shut), sheet };
}

/** Distances of points that lie evenly along the lap. [m] */
function spread({ x_m, length_m, closed }: Outline): number[] {
  const pieces = x_m.length - (closed ? 0 : 1);
  return x_m.map((_, i) => (length_m * i) / pieces);
}

/** Where a distance lies in the picture, and the way the road goes there. */
function find(drawn: Drawn, s_m: number): { x: number; y: number; dx: number; dy: number } {
  const i = pointAt(drawn.whole, s_m);
  const [x, y] = drawn.points[i]!;
  const [x1, y1] = drawn.points[(i + 1) % drawn.points.length]!;
  const far = Math.hypot(x1 - x, y1 - y) || 1;
  return { x, y, dx: (x1 - x) / far, dy: (y1 - y) / far };
}

/** The distance along the lap of the point of the road nearest to a place in the picture. [m] */
function nearest(drawn: Drawn, x: number, y: number): number {
  const gap = (i: number) => Math.hypot(drawn.points[i]![0] - x, drawn.points[i]![1] - y);
  const at = drawn.points.reduce((best, _, i) => (gap(i) < gap(best) ? i : best), 0);
  return drawn.whole.s_m[at]!;
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

interface NumberedProps {
  place: Place;
  /** Where it lies on the road, and where its number stands. */
  on: XY;
  at: XY;
  current: boolean;
  onPick?: ((id: string) => void) | undefined;
}

function Numbered({ place, on, at: [x, y], current, onPick }: NumberedProps) {
  return (
    <g class={current ? "place current" : "place"} onClick={() => onPick?.(place.id)}>
      <title>{place.name}</title>
      <line class="leader" x1={on[0]} y1={on[1]} x2={x} y2={y} />
      <circle cx={x} cy={y} r={12} />
      <text x={x} y={y + 4.5} text-anchor="middle">{place.number}</text>
    </g>
  );
}
