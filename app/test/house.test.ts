import { beforeEach, expect, test } from "vitest";
import { addressOf, go, place, placeOf, turn } from "../src/house/address";
import { desk, lay, onRoad } from "../src/house/desk";
import { draft, dropDraft, hasDraft } from "../src/house/draft";
import { canUndo, redo, step, undo } from "../src/house/undo";
import { numberOf } from "../src/parts/field";
import { decimalsOf, length, seconds, setting, speed, units } from "../src/words/units";
import { save, slug } from "../src/api/library";
import { fakeServer, Refusal } from "./fake";

beforeEach(() => {
  history.replaceState(null, "", "/plan");
  place.value = placeOf("/plan");
  localStorage.clear();
});

test("an address and its place are the same thing", () => {
  const query = { car: "cars/halden-gt", note: "a&b=c ü" };
  const address = addressOf("/plan", query);
  expect(address).toContain("car=cars/halden-gt");
  expect(placeOf(address)).toEqual({ path: "/plan", query });
});

test("empty values leave the address", () => {
  turn({ changes: "2" });
  expect(location.search).toBe("?changes=2");
  turn({ changes: "" });
  expect(location.search).toBe("");
});

test("another page keeps the desk", () => {
  turn({ car: "cars/other" });
  go("/zone/z03", { with: "54" });
  expect(location.pathname).toBe("/zone/z03");
  expect(desk.value.car).toBe("cars/other");
});

test("what is laid on the desk can be taken back and laid again", async () => {
  lay({ road: "sheets/mine" }, "Road: mine");
  expect(onRoad()).toMatchObject({ sheet: "sheets/mine" });
  expect(canUndo.value).toBe("Road: mine");
  await undo();
  expect(onRoad()).toMatchObject({ circuit: "circuits/brackwater" });
  await redo();
  expect(onRoad()).toMatchObject({ sheet: "sheets/mine" });
});

test("a class of car is asked for with what is known of it", () => {
  turn({ car: "gt-mid", today: "55", higher: "front", first: "rear" });
  expect(onRoad()).toMatchObject({
    car: "gt-mid",
    quick: { today: 55, higher: "front", first: "rear" },
  });
});

test("a step that fails is not kept", async () => {
  const before = canUndo.value;
  await expect(step({ label: "x", redo: () => Promise.reject(new Error("no")), undo: () => {} })).rejects.toThrow();
  expect(canUndo.value).toBe(before);
});

test("a draft is kept at every change and survives", () => {
  const typed = draft("corner", "");
  expect(hasDraft("corner")).toBe(false);
  typed.value = "255, 56";
  expect(hasDraft("corner")).toBe(true);
  expect(draft("corner", "").value).toBe("255, 56");
  dropDraft("corner");
  expect(draft("corner", "").value).toBe("");
});

test.each([
  ["54,5", 54.5],
  [" 1200 ", 1200],
  ["−2", -2],
  [".5", 0.5],
  ["", null],
  ["5 4", null],
  ["1e3", 1000],
  ["NaN", null],
])("%s is read as %s", (typed, number) => {
  expect(numberOf(typed)).toBe(number);
});

test("numbers for people", () => {
  units.value = "metric";
  expect(speed(50)).toBe("180 km/h");
  expect(length(86.4)).toBe("86 m");
  units.value = "imperial";
  expect(speed(44.704)).toBe("100 mph"); // 1 mph is 0.44704 m/s exactly
  expect(length(30.48)).toBe("100 ft"); // 1 ft is 0.3048 m exactly
  units.value = "metric";
  expect(seconds(-0.0499, 2, true)).toBe("−0.05 s");
  expect(seconds(0.001, 2, true)).toBe("0.00 s");
});

test("a setting has the decimals of its adjuster and no more", () => {
  expect(decimalsOf(0.5)).toBe(1);
  expect(decimalsOf(1)).toBe(0);
  expect(decimalsOf(0.25)).toBe(2);
  const three = (first: number, step: number) => [0, 1, 2].map((i) => setting(first + i * step, step));
  expect(three(50, 1)).toEqual(["50", "51", "52"]);
  expect(three(47.5, 1)).toEqual(["47.5", "48.5", "49.5"]);
  expect(three(47.5, 0.5)).toEqual(["47.5", "48.0", "48.5"]);
  expect(three(53, 0.25)).toEqual(["53.00", "53.25", "53.50"]);
  expect(three(1, 2)).toEqual(["1", "3", "5"]);
  expect(three(47.25, 0.5)).toEqual(["47.25", "47.75", "48.25"]);
  expect(three(60.1, 0.1)).toEqual(["60.1", "60.2", "60.3"]);
  expect(setting(163 / 3, 0.5)).toBe("54.3"); // a mean, between the settings
});

test("names become slugs", () => {
  expect(slug("Mävi's <script> GT #2")).toBe("mavi-s-script-gt-2");
  expect(slug("  ")).toBe("unnamed");
});

test("a save names what it was based on, and is taken back by restoring that", async () => {
  const item = { kind: "cars", id: "a", name: "A", revision: "new", saved_at: "", bytes: 1, note: "" };
  const asked = fakeServer({
    "PUT library/cars/a": { item },
    "POST library/cars/a/restore": { item },
    "GET library": { items: [item], damaged: [] },
  });
  await save("cars", "a", { text: "x" }, "old", "A saved");
  expect(asked[0]!.body).toEqual({ text: "x", based_on: "old" });
  await undo();
  expect(asked.find((one) => one.path.endsWith("restore"))!.body).toEqual({ revision: "old", based_on: "new" });
});

test("a save over somebody else's is refused and nothing is kept to undo", async () => {
  const before = canUndo.value;
  fakeServer({ "PUT library/cars/a": new Refusal(409, { code: "saved_elsewhere", message: "saved elsewhere" }) });
  await expect(save("cars", "a", { text: "x" }, "old", "A saved")).rejects.toThrow("saved elsewhere");
  expect(canUndo.value).toBe(before);
});

test("a draft that is typed back to where it began is no draft", () => {
  const typed = draft("back", "a");
  typed.value = "b";
  typed.value = "a";
  expect(hasDraft("back")).toBe(false);
});

test("what is saved elsewhere shows where nothing is typed, and never over what is", () => {
  const one = draft("one", "old");
  expect(draft("one", "new").value).toBe("new");
  one.value = "typed";
  expect(draft("one", "newer").value).toBe("typed");
  dropDraft("one");
  expect(one.value).toBe("newer");
});
