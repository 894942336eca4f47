/** A refusal in the words of the page: places by the names people gave, numbers in their units. */
import type { Problem } from "../../api/call";
import { itemOf } from "../../api/library";
import { units, type Units } from "../../words/units";
import { scaleOf, textIn } from "./scale";

/** What stands above the columns of a zone sheet or of a circuit's zones, by their keys. */
export const COLUMN_WORDS: Record<string, string> = {
  name: "Zone",
  approach_kmh: "Brakes from",
  min_kmh: "Lowest",
  radius_m: "Radius",
  lateral_g: "Load",
  direction: "Turns",
  depth_frac: "Brake off",
  hand_time_s: "Hand free",
  brake_at_turn_in_frac: "Left at turn-in",
  gear: "Gear",
  surface: "Road",
  run_off: "Beyond",
  turn_in_s_m: "Turn-in",
  apex_s_m: "Apex",
};

/** Where a key and a line are on this page; empty where the message stands beside its place. */
export type Where = (key: string | null, line: number | null) => string;

/** For those who have the text of the file before them. */
export const asWritten: Where = (key, line) => [line && `line ${line}`, key].filter(Boolean).join(", ");

export interface Told {
  text: string;
  /** What was found and what would do; empty where the text says it. */
  details: string;
  hint: string;
  /** The single things, where several are wrong at once. */
  each: string[];
}

/** One of several things, as the server lists them under its first line. */
const LISTED = /^- (?:line (\d+): )?([\w.-]+): (.+)$/;

export function told(wrong: Problem, where?: Where, system: Units = units.value): Told {
  const place = where ?? ((key, line) => [nameOf(wrong.file), line && `line ${line}`, wordOf(key)].filter(Boolean).join(", "));
  const [head = "", ...lines] = wrong.message.split("\n");
  if (lines.length) return { text: head, details: "", hint: "", each: lines.map((one) => listed(one, place, system)) };
  const say = (text: string | null) => plain(inUnits(text ?? "", wrong.unit, wrong.allowed, system));
  const unit = scaleOf(wrong.unit ?? "", upperOf(wrong.allowed), system).unit;
  const text = say(wrong.message);
  const found = wrong.value === null ? "" : say(String(wrong.value));
  const allowed = say(wrong.allowed);
  const details = [
    found && found !== wrong.file && !text.includes(found) && `found ${found} ${unit}`.trim(),
    allowed && `allowed: ${allowed} ${unit}`.trim(),
  ];
  return { text: at(place(wrong.key, wrong.line), text), details: details.filter(Boolean).join("; "), hint: hintIn(wrong, system), each: [] };
}

function listed(line: string, place: Where, system: Units): string {
  const [, number, key = "", text = line] = line.match(LISTED) ?? [];
  return at(key && place(key, number ? Number(number) : null), plain(inUnits(text, unitOf(key), null, system)));
}

function at(where: string, text: string): string {
  return where ? `${where}: ${text}` : text;
}

/** Only what is usual has the unit of the key; other numbers of a hint have their own. */
function hintIn({ hint, unit, allowed }: Problem, system: Units): string {
  return plain((hint ?? "").replace(/Usual: .*?\. /, (usual) => inUnits(usual, unit, allowed, system)));
}

function inUnits(text: string, unit: string | null, allowed: string | null, system: Units): string {
  return textIn(text, scaleOf(unit ?? "", upperOf(allowed), system));
}

/** The end of a range such as "1 to 6". */
function upperOf(allowed: string | null): number | null {
  const found = / to (\d+(?:\.\d+)?)/.exec(allowed ?? "");
  return found ? Number(found[1]) : null;
}

const UNITS: Record<string, string> = { kmh: "km/h", m: "m", mm: "mm", m2: "m2", mm2: "mm2", kg: "kg", N: "N", bar: "bar", W: "W", degC: "degC", hPa: "hPa" };

/** The unit a key has in its name. */
function unitOf(key: string): string {
  return UNITS[key.split("_").at(-1) ?? ""] ?? "";
}

/** Keys that name no place a reader would look for. */
const SAY_NOTHING = /^(file|row|rows|header|table|value|encoding|size|body)$/;
const SUFFIX = /_(kmh|mps2|mps|radps|rad|frac|deg|degC|kgm2|kgpm3|kg|mm2|mm|m2|m|Nm|N|bar|hPa|Pa|W|s|g)$/;

/** A key as people would say it: "brakes.front.piston_area_mm2" is "brakes front piston area". */
export function wordOf(key: string | null): string {
  if (!key || SAY_NOTHING.test(key)) return "";
  const last = key.split(".").at(-1)!;
  return COLUMN_WORDS[last] ?? key.split(".").map((one) => one.replace(SUFFIX, "").replaceAll("_", " ")).join(" ");
}

/** A thing of the library by its name; a file brought in by its own. */
function nameOf(file: string | null): string {
  return file ? (itemOf(file)?.name ?? file.split("/").at(-1)!) : "";
}

/** A text with the columns it names as the page calls them. */
function plain(text: string): string {
  return text
    .replace(/The key [\w.]+ is missing\./, "This is missing.")
    .replace(/\b[a-z]+(?:_[a-z]+)*_(?:kmh|m|g|s|frac)\b/g, (key) => (COLUMN_WORDS[key] ? `“${COLUMN_WORDS[key]}”` : key));
}
