/** What a column holds: its line over about a lap, and its least, middle and greatest value. */
import type { Of } from "../../api/types";
import { decel, length, percent, pressure, speed } from "../../words/units";

type Preview = Of<"ChannelPreview">;

const WIDTH = 120;
const HEIGHT = 26;

export function Holds({ of }: { of: Preview | null | undefined }) {
  if (!of || of.least === null || of.middle === null || of.greatest === null) return null;
  const [least, middle, greatest] = [of.least, of.middle, of.greatest].map((one) => held(one, of.unit));
  if (of.least === of.greatest) return <small>always {least}</small>;
  return (
    <>
      <svg class="sparkline" viewBox={`0 0 ${WIDTH} ${HEIGHT}`} aria-hidden="true">
        <path d={pathOf(of.line, of.least, of.greatest)} />
      </svg>
      <small><span class="unseen">least </span>{least} … <span class="unseen">middle </span>{middle} … <span class="unseen">greatest </span>{greatest}</small>
    </>
  );
}

/** A line through what is known, from the least value of the log at the foot to the greatest. */
export function pathOf(line: readonly (number | null)[], least: number, greatest: number): string {
  const x = (i: number) => 1 + (i / Math.max(line.length - 1, 1)) * (WIDTH - 2);
  const y = (value: number) => HEIGHT - 2 - ((value - least) / (greatest - least)) * (HEIGHT - 4);
  let open = false;
  return line
    .map((value, i) => {
      const step = value === null ? "" : `${open ? "L" : "M"}${x(i).toFixed(1)} ${y(value).toFixed(1)}`;
      open = value !== null;
      return step;
    })
    .join("");
}

const SHOWN: Record<string, (value: number) => string> = {
  "m/s": speed,
  "m/s2": decel,
  Pa: pressure,
  m: length,
  frac: percent,
  rad: (value) => `${Math.round((value * 180) / Math.PI)}°`,
  "1": plain,
};

/** A value in the unit people read; of a column nobody has named yet, as it was recorded. */
export function held(value: number, unit: string): string {
  return (SHOWN[unit]?.(value) ?? `${plain(value)} ${unit}`.trim()).replace("-", "−");
}

function plain(value: number): string {
  return String(Number(value.toPrecision(Math.abs(value) >= 1000 ? 6 : 4)));
}
