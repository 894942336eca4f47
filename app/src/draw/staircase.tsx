/** The plan as a staircase over what every setting loses in every zone. */
import { EndSign } from "../parts/figure";
import { setting } from "../words/units";
import { indexOf, losses, shade, changesBefore, type Stairs } from "../pages/plan/stairs";
import { changeWords, gridOf, indexAt, lines, runs, stairPath, type Grid } from "./staircase_grid";
import { useWidth } from "./wide";
import "../style/staircase.css";

export interface Place {
  zone: number;
  index: number;
}

interface Props {
  stairs: Stairs;
  /** The cell that is looked at. */
  looked: Place | null;
  /** The zone the pointer or the focus is on, here or on the map. */
  near: number | null;
  /** What a setting does in a zone, in words. */
  tell: (place: Place) => string;
  onLook: (place: Place) => void;
  onNear: (zone: number | null) => void;
}

export function Staircase(props: Props) {
  const [at, width] = useWidth<HTMLDivElement>(700);
  const { stairs } = props;
  const grid = gridOf(stairs, width.value);
  return (
    <div ref={at} class="staircase">
      {/* Where the zones are wider than the screen they move along under an axis that stays. */}
      <div class="pane" {...(grid.width > width.value && { tabIndex: 0, role: "group", "aria-label": "The zones, to be moved sideways" })}>
        <svg class="fixed" viewBox={`0 0 ${grid.left} ${grid.height}`} style={wide(grid.left)} aria-hidden="true">
          <Axis stairs={stairs} grid={grid} />
        </svg>
        <svg viewBox={`${grid.left} 0 ${grid.width - grid.left} ${grid.height}`} style={wide(grid.width - grid.left)} role="group" aria-label="The plan as a staircase: zones in driving order, settings upwards to the front">
          <defs>
            <pattern id="unable" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
              <line x1="0" x2="0" y1="0" y2="5" />
            </pattern>
          </defs>
          {stairs.zones.map((_, i) => <Field key={i} stairs={stairs} grid={grid} zone={i} />)}
          <LapLine stairs={stairs} grid={grid} />
          <path class="stairs under" d={stairPath(stairs, grid)} />
          <path class="stairs" d={stairPath(stairs, grid)} />
          <Marks stairs={stairs} grid={grid} />
          <Heads stairs={stairs} grid={grid} near={props.near} />
          {stairs.zones.map((_, i) => <Column key={i} {...props} grid={grid} zone={i} />)}
        </svg>
      </div>
      <Legend unable={stairs.zones.some((zone) => zone.feasible.includes(false))} />
    </div>
  );
}

/** As wide as drawn, so that letters keep their size; on paper the two parts shrink alike. */
function wide(px: number) {
  return { flex: `${px} 0 ${px}px` };
}

interface Drawn {
  stairs: Stairs;
  grid: Grid;
}

function Axis({ stairs, grid }: Drawn) {
  const every = Math.max(1, Math.ceil(17 / grid.row));
  const lap = indexOf(stairs, stairs.lap);
  return (
    <g aria-hidden="true">
      <EndSign end="front" x={12} y={grid.top - 12} size={11} />
      <text x={22} y={grid.top - 8} class="end front">front</text>
      <EndSign end="rear" x={12} y={grid.bottom + 14} size={11} />
      <text x={22} y={grid.bottom + 18} class="end rear">rear</text>
      {stairs.settings.map((one, i) =>
        i % every === 0 && Math.abs(i - lap) * grid.row > 12 ? (
          <text key={i} x={grid.left - 6} y={grid.y(i) + grid.row / 2 + 4} text-anchor="end" class="tick">{setting(one, stairs.step)}</text>
        ) : null,
      )}
      <text x={grid.left - 6} y={grid.y(lap) + grid.row / 2 + 4} text-anchor="end" class="lapword">lap {setting(stairs.lap, stairs.step)}</text>
    </g>
  );
}

function Field({ stairs, grid, zone }: Drawn & { zone: number }) {
  const found = stairs.zones[zone]!;
  return (
    <g aria-hidden="true">
      {runs(losses(found).map(shade)).map(([first, last, value]) => (
        <rect
          key={first}
          x={grid.x(zone) + 0.5}
          y={Math.min(grid.y(first), grid.y(last))}
          width={grid.column - 1}
          height={(last - first + 1) * grid.row}
          {...(value === null ? { fill: "url(#unable)" } : { class: `field${value}` })}
        />
      ))}
    </g>
  );
}

function LapLine({ stairs, grid }: Drawn) {
  const y = grid.y(indexOf(stairs, stairs.lap)) + grid.row / 2;
  return (
    <line class="lap" x1={grid.left} x2={grid.width - 6} y1={y} y2={y} />
  );
}

function Marks({ stairs, grid }: Drawn) {
  const moves = changesBefore(stairs);
  const words = changeWords(stairs);
  return (
    <g aria-hidden="true">
      {stairs.zones.map((zone, i) => {
        const x = grid.x(i) + grid.column / 2;
        const y = grid.y(indexOf(stairs, zone.setting)) + grid.row / 2;
        const steps = moves[i]!;
        const end = steps > 0 ? "front" : "rear";
        return (
          <g key={i}>
            {zone.advice === "no_matter" && <Flat stairs={stairs} grid={grid} zone={i} />}
            {zone.own !== zone.setting && <circle class="own" cx={x} cy={grid.y(indexOf(stairs, zone.own)) + grid.row / 2} r={3.2} />}
            <circle class="mark" cx={x} cy={y} r={steps || zone.advice === "cannot_tell" ? 8 : 4.5} />
            {zone.advice === "cannot_tell" ? (
              <text class="unsure" x={x} y={y + 4} text-anchor="middle">?</text>
            ) : (
              steps !== 0 && <EndSign end={end} x={x} y={y} size={10} />
            )}
            {steps !== 0 && <text class={`moved ${end}`} x={x} y={y + (wordAbove(stairs, grid, i, steps > 0) ? -12 : 21)} text-anchor="middle">{words[i]}</text>}
          </g>
        );
      })}
    </g>
  );
}

/** Whether the words of a change stand over its mark: at the side it moves to, but neither beyond the
 * field nor on the zone's own best. */
function wordAbove(stairs: Stairs, grid: Grid, zone: number, wanted: boolean): boolean {
  const found = stairs.zones[zone]!;
  const y = (value: number) => grid.y(indexOf(stairs, value)) + grid.row / 2;
  const own = found.own === found.setting ? 0 : y(found.own) - y(found.setting);
  const free = (above: boolean) => {
    const room = above ? y(found.setting) - 24 > grid.top : y(found.setting) + 24 < grid.bottom;
    return room && (own === 0 || own < 0 !== above || Math.abs(own) > 28);
  };
  return free(wanted) || !free(!wanted) ? wanted : !wanted;
}

/** A bracket over the settings that are all as good, and the words where there is room. */
function Flat({ stairs, grid, zone }: Drawn & { zone: number }) {
  const found = stairs.zones[zone]!;
  const ends = [found.flatLow, found.flatHigh].map((one) => grid.y(indexOf(stairs, one)));
  const top = Math.min(...ends) + 1;
  const bottom = Math.max(...ends) + grid.row - 1;
  const x = grid.x(zone + 1) - 4;
  // The words stand above or below the plan's line, on the side that has more room.
  const line = grid.y(indexOf(stairs, found.setting)) + grid.row / 2;
  const [from, to] = line - top > bottom - line ? [top, line - 22] : [line + 22, bottom];
  const roomy = grid.column >= 40 && to - from > 86;
  return (
    <>
      <path class="flat" d={`M${x - 4},${top} H${x} V${bottom} H${x - 4}`} />
      {roomy && (
        <text class="flatword" text-anchor="middle" transform={`translate(${x - 5} ${(from + to) / 2}) rotate(-90)`}>does not matter</text>
      )}
    </>
  );
}

function Heads({ stairs, grid, near }: Drawn & { near: number | null }) {
  const size = Math.min(14, grid.column / 2.15);
  return (
    <g aria-hidden="true">
      {stairs.zones.map((zone, i) => {
        const x = grid.x(i) + grid.column / 2;
        return (
          <g key={i} class={near === i ? "near" : undefined}>
            <text x={x} y={14} text-anchor="middle" class="number">{i + 1}</text>
            <text x={x} y={grid.top - 8} text-anchor="middle" class="chosen" style={{ fontSize: `${size}px` }}>{setting(zone.setting, stairs.step)}</text>
            {grid.upright ? (
              <text class="name" text-anchor="end" transform={`translate(${x + 4} ${grid.bottom + 8}) rotate(-90)`}>{zone.name}</text>
            ) : (
              lines(zone.name, Math.floor(grid.column / 6.8)).map((line, k) => (
                <text key={k} x={x} y={grid.bottom + 17 + 15 * k} text-anchor="middle" class="name">{line}</text>
              ))
            )}
          </g>
        );
      })}
    </g>
  );
}

/** A zone as something to point at and to move in with the keys: up and down through its settings. */
function Column(props: Props & { grid: Grid; zone: number }) {
  const { stairs, grid, zone, looked, near } = props;
  const chosen = indexOf(stairs, stairs.zones[zone]!.setting);
  const mine = looked?.zone === zone;
  const index = mine ? looked.index : chosen;
  const look = (to: number) => props.onLook({ zone, index: Math.min(Math.max(to, 0), stairs.settings.length - 1) });
  return (
    <g
      role="slider"
      class="column"
      tabIndex={zone === (looked?.zone ?? 0) ? 0 : -1}
      aria-orientation="vertical"
      aria-label={`Zone ${zone + 1}, ${stairs.zones[zone]!.name}`}
      aria-valuemin={stairs.min}
      aria-valuemax={stairs.max}
      aria-valuenow={stairs.settings[index]}
      aria-valuetext={props.tell({ zone, index })}
      onFocus={() => props.onNear(zone)}
      onBlur={() => props.onNear(null)}
      onKeyDown={(event) => keys(event, stairs, index, look)}
    >
      {(near === zone || mine) && <rect class="ring" x={grid.x(zone)} y={grid.top} width={grid.column} height={grid.bottom - grid.top} />}
      {mine && <rect class="looked" x={grid.x(zone) + 1} y={grid.y(index)} width={grid.column - 2} height={grid.row} />}
      <rect
        class="touch"
        x={grid.x(zone)}
        y={0}
        width={grid.column}
        height={grid.height}
        onPointerEnter={() => props.onNear(zone)}
        onPointerLeave={() => props.onNear(null)}
        onClick={(event) => {
          const box = event.currentTarget.getBoundingClientRect();
          look(indexAt(stairs, grid, ((event.clientY - box.top) / box.height) * grid.height));
        }}
      />
    </g>
  );
}

function keys(event: KeyboardEvent, stairs: Stairs, index: number, look: (to: number) => void): void {
  const forward = stairs.higher === "front" ? 1 : -1;
  const last = stairs.settings.length - 1;
  const ends = forward > 0 ? [last, 0] : [0, last];
  const to: Record<string, number> = {
    ArrowUp: index + forward,
    ArrowDown: index - forward,
    PageUp: index + 4 * forward,
    PageDown: index - 4 * forward,
    Home: ends[0]!,
    End: ends[1]!,
    Enter: index,
  };
  const beside = { ArrowLeft: "previousElementSibling", ArrowRight: "nextElementSibling" } as const;
  const way = beside[event.key as keyof typeof beside];
  if (way) {
    const next = (event.currentTarget as SVGGElement)[way];
    if (next?.getAttribute("role") === "slider") (next as SVGGElement).focus();
  } else if (event.key in to) look(to[event.key]!);
  else return;
  event.preventDefault();
}

const EDGES = ["", "0.01", "0.02", "0.05", "0.1", "0.2", "0.5"];

function Legend({ unable }: { unable: boolean }) {
  return (
    <div class="legend" aria-hidden="true">
      <span>Lost against the zone’s best, in seconds:</span>
      <span class="shades">
        {EDGES.map((edge, i) => <span key={i} class={`shade field${i}`}>{edge}</span>)}
      </span>
      <span><i class="own" /> best for this zone alone</span>
      <span><i class="bracket" /> does not matter</span>
      {unable && <span><i class="unable" /> not possible: no brake is left there</span>}
    </div>
  );
}
