/** What somebody says of a log's columns, and how it is written down. */
import type { Of } from "../../api/types";

/** By column: "ignored", or a channel with its unit such as "pressure_front_Pa:bar". */
export type Said = Record<string, string>;

export interface Column {
  column: string;
  channel: string;
  unit?: string;
  sign?: number;
  scale?: number;
}

export interface MappingValue {
  schema?: string;
  columns_sha256?: string;
  column?: Column[];
}

export const IGNORED = "ignored";

/** Channels that have a direction, so that a log may count them the other way. */
const SIGNED = /^(accel_|yaw_rate|steer|steering_wheel|heading)/;

export function mayTurn(choice: string): boolean {
  return SIGNED.test(choice.replace(/^-/, ""));
}

/** Every channel, and the units each may be recorded in. */
export type Catalogue = Record<string, string[]>;

/** A channel whose unit nobody has said yet, as "pressure_front_Pa:?". */
const OPEN_UNIT = ":?";

export function lacksUnit(meaning: string): boolean {
  return meaning.endsWith(OPEN_UNIT);
}

/** A channel as a choice: with its unit where it has only one, or where the log writes one of them. */
export function choiceOf(channel: string, units: readonly string[], written: string): string {
  if (units.length === 1) return units[0] === "1" ? channel : `${channel}:${units[0]}`;
  return channel + (units.includes(written) ? `:${written}` : OPEN_UNIT);
}

/** The channel of a choice, and its unit. */
export function partsOf(choice: string): [channel: string, unit: string] {
  const [channel = "", unit = ""] = choice.replace(/^-/, "").split(":");
  return [channel, unit];
}

/** Words such as "Brake=pressure_front_Pa:bar", as the jobs take them. */
export function mapsOf(said: Said): string[] {
  return Object.entries(said)
    .filter(([, meaning]) => isWhole(meaning))
    .map(([column, meaning]) => `${column}=${meaning}`);
}

function isWhole(meaning: string): boolean {
  return meaning !== "" && !lacksUnit(meaning);
}

/** One column as a mapping file has it. */
export function columnOf(column: string, meaning: string): Column {
  const [name, unit] = partsOf(meaning);
  const made: Column = { column, channel: name };
  if (unit) made.unit = unit;
  if (meaning.startsWith("-")) made.sign = -1;
  return made;
}

/** The mapping with what was said put into it; the newer word on a column or a channel stands. */
export function joined(old: MappingValue | null, said: Said, columns_sha256: string): MappingValue {
  const fresh = Object.entries(said).filter(([, meaning]) => isWhole(meaning)).map(([column, meaning]) => columnOf(column, meaning));
  const columns = new Set(fresh.map((one) => one.column));
  const channels = new Set(fresh.map((one) => one.channel).filter((one) => one !== IGNORED));
  const kept = (old?.column ?? []).filter((one) => !columns.has(one.column) && !channels.has(one.channel));
  return { schema: "foreaft.mapping/1", columns_sha256, column: [...kept, ...fresh] };
}

/** A choice in plain words: "pressure_front_Pa:bar" is "front brake pressure, in bar". */
export function inWords(choice: string): string {
  const [name, unit] = partsOf(choice);
  const plain = NAMES[name] ?? name.replace(/_(mps2|mps|radps|rad|Pa|frac|deg|N|m|s)$/, "").replaceAll("_", " ");
  return unit ? `${plain}, in ${unit}` : plain;
}

const NAMES: Record<string, string> = {
  speed_mps: "speed",
  accel_x_mps2: "acceleration forward",
  accel_y_mps2: "acceleration to the left",
  yaw_rate_radps: "yaw rate",
  steer_rad: "angle of the front wheels",
  steering_wheel_rad: "angle of the steering wheel",
  throttle_frac: "throttle",
  brake_pedal_frac: "brake pedal, part of its travel",
  pedal_force_N: "force on the brake pedal",
  pressure_front_Pa: "brake pressure, front",
  pressure_rear_Pa: "brake pressure, rear",
  engine_speed_radps: "engine speed",
  setting: "setting of the brake balance",
  lap_count: "lap number",
  lap_distance_m: "distance since the line",
  time_s: "the clock",
};

/** Channels nobody has settled yet, those asked for first. */
export function askedOf(channels: readonly Of<"ChannelFace">[]): Of<"ChannelFace">[] {
  return channels.filter((one) => one.state === "asked");
}
