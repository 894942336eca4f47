/** The corners as somebody types or pastes them, and the zone sheet they make. */
import type { Table } from "../../api/library";
import { numberOf } from "../../parts/field";

export type Turn = "left" | "right" | "none";
export type Speeds = "kmh" | "mph";

/** One corner, every cell as typed. */
export interface Corner {
  name: string;
  from: string;
  to: string;
  turn: Turn | "";
  /** Radius at the apex in metres, or the cornering load in g: no corner is tighter than 6 m. */
  side: string;
  /** Where the brake is off: 0 at turn-in, 1 at the apex. */
  depth: string;
  /** Seconds before it with a hand free. */
  hand: string;
}

export type Cell = keyof Corner;

export const EMPTY: Corner = { name: "", from: "", to: "", turn: "", side: "", depth: "", hand: "" };

/** What stands for a cell left empty; common practice, no source. */
export const USUAL = { turn: "right", depth: 0.5, hand: 2 } as const;

/** Above this a number is a radius. A cornering load beyond it no car reaches. */
const LOAD_MOST_G = 6;

// Exact by definition: international mile and foot, 1959.
const KMH_PER_MPH = 1.609344;

export function isBlank(one: Corner): boolean {
  return one.name.trim() === "" && one.from.trim() === "" && one.to.trim() === "" && one.side.trim() === "";
}

/** What is still missing or wrong in a corner that was begun; null where it can be used. */
export function lacks(one: Corner): { cell: Cell; text: string } | null {
  const from = numberOf(one.from);
  const to = numberOf(one.to);
  if (from === null) return { cell: "from", text: one.from.trim() ? "The speed is no number." : "Needs the speed where braking begins." };
  if (to === null) return { cell: "to", text: one.to.trim() ? "The speed is no number." : "Needs the lowest speed." };
  if (to >= from) return { cell: "to", text: "The lowest speed must be below the speed where braking begins." };
  for (const cell of ["side", "depth", "hand"] as const)
    if (one[cell].trim() && numberOf(one[cell]) === null) return { cell, text: "This is no number." };
  return null;
}

/** The zone sheet of the corners that can be used; null where there are none. */
export function sheetOf(corners: readonly Corner[], speeds: Speeds, usualLoad_g: number): Table | null {
  const rows = corners.flatMap((one, at) =>
    isBlank(one) || lacks(one) ? [] : [row(one, at + 1, speeds, usualLoad_g)],
  );
  if (!rows.length) return null;
  const columns = COLUMNS.filter((column) => rows.some((one) => column in one) || NEEDED.includes(column));
  return { columns, rows };
}

const COLUMNS = ["name", "approach_kmh", "min_kmh", "radius_m", "lateral_g", "depth_frac", "direction", "hand_time_s"];
const NEEDED = ["name", "approach_kmh", "min_kmh", "lateral_g", "depth_frac", "direction", "hand_time_s"];

function row(one: Corner, number: number, speeds: Speeds, usualLoad_g: number): Record<string, string> {
  const direction = one.turn || USUAL.turn;
  const made: Record<string, string> = {
    name: one.name.trim() || `Corner ${number}`,
    approach_kmh: kmh(one.from, speeds),
    min_kmh: kmh(one.to, speeds),
    depth_frac: String(numberOf(one.depth) ?? USUAL.depth),
    direction,
    hand_time_s: String(numberOf(one.hand) ?? USUAL.hand),
  };
  if (direction === "none") return made;
  const side = numberOf(one.side);
  if (side !== null && side > LOAD_MOST_G) made.radius_m = String(side);
  else made.lateral_g = String(side ?? usualLoad_g);
  return made;
}

function kmh(typed: string, speeds: Speeds): string {
  const number = numberOf(typed) ?? 0;
  return String(speeds === "mph" ? Number((number * KMH_PER_MPH).toFixed(1)) : number);
}

// ---------------------------------------------------------------- rows from a spreadsheet

export interface Pasted {
  corners: Corner[];
  /** Said by the header; null where it says nothing of speeds. */
  speeds: Speeds | null;
}

/** Words a heading may use, per cell; the first that fits is taken. */
const HEADINGS: [Cell, RegExp][] = [
  ["hand", /hand|free|adjust|straight.*\bs\b/],
  ["depth", /depth|deep|released|brake.?off/],
  ["turn", /direction|turns?\b|left.*right|l\/r/],
  ["side", /radius|lateral|\bload\b|\bg\b/],
  ["to", /\bmin|lowest|apex|\bto\b|\bexit|slow/],
  ["from", /approach|entry|from|begin|brak|max|top|fast/],
  ["name", /name|corner|zone|what/],
];

/** The order of the cells where no header names them. */
const ORDER: readonly Cell[] = ["name", "from", "to", "turn", "side", "depth", "hand"];

/** Read rows copied from a spreadsheet or a file: tab, semicolon or comma, with or without header. */
export function readPasted(text: string): Pasted {
  const lines = text.split(/\r?\n/).filter((line) => line.trim() && !line.trimStart().startsWith("#"));
  if (!lines.length) return { corners: [], speeds: null };
  const cut = separatorOf(lines);
  const rows = lines.map((line) => cellsOf(line, cut));
  const heading = headingOf(rows[0]!);
  const order = heading ?? orderOf(rows[0]!);
  const body = heading ? rows.slice(1) : rows;
  const said = heading ? rows[0]!.join(" ").toLowerCase() : "";
  return {
    corners: body.map((cells) => cornerOf(cells, order, said)),
    speeds: said.includes("mph") ? "mph" : /km\/?h|kph/.test(said) ? "kmh" : null,
  };
}

/** A tab is one wherever it stands; a semicolon leaves the comma free for decimals. */
function separatorOf(lines: string[]): string {
  for (const mark of ["\t", ";"]) if (lines.every((line) => line.includes(mark))) return mark;
  return lines.some((line) => line.includes("\t")) ? "\t" : ",";
}

function cellsOf(line: string, cut: string): string[] {
  const cells: string[] = [];
  let quoted = false;
  let now = "";
  for (const mark of line) {
    if (mark === '"') quoted = !quoted;
    else if (mark === cut && !quoted) { cells.push(now.trim()); now = ""; }
    else now += mark;
  }
  return [...cells, now.trim()];
}

/** Which cell each column is, if the row names them; a row with a speed in it is none. */
function headingOf(cells: string[]): (Cell | null)[] | null {
  if (cells.some((one) => numberOf(one) !== null)) return null;
  const free = new Set<Cell>(ORDER);
  const found = cells.map((cell) => {
    const plain = cell.toLowerCase().replaceAll("_", " ");
    const hit = HEADINGS.find(([name, words]) => free.has(name) && words.test(plain));
    if (hit) free.delete(hit[0]);
    return hit?.[0] ?? null;
  });
  return found.includes("from") && found.includes("to") ? found : null;
}

/** Which cell each column is where no header says it. */
function orderOf(cells: string[]): readonly Cell[] {
  const order = isNamed(cells) ? ORDER : ORDER.slice(1);
  const turn = order.indexOf("turn");
  const swapped = cells[turn] !== undefined && numberOf(cells[turn]!) !== null;
  return swapped ? order.map((one) => (one === "turn" ? "side" : one === "side" ? "turn" : one)) : order;
}

/** A first cell in words is a name, and so is the 1 of "1, 210, 80". */
function isNamed(cells: string[]): boolean {
  const [first, from, to] = [cells[0], cells[1], cells[2]].map((one) => numberOf(one ?? ""));
  if (first == null) return true;
  return from != null && to != null && first < from && to < from;
}

function cornerOf(cells: string[], order: readonly (Cell | null)[], said: string): Corner {
  const made: Corner = { ...EMPTY };
  cells.forEach((cell, at) => {
    const name = order[at];
    if (!name || !cell) return;
    if (name === "turn") made.turn = turnOf(cell);
    else if (name === "name") made.name = cell;
    else made[name] = bare(cell);
  });
  if (/radius[^,;\t]*\bft\b/.test(said) && numberOf(made.side) !== null)
    made.side = String(Math.round(numberOf(made.side)! * 0.3048));
  return made;
}

/** "210 km/h" and "0,5 s" without their unit; what is no number stays as it is, to be mended. */
function bare(cell: string): string {
  const found = /^([+-]?\d+(?:[.,]\d+)?)\s*[a-z/%²]*$/i.exec(cell);
  return found ? found[1]!.replace(",", ".") : cell;
}

function turnOf(cell: string): Turn | "" {
  const first = cell.trim().toLowerCase();
  if (/^l/.test(first)) return "left";
  if (/^r/.test(first)) return "right";
  return /^(n|s|-)/.test(first) ? "none" : "";
}
