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
  return (
    <div class="deskline" role="group" aria-label="On the desk">
      {(parts()[0] ?? "start") !== "start" && <Sentence />}
      <div class="tools">
        <button type="button" onClick={() => void undo()} disabled={!canUndo.value} title={canUndo.value ? `Undo: ${canUndo.value}` : "Nothing to undo"}>Undo</button>
        <button type="button" onClick={() => void redo()} disabled={!canRedo.value} title={canRedo.value ? `Do again: ${canRedo.value}` : "Nothing to do again"}>Redo</button>
        <button type="button" onClick={() => (units.value = units.value === "metric" ? "imperial" : "metric")} title="Change the units">
          {units.value === "metric" ? "km/h, m" : "mph, ft"}
        </button>
        <button type="button" onClick={turnLight} aria-label={`Light: ${lightNow.value}; change`}>{lightNow.value === "dark" ? "Dark" : "Light"}</button>
      </div>
    </div>
  );
}

/** What lies on the desk; Start asks for a car and corners of its own, so there it would mislead. */
function Sentence() {
  return (
    <>
      <Word of="car" label="Car" kinds={["cars"]} more={classes()} />
      <span>on</span>
      <Word of="road" label="Circuit or zone sheet" kinds={["circuits", "sheets"]} />
      <Link path="/driver" class="opens">driven by<span class="unseen"> (open the driver)</span></Link>
      <Word of="driver" label="Driver" kinds={["drivers"]} more={levels()} />
      <Link path="/conditions" class="opens">when<span class="unseen"> (open the conditions)</span></Link>
      <Word of="conditions" label="Conditions" kinds={["conditions"]} />
    </>
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
