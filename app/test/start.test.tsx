import { cleanup, configure, fireEvent, render, screen, waitFor, within } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { about } from "../src/house/about";
import { place, placeOf } from "../src/house/address";
import { dropDraft } from "../src/house/draft";
import { canUndo, undo } from "../src/house/undo";
import { items } from "../src/api/library";
import { Start } from "../src/pages/start";
import { EMPTY, lacks, readPasted, sheetOf } from "../src/pages/start/corners";
import { stopSettings } from "../src/pages/start/next";
import { fakeServer, Refusal } from "./fake";

// A busy machine.
configure({ asyncUtilTimeout: 8000 });
vi.setConfig({ testTimeout: 20_000 });

// ---------------------------------------------------------------- rows from a spreadsheet

test.each([
  ["tabs, a header and a decimal comma", "Corner\tApproach km/h\tMin km/h\tRadius m\tDepth\nMill\t205\t105,5\t62\t0,8", { name: "Mill", from: "205", to: "105.5", side: "62", depth: "0.8" }],
  ["semicolons without a header", "Mill;205;105;left", { name: "Mill", from: "205", to: "105", turn: "left" }],
  ["commas", "Mill,205,105,L", { name: "Mill", from: "205", to: "105", turn: "left" }],
  ["speeds alone", "205;105;right", { name: "", from: "205", to: "105", turn: "right" }],
  ["corners by number", "3\t205\t105", { name: "3", from: "205", to: "105" }],
  ["a radius where the turn would stand", "Mill\t205\t105\t62\tleft", { from: "205", to: "105", side: "62", turn: "left" }],
  ["units in the cells", "Mill\t205 km/h\t105 km/h", { from: "205", to: "105" }],
  ["a comma inside quotes", '"Mill, the fast one",205,105', { name: "Mill, the fast one", from: "205" }],
  ["our own sheet", "name,approach_kmh,min_kmh,lateral_g,direction,depth_frac,hand_time_s\nMill,205,105,1.4,none,0.5,2", { from: "205", to: "105", side: "1.4", turn: "none", depth: "0.5", hand: "2" }],
])("%s", (_, text, meant) => {
  expect(readPasted(text).corners[0]).toMatchObject(meant);
});

test("a header may say miles, and a radius in feet", () => {
  const pasted = readPasted("Corner;Entry mph;Apex mph;Radius ft\nMill;130;65;200");
  expect(pasted.speeds).toBe("mph");
  expect(pasted.corners[0]!.side).toBe("61"); // 200 ft, 0.3048 m each
});

test("a corner is asked with only when its speeds are there", () => {
  expect(lacks({ ...EMPTY, from: "200" })!.cell).toBe("to");
  expect(lacks({ ...EMPTY, from: "100", to: "120" })!.text).toMatch(/below/);
  expect(lacks({ ...EMPTY, from: "fast", to: "80" })!.cell).toBe("from");
  expect(sheetOf([EMPTY, { ...EMPTY, from: "200" }], "kmh", 1.3)).toBeNull();
});

test("the sheet holds what is usual where nothing is typed, and km/h whatever was typed", () => {
  const sheet = sheetOf([{ ...EMPTY, from: "100", to: "50" }, { ...EMPTY, name: "Stop", from: "60", to: "20", turn: "none", side: "1.2" }], "mph", 1.3)!;
  expect(sheet.rows[0]).toEqual({ name: "Corner 1", approach_kmh: "160.9", min_kmh: "80.5", lateral_g: "1.3", depth_frac: "0.5", direction: "right", hand_time_s: "2" });
  expect(sheet.rows[1]).not.toHaveProperty("lateral_g"); // a straight stop has no cornering load
});

// ---------------------------------------------------------------- the page

const zone = (name: string) => ({
  zone_id: "z01", name, setting: 54, advice: "no_matter", flat_low: 50, flat_high: 56, settles: null,
  reason: "The front lets go first. One step forward costs 0.4 m of braking; one step rearward gains 0.4 m of braking. Too much.",
});

const plan = (more: object = {}) => ({
  warnings: [{ code: "class_and_anchor_only", text: "with only the class known the number is good to about 6 steps either way: take the direction", zone_id: null }],
  cautions: ["For a closed circuit only."],
  result: {
    adjuster: { min: 31, max: 77, step: 1, higher_means: "front", meaning: "unknown", seconds_per_step_s: 0.2 },
    lap_setting: { setting: 52, cost_us: 1, regret_s: null }, panic_setting: 53, anchor_setting: 54, zones: [zone("Mill")], total: { changes: 0 }, ...more,
  },
});

function server(answer: unknown = plan()) {
  return fakeServer({
    "GET classes/gt-mid": { text: "mu_x = { low = 1.45, high = 1.7, source = 1 }" },
    "PUT library/sheets/my-corners": { item: { kind: "sheets", id: "my-corners", revision: "0123456789ab" } },
    "PUT library/sheets/my-corners-2": { item: { kind: "sheets", id: "my-corners-2", revision: "0123456789ac" } },
    "POST plan": answer,
    "POST work/plan?listed=false": { work_id: "plan-1" },
    "DELETE work/plan-1": {},
  });
}

beforeEach(() => {
  place.value = placeOf("/start");
  items.value = [];
  about.value = { classes: [{ name: "gt-mid", title: "Mid-engined GT", about: "" }] } as never;
  dropDraft("start");
  dropDraft("start.sheet");
  localStorage.clear();
});
afterEach(() => { cleanup(); vi.useRealTimers(); });

function type(label: RegExp | string, value: string) {
  fireEvent.input(screen.getByLabelText(label), { target: { value } });
}

function answerAll() {
  fireEvent.change(screen.getByLabelText(/Class of car/), { target: { value: "gt-mid" } });
  type("Corner 1: name", "Mill");
  type("Mill: speed where braking begins", "205");
  type("Mill: lowest speed", "105");
  type("Today's setting", "54");
  fireEvent.click(within(screen.getByRole("group", { name: /bigger number/ })).getByLabelText("front"));
  fireEvent.click(within(screen.getByRole("group", { name: /At today/ })).getByLabelText("the front"));
}

test("four answers give the number, its sign, its honesty and what a step does", async () => {
  const asked = server();
  render(<Start />);
  expect(screen.getByText(/It still needs the car/)).toBeTruthy();
  answerAll();
  expect((await screen.findByText("52", { selector: "output" })).tagName).toBe("OUTPUT");
  expect(screen.getByText(/2 steps REARWARD of today's 54/)).toBeTruthy();
  expect(screen.getByText(/good to about 6 steps/)).toBeTruthy();
  expect(screen.getByText(/Does not matter here, from 50 to 56/)).toBeTruthy();
  expect(screen.getByText(/One step forward costs/)).toBeTruthy();
  const put = asked.find((one) => one.method === "PUT")!;
  expect(put.body.draft).toBe(true);
  expect(put.body.value.rows[0]).toMatchObject({ name: "Mill", approach_kmh: "205", lateral_g: "1.3" });
  expect(asked.find((one) => one.path === "plan")!.body).toMatchObject({
    car: "gt-mid", sheet: "sheets/my-corners", samples: 0, quick: { today: 54, higher: "front", first: "front" },
  });
});

test("an answer to what was typed before says so until the new one is there", async () => {
  let number = 52;
  server(() => plan({ lap_setting: { setting: number, cost_us: 1, regret_s: null } }));
  render(<Start />);
  answerAll();
  const old = await screen.findByText("52", { selector: "output" });
  expect(screen.queryByText(/working out the new answer/)).toBeNull();
  number = 47;
  type("Today's setting", "50");
  await screen.findByText(/working out the new answer/);
  expect(old.closest("section")!.getAttribute("aria-busy")).toBe("true");
  expect(screen.queryByText(/REARWARD of today/)).toBeNull();
  expect(screen.getByRole("region", { name: /three straight stops/ }).getAttribute("aria-busy")).toBe("true");
  await screen.findByText("47", { selector: "output" });
  expect(screen.queryByText(/working out the new answer/)).toBeNull();
  expect(screen.getByRole("region", { name: /three straight stops/ }).getAttribute("aria-busy")).toBe("false");
});

test("the surer answer is begun as a work that stands in no list", async () => {
  const asked = server();
  render(<Start />);
  answerAll();
  await waitFor(() => expect(asked.some((one) => one.path === "work/plan?listed=false")).toBe(true));
});

test("what is typed is still there after the page is left", async () => {
  server();
  render(<Start />);
  answerAll();
  cleanup();
  render(<Start />);
  expect((screen.getByLabelText("Mill: lowest speed") as HTMLInputElement).value).toBe("105");
});

test("a sheet somebody else keeps under that name is left alone", async () => {
  items.value = [{ kind: "sheets", id: "my-corners", revision: "ffffffffffff" }] as never;
  const asked = server();
  render(<Start />);
  answerAll();
  await screen.findByText("52", { selector: "output" });
  expect(asked.filter((one) => one.method === "PUT").map((one) => one.path)).toEqual(["library/sheets/my-corners-2"]);
});

test("a refusal says what is wrong beside its corner, and the typed stays", async () => {
  server(new Refusal(400, { code: "corner_too_fast", message: "Mill is too fast for this car", key: "Mill", file: null, hint: "check speed", value: 105, unit: "km/h", allowed: "up to 90", line: null }));
  render(<Start />);
  answerAll();
  expect((await screen.findAllByText(/Mill is too fast/)).length).toBe(2);
  expect((screen.getByLabelText("Mill: lowest speed") as HTMLInputElement).value).toBe("105");
});

test("a corner removed comes back by undo", async () => {
  server();
  render(<Start />);
  type("Corner 1: name", "Mill");
  fireEvent.click(screen.getByRole("button", { name: "Remove Mill" }));
  expect(screen.queryByLabelText("Mill: lowest speed")).toBeNull();
  expect(canUndo.value).toBe("Mill removed");
  await undo();
  await waitFor(() => expect(screen.getByLabelText("Mill: lowest speed")).toBeTruthy());
});

test("straight stops begin where the front still goes first", () => {
  const answer = plan() as never;
  expect(stopSettings(answer, "front")).toEqual([54, 53, 52]);
  expect(stopSettings(answer, "together")).toEqual([55, 54, 53]);
  expect(stopSettings(answer, "rear")).toEqual([58, 57, 56]); // the number may be 6 steps off
  const counted = plan({ adjuster: { min: 31, max: 77, step: 1, higher_means: "rear" } }) as never;
  expect(stopSettings(counted, "rear")).toEqual([46, 47, 48]);
});
