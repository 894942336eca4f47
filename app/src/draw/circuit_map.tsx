/** The line driven with its zones as numbered places, and what is changed before each. */
import { useMemo } from "preact/hooks";
import { EndSign, Figure } from "../parts/figure";
import { setting } from "../words/units";
import { changesBefore, type Stairs } from "../pages/plan/stairs";
import { between, labelPlaces, pointAt, sheetOf, written, type Outline, type Sheet, type XY } from "./map_places";
import { useWidth } from "./wide";
import "../style/map.css";

export interface MapZone {
  id: string;
  brake_s_m: number;
  apex_s_m: number;
}

interface Props {
  outline: Outline;
  /** Places of a plan made before, whose zones need not be those of the staircase. */
  zones: MapZone[];
  stairs: Stairs;
  near: number | null;
  onNear: (zone: number | null) => void;
  onPick: (zone: number) => void;
}

export function CircuitMap(props: Props) {
  const [at, width] = useWidth<HTMLDivElement>(420);
  const { outline, stairs } = props;
  const zones = props.zones.filter((zone) => stairs.zones.some((one) => one.id === zone.id));
  // No slider moves the line; where the numbers find room is the dearest part of the picture.
  const ground = useMemo(() => groundOf(outline, zones, width.value), [outline, zones.map((zone) => zone.id).join(), width.value]);
  const { sheet, line } = ground;
  const steps = changesBefore(stairs);
  return (
    <div ref={at} class="map">
      <Figure title="Where the zones lie" about={words(stairs, steps)} width={sheet.width} height={sheet.height}>
        <polyline class="road" points={ground.road} />
        <Start line={line} sheet={sheet} />
        {zones.map((zone, i) => {
          const index = stairs.zones.findIndex((one) => one.id === zone.id);
          return <Zone key={zone.id} {...props} index={index} spot={ground.spots[i]!} steps={steps[index]!} />;
        })}
      </Figure>
    </div>
  );
}

interface Spot {
  /** The braked part of the line, as the picture writes it. */
  braked: string;
  apex: XY;
  label: XY;
}

interface Ground {
  sheet: Sheet;
  line: XY[];
  road: string;
  spots: Spot[];
}

function groundOf(outline: Outline, zones: MapZone[], width: number): Ground {
  const sheet = sheetOf(outline, width);
  const line = outline.x_m.map((x, i) => sheet.at(x, outline.y_m[i]!));
  const apexes = zones.map((zone) => line[pointAt(outline, zone.apex_s_m)]!);
  const labels = labelPlaces(apexes, line, sheet);
  const spots = zones.map((zone, i) => ({
    braked: written(between(outline, zone.brake_s_m, zone.apex_s_m).map((k) => line[k]!)),
    apex: apexes[i]!,
    label: labels[i]!,
  }));
  return { sheet, line, road: written([...line, line[0]!]), spots };
}

function words(stairs: Stairs, steps: number[]): string {
  const said = stairs.zones.map((zone, i) => {
    const way = steps[i]! > 0 ? "to the front" : "to the rear";
    return steps[i] ? `${Math.abs(steps[i]!)} ${way} before ${zone.name}` : "";
  });
  return said.filter(Boolean).join(", ") || "The setting stays the same all round the lap.";
}

/** The start line, and which way one drives. */
function Start({ line, sheet }: { line: XY[]; sheet: Sheet }) {
  const [[x, y], [x1, y1]] = [line[0]!, line[Math.min(3, line.length - 1)]!];
  const turn = (Math.atan2(y1 - y, x1 - x) * 180) / Math.PI;
  if (!Number.isFinite(turn) || sheet.width < 50) return null;
  return (
    <g class="start" transform={`translate(${x.toFixed(1)} ${y.toFixed(1)}) rotate(${turn.toFixed(1)})`}>
      <line y1={-8} y2={8} />
      <path d="M4,-7 L14,0 L4,7" />
    </g>
  );
}

function Zone(props: Props & { index: number; spot: Spot; steps: number }) {
  const { index, spot, stairs, steps } = props;
  const [x, y] = spot.label;
  const [ax, ay] = spot.apex;
  const end = steps > 0 ? "front" : "rear";
  return (
    <g
      class={props.near === index ? "zone near" : "zone"}
      onPointerEnter={() => props.onNear(index)}
      onPointerLeave={() => props.onNear(null)}
      onClick={() => props.onPick(index)}
    >
      <polyline class={steps ? `braked ${end}` : "braked"} points={spot.braked} />
      <line class="leader" x1={ax} y1={ay} x2={x} y2={y} />
      <circle class={steps ? `place ${end}` : "place"} cx={x} cy={y} r={11} />
      <text x={x} y={y + 4} text-anchor="middle" class="number">{index + 1}</text>
      {steps !== 0 && <EndSign end={end} x={x - 15} y={y - 11} size={11} />}
      <text x={x} y={y + 23} text-anchor="middle" class="value">{setting(stairs.zones[index]!.setting, stairs.step)}</text>
    </g>
  );
}
