/** The line above every page: what lies on the desk, as a sentence whose words can be changed. */
import { about } from "./about";
import { parts } from "./address";
import { desk, lay, type DeskKey } from "./desk";
import { canRedo, canUndo, redo, undo } from "./undo";
import { ofKind, type Kind } from "../api/library";
import { lightNow, turnLight } from "./light";
import { Link } from "./rail";
import { units } from "../words/units";

export function DeskLine() {
  const dark = lightNow.value === "dark";
  const metric = units.value === "metric";
  return (
    <div class="deskline" role="region" aria-label="On the desk">
      {(parts()[0] ?? "start") !== "start" && <Sentence />}
      <div class="tools">
        <Tool name="Undo" icon={BACK} onPress={() => void undo()} disabled={!canUndo.value} title={canUndo.value ? `Undo: ${canUndo.value}` : "Nothing to undo"} />
        <Tool name="Redo" icon={AGAIN} onPress={() => void redo()} disabled={!canRedo.value} title={canRedo.value ? `Do again: ${canRedo.value}` : "Nothing to do again"} />
        <button type="button" onClick={() => (units.value = metric ? "imperial" : "metric")} title="Change the units">
          <span class="roomy">{metric ? "km/h, m" : "mph, ft"}</span>
          <span class="narrow">{metric ? "km/h" : "mph"}</span>
        </button>
        <Tool name={dark ? "Dark" : "Light"} label={`${dark ? "Dark" : "Light"}: change`} icon={dark ? MOON : SUN} onPress={turnLight} />
      </div>
    </div>
  );
}

/* Drawn, not letters: no typeface has all of them. */
const BACK = "M7 4 3 8l4 4M3 8h9a5 5 0 0 1 0 10H8";
const AGAIN = "M13 4l4 4-4 4M17 8H8a5 5 0 0 0 0 10h4";
const SUN = "M10 6.5a3.5 3.5 0 1 0 0 7 3.5 3.5 0 0 0 0-7ZM10 1v2.5M10 16.5V19M1 10h2.5M16.5 10H19M3.6 3.6l1.8 1.8M14.6 14.6l1.8 1.8M16.4 3.6l-1.8 1.8M5.4 14.6l-1.8 1.8";
const MOON = "M16.5 12.5A7 7 0 0 1 7.5 3.5a7 7 0 1 0 9 9Z";

interface ToolProps {
  name: string;
  /** What it is called where the name alone would not say what it does. */
  label?: string;
  /** Stands for the name where there is no room for words. */
  icon: string;
  onPress: () => void;
  disabled?: boolean;
  title?: string;
}

function Tool({ name, label, icon, onPress, disabled, title }: ToolProps) {
  return (
    <button type="button" onClick={onPress} disabled={disabled} title={title} aria-label={label ?? name}>
      <span class="roomy">{name}</span>
      <svg class="narrow" width="20" height="20" viewBox="0 0 20 20" aria-hidden="true"><path d={icon} /></svg>
    </button>
  );
}

/** What lies on the desk; Start asks for a car and corners of its own, so there it would mislead. */
function Sentence() {
  return (
    <div class="sentence">
      <span class="clause">
        <Word of="car" label="Car" kinds={["cars"]} more={classes()} />
        <span>on</span>
        <Word of="road" label="Circuit or zone sheet" kinds={["circuits", "sheets"]} />
      </span>
      <span class="clause">
        <Link path="/driver" class="opens">driven by<span class="unseen"> (open the driver)</span></Link>
        <Word of="driver" label="Driver" kinds={["drivers"]} more={levels()} />
        <Link path="/conditions" class="opens">when<span class="unseen"> (open the conditions)</span></Link>
        <Word of="conditions" label="Conditions" kinds={["conditions"]} />
      </span>
    </div>
  );
}

interface Choice {
  value: string;
  name: string;
}

function classes(): Choice[] {
  return (about.value?.classes ?? []).map((one) => ({ value: one.name, name: `${one.title} (class)` }));
}

function levels(): Choice[] {
  return (about.value?.levels ?? []).map((one) => ({ value: one, name: `${one} driver (level)` }));
}

function Word({ of, label, kinds, more = [] }: { of: DeskKey; label: string; kinds: Kind[]; more?: Choice[] }) {
  const now = desk.value[of];
  const known: Choice[] = kinds.flatMap((kind) =>
    ofKind(kind).map((one) => ({ value: `${kind}/${one.id}`, name: one.name })),
  );
  const all = [...known, ...more];
  if (!all.some((one) => one.value === now)) all.unshift({ value: now, name: `${now} (not in the library)` });
  return (
    <select
      aria-label={label}
      value={now}
      onChange={(event) => {
        const picked = all.find((one) => one.value === event.currentTarget.value);
        if (picked) lay({ [of]: picked.value }, `${label}: ${picked.name}`);
      }}
    >
      {all.map((one) => <option key={one.value} value={one.value} selected={one.value === now}>{one.name}</option>)}
    </select>
  );
}
