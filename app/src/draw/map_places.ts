/** A line of a circuit fitted into a picture, and where the numbers of its zones stand beside it. */

export interface Outline {
  x_m: number[];
  y_m: number[];
  s_m: number[];
  length_m: number;
}

export type XY = readonly [number, number];

export interface Sheet {
  width: number;
  height: number;
  at: (x_m: number, y_m: number) => XY;
}

const EDGE = 34;

/** Fit a line into a width; the height follows, within reason. */
export function sheetOf(outline: Outline, width: number): Sheet {
  const [x0, x1] = [Math.min(...outline.x_m), Math.max(...outline.x_m)];
  const [y0, y1] = [Math.min(...outline.y_m), Math.max(...outline.y_m)];
  const wide = Math.max(x1 - x0, 1);
  const tall = Math.max(y1 - y0, 1);
  const scale = Math.min((width - 2 * EDGE) / wide, (0.95 * width - 2 * EDGE) / tall);
  const height = tall * scale + 2 * EDGE;
  const left = (width - wide * scale) / 2;
  return { width, height, at: (x, y) => [left + (x - x0) * scale, EDGE + (y1 - y) * scale] };
}

/** Index of the point of a line nearest to a distance along it. */
export function pointAt(outline: Outline, s_m: number): number {
  let best = 0;
  outline.s_m.forEach((s, i) => {
    if (Math.abs(s - s_m) < Math.abs(outline.s_m[best]! - s_m)) best = i;
  });
  return best;
}

/** Points as a picture writes them. */
export function written(points: XY[]): string {
  return points.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" ");
}

/** The points from one distance to another in driving order, over the start line if need be. */
export function between(outline: Outline, from_m: number, to_m: number): number[] {
  const [first, last] = [pointAt(outline, from_m), pointAt(outline, to_m)];
  const count = outline.s_m.length;
  const span = (last - first + count) % count;
  return Array.from({ length: span + 1 }, (_, i) => (first + i) % count);
}

const REACHES = [22, 32, 44, 58];
const TURNS = 16;

/** A place for each label near its point, clear of the line and of the labels set before. */
export function labelPlaces(points: XY[], line: XY[], sheet: Sheet): XY[] {
  const set: XY[] = [];
  for (const point of points) {
    let best: XY = point;
    let least = Infinity;
    for (const reach of REACHES)
      for (let turn = 0; turn < TURNS; turn += 1) {
        const angle = (2 * Math.PI * turn) / TURNS;
        const tried: XY = [point[0] + reach * Math.cos(angle), point[1] + reach * Math.sin(angle)];
        const price = priceOf(tried, reach, set, line, sheet);
        if (price < least) [best, least] = [tried, price];
      }
    set.push(best);
  }
  return set;
}

function priceOf(at: XY, reach: number, set: XY[], line: XY[], sheet: Sheet): number {
  const near = (other: XY) => Math.hypot(other[0] - at[0], other[1] - at[1]);
  const onLine = line.filter((one) => near(one) < 17).length;
  const onOthers = set.filter((one) => near(one) < 38).length;
  const out = at[0] < 20 || at[0] > sheet.width - 20 || at[1] < 16 || at[1] > sheet.height - 22;
  return reach / 10 + onLine + 40 * onOthers + (out ? 60 : 0);
}
