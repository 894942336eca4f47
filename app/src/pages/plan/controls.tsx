/** The sliders: what the plan would be if the driver, the day or the car were a little different. */
import { Slider } from "../../parts/field";
import { percent } from "../../words/units";
import { KEYS, letGo, move, rest, sliders, useOwn, type SliderKey } from "./sliders";
import type { Stairs } from "./stairs";

interface Way {
  key: SliderKey;
  label: string;
  min: number;
  max: number;
  step: number;
  own: number;
  show: (value: number) => string;
  help?: string;
}

export function Controls({ stairs }: { stairs: Stairs }) {
  const own = useOwn();
  const most = Math.max(stairs.zones.length, 1);
  const ways: Way[] = [
    { key: "changes", label: "Changes in a lap", min: 0, max: most, step: 1, own: own.changes ?? stairs.changes, show: (v) => allowed(v, stairs.changes) },
    { key: "boldness", label: "Boldness", min: 0.3, max: 3, step: 0.1, own: own.boldness, show: bold, help: "How little a mistake is feared: a race start is bolder than a test day." },
    { key: "scatter", label: "Scatter of the braking", min: 0.4, max: 2.5, step: 0.05, own: 1, show: (v) => (v === 1 ? "as in the driver’s file" : `${percent(v)} of the file’s`) },
    { key: "grip", label: "Grip", min: 0.4, max: 1.2, step: 0.01, own: own.grip, show: (v) => `${percent(v)} of dry` },
  ];
  if (own.fuel !== null || sliders.value.fuel !== "")
    ways.push({ key: "fuel", label: "Fuel aboard", min: 0, max: Math.max(120, own.fuel ?? 0), step: 1, own: own.fuel ?? 0, show: (v) => `${v} kg` });
  const moved = KEYS.some((key) => sliders.value[key] !== "");
  return (
    <section class="card stack noprint" aria-label="What if">
      <div class="row"><h2>What if</h2>{moved && <button type="button" class="bare" onClick={letGo}>Back to the files</button>}</div>
      {ways.map((way) => <One key={way.key} way={way} />)}
    </section>
  );
}

/** How many changes are allowed, and how many of them the plan makes. */
function allowed(most: number, made: number): string {
  const said = most === 1 ? "1 change" : `${most} changes`;
  return made < most ? `${said}, ${made === 0 ? "none pays" : made === 1 ? "1 pays" : `${made} pay`}` : said;
}

function bold(value: number): string {
  if (value === 1) return "ordinary";
  return value > 1 ? `mistakes cost ÷ ${value.toFixed(1)}` : `mistakes cost × ${(1 / value).toFixed(1)}`;
}

function One({ way }: { way: Way }) {
  const text = sliders.value[way.key];
  const value = text === "" ? way.own : Number(text);
  return (
    <Slider
      label={way.label}
      min={way.min}
      max={way.max}
      step={way.step}
      value={value}
      shown={way.show(value)}
      help={way.help}
      onMove={(to) => move(way.key, String(to))}
      onRest={(_, to) => rest(way.key, `${way.label}: ${way.show(to)}`)}
    />
  );
}
