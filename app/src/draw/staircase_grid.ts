/** Where zones and settings lie in the staircase: zones from left to right, forward settings up. */
import { changesBefore, indexOf, type Stairs } from "../pages/plan/stairs";

export interface Grid {
  width: number;
  height: number;
  left: number;
  top: number;
  /** Width of a zone's column, height of a setting's row. */
  column: number;
  row: number;
  bottom: number;
  /** Whether names stand upright under their columns. */
  upright: boolean;
  x: (zone: number) => number;
  /** Top of the row of a setting by its place in the list. */
  y: (index: number) => number;
}

const LEFT = 58;
const RIGHT = 6;
const TOP = 40;
const LETTER = 5.9;
/** No column is narrower: its number must be read, and a finger must find it. */
const COLUMN_LEAST = 29;

/** Fit the staircase into a width; with many zones it grows wider than that. */
export function gridOf(stairs: Stairs, room: number): Grid {
  const rows = stairs.settings.length;
  const count = Math.max(stairs.zones.length, 1);
  const width = Math.max(room, LEFT + RIGHT + count * COLUMN_LEAST);
  const column = (width - LEFT - RIGHT) / count;
  const row = Math.min(18, Math.max(9, Math.round(430 / Math.max(rows, 1))));
  const bottom = TOP + rows * row;
  const upright = column < 70;
  const longest = Math.max(...stairs.zones.map((zone) => zone.name.length), 4);
  const foot = upright ? Math.min(longest * LETTER, 150) + 14 : 52;
  return {
    width,
    height: bottom + foot,
    left: LEFT,
    top: TOP,
    column,
    row,
    bottom,
    upright,
    x: (zone) => LEFT + zone * column,
    y: (index) => TOP + (stairs.higher === "front" ? rows - 1 - index : index) * row,
  };
}

/** Place in the list of settings at a height above the picture's top. */
export function indexAt(stairs: Stairs, grid: Grid, y: number): number {
  const rows = stairs.settings.length;
  const down = Math.min(Math.max(Math.floor((y - grid.top) / grid.row), 0), rows - 1);
  return stairs.higher === "front" ? rows - 1 - down : down;
}

/** The plan's line: along each zone at its setting, up and down between them. */
export function stairPath(stairs: Stairs, grid: Grid): string {
  const corners = stairs.zones.map((zone, i) => {
    const y = grid.y(indexOf(stairs, zone.setting)) + grid.row / 2;
    return `${grid.x(i).toFixed(1)},${y} ${grid.x(i + 1).toFixed(1)},${y}`;
  });
  return `M${corners.join(" L")}`;
}

/** "2 F" for each zone before which the adjuster is moved, else nothing. */
export function changeWords(stairs: Stairs): string[] {
  return changesBefore(stairs).map((steps) => (steps ? `${Math.abs(steps)} ${steps > 0 ? "F" : "R"}` : ""));
}

/** Equal neighbours in one piece: [first, last, value], by their places in the list. */
export function runs<T>(values: T[]): [number, number, T][] {
  const found: [number, number, T][] = [];
  values.forEach((value, i) => {
    const last = found.at(-1);
    if (last && last[2] === value) last[1] = i;
    else found.push([i, i, value]);
  });
  return found;
}

/** A name in lines of at most so many letters; a longer word stands alone. */
export function lines(name: string, letters: number): string[] {
  const found: string[] = [];
  for (const word of name.split(/\s+/)) {
    const last = found.at(-1);
    if (last !== undefined && last.length + 1 + word.length <= letters) found[found.length - 1] = `${last} ${word}`;
    else found.push(word);
  }
  return found.slice(0, 3);
}
