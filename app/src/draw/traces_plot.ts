/** Three plots over one distance, drawn on canvases: they pan and zoom together. */
import uPlot from "uplot";

type Values = readonly (number | null)[];

export interface TraceLine {
  name: string;
  /** One list per panel, all as long as the distance. */
  panels: Values[];
}

export interface Panel {
  name: string;
  height: number;
  show: (value: number) => string;
}

export interface TracesInput {
  s_m: number[];
  panels: Panel[];
  lines: TraceLine[];
  /** Names at places of the road. */
  places: { s_m: number; name: string }[];
  showPlace: (s_m: number) => string;
  /** Metres in the unit in which places are shown, so that the axis has round numbers. */
  unit_m: number;
  /** Index of the place under the pointer; null where it is outside. */
  onPointer: (index: number | null) => void;
}

export interface TracesPlot {
  /** Show from here to there, as far as the road goes. */
  look: (from: number, to: number) => void;
  seen: () => [number, number];
  resize: () => void;
  destroy: () => void;
}

const LEAST_M = 40;
/** How lines are told apart without colour: role of the ink, width, dashes. */
export const STROKES: { role: string; width: number; dash?: number[] }[] = [
  { role: "--ink", width: 2.2 },
  { role: "--ink", width: 1.5, dash: [7, 4] },
  { role: "--soft", width: 1.5 },
  { role: "--ink", width: 1.5, dash: [2, 3] },
  { role: "--soft", width: 1.5, dash: [10, 3, 2, 3] },
  { role: "--edge", width: 3 },
];

/** Draw into an element; the canvases take the colours of the page as they are now. */
export function mountTraces(host: HTMLElement, input: TracesInput): TracesPlot {
  const end = input.s_m.at(-1) ?? 1;
  let seen: [number, number] = [input.s_m[0] ?? 0, end];
  const plots = input.panels.map((_, panel) => makePlot(host, input, panel));
  const look = (from: number, to: number) => {
    seen = inside(from, to, input.s_m[0] ?? 0, end);
    // One frame for all of them: uPlot gathers what is set and draws once.
    for (const plot of plots) plot.setScale("x", { min: seen[0], max: seen[1] });
  };
  const forget = pointer(host, plots, () => seen, look);
  return {
    look,
    seen: () => seen,
    resize: () => plots.forEach((plot, i) => plot.setSize({ width: host.clientWidth, height: input.panels[i]!.height })),
    destroy: () => {
      forget();
      for (const plot of plots) plot.destroy();
    },
  };
}

/** A stretch no shorter than can be read, and inside the road. */
export function inside(from: number, to: number, low: number, high: number): [number, number] {
  const wide = Math.min(Math.max(to - from, LEAST_M), high - low);
  const middle = (from + to) / 2;
  const start = Math.min(Math.max(middle - wide / 2, low), high - wide);
  return [start, start + wide];
}

const TICK_PX = 70;

/** Places of an axis that are round in the unit shown: steps of 1, 2 or 5 and noughts, at most `most`. */
export function ticks(low_m: number, high_m: number, most: number, unit_m: number): number[] {
  const least = (high_m - low_m) / unit_m / Math.max(most, 1);
  const ten = 10 ** Math.floor(Math.log10(least));
  const step = ten * ([1, 2, 5].find((one) => one * ten >= least) ?? 10);
  const first = Math.ceil(low_m / unit_m / step - 1e-9);
  const last = Math.floor(high_m / unit_m / step + 1e-9);
  return Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => (first + i) * step * unit_m);
}

function makePlot(host: HTMLElement, input: TracesInput, number: number): uPlot {
  const panel = input.panels[number]!;
  const ink = (role: string) => getComputedStyle(document.documentElement).getPropertyValue(role).trim();
  const last = number === input.panels.length - 1;
  const lines = input.lines.map((line, i) => {
    const stroke = STROKES[i % STROKES.length]!;
    return { label: line.name, stroke: ink(stroke.role), width: stroke.width, dash: stroke.dash, points: { show: false } };
  });
  const axis = { stroke: ink("--ink"), font: "12px Lato, sans-serif", grid: { stroke: ink("--rule"), width: 1 }, ticks: { show: false } };
  const options: uPlot.Options = {
    width: host.clientWidth || 600,
    height: panel.height,
    legend: { show: false },
    cursor: { drag: { x: false, y: false, setScale: false }, sync: { key: "laps" }, points: { show: false } },
    scales: { x: { time: false, auto: false, min: input.s_m[0] ?? 0, max: input.s_m.at(-1) ?? 1 } },
    series: [{}, ...lines],
    axes: [
      {
        ...axis,
        show: last,
        size: 28,
        splits: (plot, _, low, high) => ticks(low, high, plot.bbox.width / (devicePixelRatio || 1) / TICK_PX, input.unit_m),
        values: (_, all) => all.map(input.showPlace),
      },
      { ...axis, size: 66, values: (_, all) => all.map(panel.show) },
    ],
    hooks: {
      drawClear: number === 0 ? [(plot) => names(plot, input.places, ink("--soft"), ink("--rule"))] : [],
      setCursor: number === 0 ? [(plot) => input.onPointer(plot.cursor.idx ?? null)] : [],
    },
    padding: [number === 0 ? 18 : 6, 10, last ? 0 : 8, 0],
  };
  const data = [input.s_m, ...input.lines.map((line) => line.panels[number]!)];
  return new uPlot(options, data as unknown as uPlot.AlignedData, host);
}

/** Names of the zones over the uppermost panel, each at its brake point. */
function names(plot: uPlot, places: TracesInput["places"], ink: string, rule: string): void {
  const { ctx, bbox } = plot;
  const ratio = devicePixelRatio || 1;
  ctx.save();
  ctx.font = `${12 * ratio}px Lato, sans-serif`;
  let free = -Infinity;
  for (const place of places) {
    const x = plot.valToPos(place.s_m, "x", true);
    if (x < bbox.left || x > bbox.left + bbox.width) continue;
    ctx.strokeStyle = rule;
    ctx.beginPath();
    ctx.moveTo(x, bbox.top);
    ctx.lineTo(x, bbox.top + bbox.height);
    ctx.stroke();
    if (x < free) continue; // two names do not stand in each other
    ctx.fillStyle = ink;
    ctx.fillText(place.name, x + 2 * ratio, bbox.top - 5 * ratio);
    free = x + ctx.measureText(place.name).width + 8 * ratio;
  }
  ctx.restore();
}

/** Drag to pan, wheel to zoom; gives what takes both away again. */
function pointer(host: HTMLElement, plots: uPlot[], seen: () => [number, number], look: (from: number, to: number) => void): () => void {
  let held: { x: number; from: number; to: number } | null = null;
  let frame = 0;
  const width = () => (plots[0]?.bbox.width ?? 1) / (devicePixelRatio || 1);
  const down = (event: PointerEvent) => {
    if (event.button !== 0) return;
    const [from, to] = seen();
    held = { x: event.clientX, from, to };
    host.setPointerCapture(event.pointerId);
  };
  const move = (event: PointerEvent) => {
    if (!held) return;
    const { x, from, to } = held;
    const shift = ((x - event.clientX) / width()) * (to - from);
    cancelAnimationFrame(frame);
    frame = requestAnimationFrame(() => look(from + shift, to + shift));
  };
  const up = () => (held = null);
  const wheel = (event: WheelEvent) => {
    if (!event.ctrlKey && !event.shiftKey) return; // the page scrolls as everywhere
    event.preventDefault();
    const [from, to] = seen();
    const left = host.getBoundingClientRect().left + (plots[0]?.bbox.left ?? 0) / (devicePixelRatio || 1);
    const part = Math.min(Math.max((event.clientX - left) / width(), 0), 1);
    const wide = (to - from) * (event.deltaY + event.deltaX > 0 ? 1.25 : 0.8);
    const at = from + part * (to - from);
    look(at - part * wide, at + (1 - part) * wide);
  };
  host.addEventListener("pointerdown", down);
  host.addEventListener("pointermove", move);
  host.addEventListener("pointerup", up);
  host.addEventListener("pointercancel", up);
  host.addEventListener("wheel", wheel, { passive: false });
  return () => {
    cancelAnimationFrame(frame);
    host.removeEventListener("pointerdown", down);
    host.removeEventListener("pointermove", move);
    host.removeEventListener("pointerup", up);
    host.removeEventListener("pointercancel", up);
    host.removeEventListener("wheel", wheel);
  };
}
