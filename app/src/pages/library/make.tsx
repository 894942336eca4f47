/** New things: a car of a class, a driver of a level, the conditions of a day. */
import { useSignal } from "@preact/signals";
import { ask } from "../../api/call";
import { save, slug, type Kind } from "../../api/library";
import { about } from "../../house/about";
import { go } from "../../house/address";
import { Dialog } from "../../parts/dialog";
import { NumberField, numberOf, Select } from "../../parts/field";
import { NameForm } from "./row";

export function New({ kind, one }: { kind: Kind; one: string }) {
  const open = useSignal(false);
  const shut = () => (open.value = false);
  return (
    <>
      <button type="button" onClick={() => (open.value = true)}>New {one}</button>
      <Dialog title={`New ${one}`} open={open.value} onClose={shut}>
        {kind === "cars" && <NewCar onDone={shut} />}
        {kind === "drivers" && <NewDriver onDone={shut} />}
        {kind === "conditions" && <NewDay onDone={shut} />}
      </Dialog>
    </>
  );
}

function NewCar({ onDone }: { onDone: () => void }) {
  const of = useSignal(about.value?.classes[0]?.name ?? "");
  const make = async (name: string) => {
    const id = slug(name);
    const { text } = await ask<{ text: string }>("POST", `classes/${of.value}/car`, { id, name });
    await save("cars", id, { text }, null, `${name} made`);
    go(`/car/${id}`);
  };
  return (
    <div class="stack">
      <Select label="Of the class" value={of.value} options={(about.value?.classes ?? []).map((one) => ({ value: one.name, label: one.title }))} onPick={(name) => (of.value = name)} />
      <p class="soft">Every number starts as the range of its class; then say which way its adjuster counts.</p>
      <NameForm start="My car" go="Make it" act={make} onDone={onDone} />
    </div>
  );
}

/** `level`: the one it begins with. Where it stands on a page of its own there is nothing to close. */
export function NewDriver({ level: start = "club", onDone }: { level?: string; onDone?: () => void }) {
  const level = useSignal(start);
  const make = async (name: string) => {
    const id = slug(name);
    await save("drivers", id, { value: { schema: "foreaft.driver/1", id, name, level: level.value } }, null, `${name} made`);
    go(`/driver/${id}`);
  };
  return (
    <div class="stack">
      <Select label="Of the level" value={level.value} options={(about.value?.levels ?? []).map((one) => ({ value: one, label: one }))} onPick={(one) => (level.value = one)} />
      <NameForm start="My driver" go="Make it" act={make} onDone={onDone} />
    </div>
  );
}

function NewDay({ onDone }: { onDone: () => void }) {
  const grip = useSignal("1");
  const number = numberOf(grip.value);
  const make = async (name: string) => {
    const id = slug(name);
    const value = { schema: "foreaft.conditions/1", id, name, grip_scale: number ?? grip.value };
    await save("conditions", id, { value }, null, `${name} made`);
    go(`/conditions/${id}`);
  };
  return (
    <div class="stack">
      <NumberField label="Grip" help="1 dry; 0.85 to 0.92 cold tyres; 0.55 to 0.7 wet" value={grip.value} wrong={number === null ? "This is no number." : null} onInput={(now) => (grip.value = now)} />
      <NameForm start="Today" go="Make them" act={make} onDone={onDone} />
    </div>
  );
}
