/** The form of a file of keys: units, what is left open, and fields that cannot stand alone. */
import { cleanup, configure, fireEvent, render, screen, waitFor } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { items, type Held } from "../src/api/library";
import { place, placeOf } from "../src/house/address";
import { dropDraft } from "../src/house/draft";
import { undo } from "../src/house/undo";
import { ConditionsPage } from "../src/pages/conditions";
import { DriverPage } from "../src/pages/driver";
import { kept, scaleOf, shown, textIn } from "../src/parts/keys/scale";
import { uncertain, written } from "../src/parts/keys/value";
import { units } from "../src/words/units";
import { fakeServer, Refusal } from "./fake";

// A busy machine.
configure({ asyncUtilTimeout: 8000 });
vi.setConfig({ testTimeout: 20_000 });

const key = (name: string, unit = "", lower = 0, upper = 1500, more = {}) => ({
  key: name, unit, lower, upper, typical: "1 to 2", meaning: `means ${name}`, measure: "", kind: "exact", ...more,
});
const CONDITION_KEYS = [
  key("name", "", 0, 0, { kind: "text", lower: null, upper: null, typical: "" }),
  key("grip_scale", "", 0.1, 1.5),
  key("fuel_kg", "kg", 0, 300, { typical: "5 to 80" }),
  key("temperature_C", "degC", -40, 60, { typical: "5 to 35" }),
  key("pressure_hPa", "hPa", 500, 1100),
];

let number: number;
let said: Record<string, unknown>;
let asked: ReturnType<typeof fakeServer>;

function itemNow(kind: string) {
  return { kind, id: "one", name: "One", revision: String(number).padStart(12, "0"), saved_at: "", bytes: 1, note: "", problem: null };
}

/** A server that keeps what is patched, and refuses a temperature without a pressure. */
function server(kind: string, keys: object[], used: object) {
  number = 1;
  const past: Record<string, unknown>[] = [];
  const change = ({ body }: { body: any }) => {
    if (body.based_on !== itemNow(kind).revision) return new Refusal(409, { code: "saved_elsewhere", message: "saved elsewhere" });
    const next: Record<string, unknown> = { ...said, ...body.changes };
    for (const word of Object.keys(next)) if (next[word] === null) delete next[word];
    if ((next.temperature_C === undefined) !== (next.pressure_hPa === undefined))
      return new Refusal(400, { code: "contradiction", message: "Temperature and pressure belong together.", key: "air" });
    if (typeof next.fuel_kg === "number" && next.fuel_kg > 300)
      return new Refusal(400, { code: "out_of_range", message: "453.592 is outside what is possible.", key: "fuel_kg", value: 453.592, allowed: "0 to 300", unit: "kg", hint: "Usual: 5 to 80." });
    past.push(said);
    said = next;
    number += 1;
    return { item: itemNow(kind) };
  };
  const held = (): Held => ({ item: itemNow(kind) as never, text: "", value: said, used: { ...used, ...said } });
  asked = fakeServer({
    [`GET keys/${kind}`]: keys,
    [`GET library/${kind}/one`]: held,
    "GET library": () => ({ items: [itemNow(kind)], damaged: [] }),
    [`PATCH library/${kind}/one`]: change,
    [`POST library/${kind}/one/restore`]: () => { said = past.pop()!; number += 1; return { item: itemNow(kind) }; },
  });
}

function type(label: RegExp, value: string) {
  const field = screen.getByLabelText(label);
  fireEvent.input(field, { target: { value } });
  fireEvent.change(field, { target: { value } });
}

const patches = () => asked.filter((one) => one.method === "PATCH").map((one) => one.body.changes);

beforeEach(() => {
  localStorage.clear();
  units.value = "metric";
  items.value = [];
});
afterEach(() => {
  cleanup();
  for (const one of CONDITION_KEYS) for (const unit of ["", "kg", "lb", "°C", "°F", "hPa"]) dropDraft(`conditions.one.${one.key}.${unit}`);
});

async function openDay(value: Record<string, unknown> = { name: "One" }) {
  place.value = placeOf("/conditions/one");
  said = value;
  server("conditions", CONDITION_KEYS, { grip_scale: 1 });
  render(<ConditionsPage />);
  await screen.findByLabelText(/^Grip/);
}

test("what the file leaves open is shown in grey, with its meaning and its limits", async () => {
  await openDay();
  const grip = screen.getByLabelText(/^Grip/) as HTMLInputElement;
  expect([grip.value, grip.placeholder]).toEqual(["", "1"]);
  expect(screen.getByText("means grip_scale · left open: 1 · usual: 1 to 2 · possible: 0.1 to 1.5")).toBeTruthy();
});

test("a number is saved in the unit of the file, and undone", async () => {
  units.value = "imperial";
  await openDay();
  type(/^Fuel aboard/, "66");
  await waitFor(() => expect(patches()).toHaveLength(1));
  expect(patches()[0].fuel_kg).toBeCloseTo(66 * 0.45359237, 5);
  await waitFor(() => expect((screen.getByLabelText(/^Fuel aboard/) as HTMLInputElement).value).toBe("66"));
  await undo();
  await waitFor(() => expect((screen.getByLabelText(/^Fuel aboard/) as HTMLInputElement).value).toBe(""));
});

test("a refusal speaks in the unit that was typed", async () => {
  units.value = "imperial";
  await openDay();
  type(/^Fuel aboard/, "1000");
  const alert = await screen.findByRole("alert");
  expect(alert.textContent).toContain("1000 is outside what is possible.");
  expect(alert.textContent).toContain("allowed: 0 to 661 lb");
  fireEvent.click(screen.getAllByRole("button", { name: "Put back what the file says" })[0]!);
  await waitFor(() => expect(screen.queryByRole("alert")).toBeNull());
});

test("a field that cannot stand alone waits for the other of its group", async () => {
  await openDay();
  type(/^Temperature/, "12");
  expect((await screen.findByRole("alert")).textContent).toContain("belong together");
  expect(said.temperature_C).toBeUndefined();
  type(/^Pressure/, "990");
  await waitFor(() => expect(said).toMatchObject({ temperature_C: 12, pressure_hPa: 990 }));
  await waitFor(() => expect(screen.queryByRole("alert")).toBeNull());
});

test("who types faster than is saved is not refused for his own save", async () => {
  await openDay();
  type(/^Grip/, "0.9");
  type(/^Fuel aboard/, "40");
  await waitFor(() => expect(said).toMatchObject({ grip_scale: 0.9, fuel_kg: 40 }));
  expect(screen.queryByRole("alert")).toBeNull();
});

test("what the file said before does not flash up while it is read again", async () => {
  await openDay({ name: "One", fuel_kg: 20 });
  const fuel = screen.getByLabelText(/^Fuel aboard/) as HTMLInputElement;
  const seen: string[] = [];
  const watching = setInterval(() => { if (fuel.value !== seen.at(-1)) seen.push(fuel.value); }, 0);
  type(/^Fuel aboard/, "40,5");
  await waitFor(() => expect(fuel.value).toBe("40.5"));
  clearInterval(watching);
  expect([...new Set(seen)].filter((one) => one !== "40,5")).toEqual(["40.5"]);
  expect(screen.queryByText("not saved yet")).toBeNull();
});

test("who leaves before his save has come back finds it saved", async () => {
  await openDay();
  type(/^Grip/, "0,9");
  cleanup();
  await waitFor(() => expect(said).toMatchObject({ grip_scale: 0.9 }));
  render(<ConditionsPage />);
  await waitFor(() => expect((screen.getByLabelText(/^Grip/) as HTMLInputElement).value).toBe("0.9"));
  expect(screen.queryByText("not saved yet")).toBeNull();
});

test("what is no number is not sent", async () => {
  await openDay();
  type(/^Fuel aboard/, "full");
  expect((await screen.findByRole("alert")).textContent).toContain("allowed: 0 to 300 kg");
  expect(patches()).toEqual([]);
});

test("a driver's level says whose numbers stand in grey; an emptied field goes from the file", async () => {
  place.value = placeOf("/driver/one");
  said = { name: "One", level: "club", boldness: 2 };
  server("drivers", [key("level", "", 0, 0, { kind: "choice", lower: null, choices: ["novice", "club"] }), key("boldness", "", 0.1, 10), key("hit_sd_frac")], { hit_sd_frac: 0.07, boldness: 1 });
  render(<DriverPage />);
  expect(await screen.findByText(/left open: 0.07, usual for a club driver/)).toBeTruthy();
  type(/^Boldness/, "");
  await waitFor(() => expect(said).toEqual({ name: "One", level: "club" }));
});

// ---------------------------------------------------------------- units

test.each([
  ["kg", 3000, null, 100, "lb", 220.462], // 1 lb = 0.45359237 kg
  ["m", 2.5, 6, 2.54, "in", 100],
  ["m", 40, 40, 30.48, "ft", 100],
  ["degC", 60, 60, -40, "°F", -40], // the two scales meet there
  ["degC", 60, 60, 100, "°F", 212],
  ["bar", 0, null, 1, "psi", 14.5038], // NIST SP 811
  ["hPa", 0, null, 1013.25, "inHg", 29.9213], // the standard atmosphere, 760 mm of mercury
  ["W", 0, null, 745.6999, "hp", 1], // NIST SP 811
  ["kg/m3", 0, null, 1.225, "lb/ft³", 0.0764743],
  ["N m", 0, null, 1.355818, "lbf ft", 1], // NIST SP 811
  ["km/h", 0, null, 160.9344, "mph", 100],
  ["1/rad", 0, null, 5, "1/rad", 5],
] as const)("%s is typed in imperial as it should be", (unit, _, upper, si, other, size) => {
  units.value = "imperial";
  const scale = scaleOf(unit, upper);
  expect(scale.unit).toBe(other);
  expect(shown(si, scale)).toBeCloseTo(size, 3);
  expect(shown(kept(size, scale), scale)).toBeCloseTo(size, 4);
});

test("what is typed in pounds comes back as it was typed, scatter and range too", () => {
  units.value = "imperial";
  const scale = scaleOf("kg", 10000);
  for (const typed of ["3000", "2998.5 ±17.6", "2900 to 3100", "0.1"]) expect(written(uncertain(typed, "", scale), scale)).toBe(typed);
  const fahrenheit = scaleOf("degC", 60);
  expect((uncertain("68 ±9", "", fahrenheit) as { value: number; sd: number })).toEqual({ value: 20, sd: 5 });
  expect(textIn("1 to 15", scaleOf("m", 40))).toBe("3.28 to 49.2");
});
