/** Laps over the distance: the plots, the hand on them, and the values under the pointer. */
import { useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import "uplot/dist/uPlot.min.css";
import { lightNow } from "../house/light";
import { mountTraces, STROKES, type Panel, type TraceLine, type TracesPlot } from "./traces_plot";

interface TracesProps {
  label: string;
  s_m: number[];
  panels: Panel[];
  lines: TraceLine[];
  places: { s_m: number; name: string }[];
  showPlace: (s_m: number) => string;
  unit_m: number;
  /** A stretch to look at; a new one moves the view. */
  stretch: [number, number] | null;
}

export function Traces(props: TracesProps) {
  const host = useRef<HTMLDivElement>(null);
  const plot = useRef<TracesPlot | null>(null);
  const at = useSignal<number | null>(null);
  const light = lightNow.value;
  useEffect(() => {
    const before = plot.current?.seen();
    const made = mountTraces(host.current!, { ...props, onPointer: (index) => (at.value = index) });
    plot.current = made;
    if (before) made.look(...before);
    const watch = new ResizeObserver(() => made.resize());
    watch.observe(host.current!);
    return () => { watch.disconnect(); made.destroy(); };
  }, [props.s_m, props.lines, props.panels, light]);
  useEffect(() => {
    if (props.stretch) plot.current?.look(...props.stretch);
  }, [props.stretch?.join()]);
  const end = props.s_m.at(-1) ?? 0;
  const move = (part: number) => shift(plot.current, part);
  const zoom = (factor: number) => scale(plot.current, factor);
  const keys: Record<string, () => void> = {
    ArrowLeft: () => move(-0.2),
    ArrowRight: () => move(0.2),
    "+": () => zoom(0.7),
    "-": () => zoom(1 / 0.7),
    Home: () => plot.current?.look(0, end),
  };
  return (
    <div class="traces">
      <div class="row noprint" role="group" aria-label="Move along the lap">
        <button type="button" aria-label="Back along the lap" onClick={() => move(-0.4)}>←</button>
        <button type="button" aria-label="On along the lap" onClick={() => move(0.4)}>→</button>
        <button type="button" onClick={() => zoom(0.6)}>Closer</button>
        <button type="button" onClick={() => zoom(1 / 0.6)}>Wider</button>
        <button type="button" onClick={() => plot.current?.look(0, end)}>Whole lap</button>
        <small>Drag to move; Shift and the wheel to come closer.</small>
      </div>
      <div
        ref={host}
        class="plots"
        role="group"
        tabIndex={0}
        aria-label={props.label}
        onKeyDown={(event) => {
          const found = keys[event.key];
          if (!found) return;
          event.preventDefault();
          found();
        }}
      />
      <Reading {...props} at={at.value} />
    </div>
  );
}

function shift(plot: TracesPlot | null, part: number): void {
  if (!plot) return;
  const [from, to] = plot.seen();
  const step = part * (to - from);
  plot.look(from + step, to + step);
}

function scale(plot: TracesPlot | null, factor: number): void {
  if (!plot) return;
  const [from, to] = plot.seen();
  const half = ((to - from) * factor) / 2;
  plot.look((from + to) / 2 - half, (from + to) / 2 + half);
}

/** What the lines are, and their values under the pointer. */
function Reading({ lines, panels, s_m, showPlace, at }: TracesProps & { at: number | null }) {
  const place = at === null ? null : s_m[at];
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Values under the pointer">
      <table class="reading">
        <thead>
          <tr>
            <th scope="col">{place === null || place === undefined ? "Lap" : `At ${showPlace(place)}`}</th>
            {panels.map((panel) => <th key={panel.name} scope="col" class="number">{panel.name}</th>)}
          </tr>
        </thead>
        <tbody>
          {lines.map((line, i) => (
            <tr key={line.name}>
              <th scope="row"><Sample number={i} /> {line.name}</th>
              {panels.map((panel, k) => {
                const value = at === null ? null : line.panels[k]?.[at];
                return <td key={panel.name} class="number">{value === null || value === undefined ? "" : panel.show(value)}</td>;
              })}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

function Sample({ number }: { number: number }) {
  const stroke = STROKES[number % STROKES.length]!;
  return (
    <svg viewBox="0 0 34 10" width="34" height="10" aria-hidden="true">
      <line x1="1" x2="33" y1="5" y2="5" stroke={`var(${stroke.role})`} stroke-width={stroke.width} stroke-dasharray={stroke.dash?.join(" ")} />
    </svg>
  );
}
