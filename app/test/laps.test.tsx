import { cleanup, fireEvent, render, screen, waitFor } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test } from "vitest";
import { items } from "../src/api/library";
import { place, placeOf } from "../src/house/address";
import { queryOf } from "../src/house/opened";
import { inside, ticks } from "../src/draw/traces_plot";
import { lineOf } from "../src/draw/strips";
import { chosenOf, debriefRequest, listOf, listText } from "../src/pages/laps/chosen";
import { Channels } from "../src/pages/laps/channels";
import { ChannelTable } from "../src/pages/laps/channel_table";
import { held, pathOf } from "../src/pages/laps/preview";
import { gathered } from "../src/pages/laps/lists";
import { columnOf, inWords, joined, mapsOf } from "../src/pages/laps/mapping";
import { Logs } from "../src/pages/laps/logs";
import { behind, cut, type LapTrace } from "../src/pages/laps/traces";
import { MEASURES, short, valueOf } from "../src/pages/laps/words";
import { median } from "../src/pages/laps/debriefed";
import { WorkTable } from "../src/pages/laps/worktable";
import { fakeServer, Refusal } from "./fake";

afterEach(cleanup);
beforeEach(() => {
  localStorage.clear();
  history.replaceState(null, "", "/laps");
  place.value = placeOf("/laps");
  items.value = [];
});

test("logs stand in the address whatever they are called", () => {
  const logs = ["logs/a, b.csv", "logs/100%.csv"];
  expect(listOf(listText(logs))).toEqual(logs);
  expect(listOf(undefined)).toEqual([]);
});

test("the debrief is asked for with what was chosen and nothing else", () => {
  const now = chosenOf({ logs: "logs/a.csv", against: "logs/b.csv", mapping: "none", plan: "plans/x" });
  expect(debriefRequest(now, { driver: " Mara ", other: "" })).toMatchObject({
    logs: ["logs/a.csv"], against: "logs/b.csv", plan: "plans/x", circuit: "circuits/brackwater", driver_name: "Mara",
  });
  expect(debriefRequest(now, { driver: "", other: "" })).not.toHaveProperty("mapping");
  expect(debriefRequest(chosenOf({ logs: "logs/a.csv", circuit_from: "log" }), { driver: "", other: "" })).not.toHaveProperty("circuit");
});

test("what is said of a column is written as a mapping file has it", () => {
  expect(columnOf("Brake", "pressure_front_Pa:bar")).toEqual({ column: "Brake", channel: "pressure_front_Pa", unit: "bar" });
  expect(columnOf("Ay", "-accel_y_mps2:g")).toEqual({ column: "Ay", channel: "accel_y_mps2", unit: "g", sign: -1 });
  expect(mapsOf({ Brake: "pressure_front_Pa:bar", Old: "" })).toEqual(["Brake=pressure_front_Pa:bar"]);
  expect(inWords("pressure_front_Pa:bar")).toBe("brake pressure, front, in bar");
});

test("the newer word on a column or a channel stands, the rest is kept", () => {
  const old = { column: [{ column: "A", channel: "speed_mps", unit: "km/h" }, { column: "B", channel: "gear" }, { column: "C", channel: "ignored" }] };
  const made = joined(old, { D: "speed_mps:m/s", B: "ignored" }, "abc");
  expect(made.columns_sha256).toBe("abc");
  expect(made.column!.map((one) => `${one.column}=${one.channel}`)).toEqual(["C=ignored", "D=speed_mps", "B=ignored"]);
});

const CHANNEL = { original_unit: "", rate_hz: 100, samples: 10, note: "" };
const READ = {
  warnings: [],
  result: {
    form: "CSV", columns_sha256: "abc", mapping_file: null, done: [], left_out: [],
    sessions: [{
      run: { run_id: "r", sha256: "", session: 1, sessions: 1, samples: 10, duration_s: 60, start_s: 0 },
      channels: [
        { ...CHANNEL, name: "speed_mps", original_name: "Speed", state: "used", choices: [] },
        { ...CHANNEL, name: null, original_name: "Pedal", state: "asked", choices: ["brake_pedal_frac:%", "pedal_force_N:N"] },
      ],
      done: [], notes: [],
      can_say: [{ what: "lock-ups", can: false, missing: ["wheel_speed_front_left_radps and speed_mps"] }],
    }],
  },
};

test("an open column is answered, tried at once, kept as a mapping, and put into the address", async () => {
  const asked = fakeServer({
    "POST read": READ,
    "PUT library/mappings/friday": { item: { kind: "mappings", id: "friday", name: "friday", revision: "r1", saved_at: "", bytes: 1, note: "" } },
    "GET library": { items: [], damaged: [] },
  });
  render(<Channels now={chosenOf({ logs: "logs/friday.csv" })} />);
  await screen.findByText(/One column is open/);
  fireEvent.change(screen.getByLabelText("What Pedal is"), { target: { value: "brake_pedal_frac:%" } });
  await waitFor(() => expect(asked.filter((one) => one.path === "read").at(-1)!.body.maps).toEqual(["Pedal=brake_pedal_frac:%"]));
  fireEvent.click(screen.getByText("Keep what you said for such logs"));
  await waitFor(() => expect(location.search).toContain("mapping=mappings/friday"));
  const saved = asked.find((one) => one.method === "PUT")!.body;
  expect(saved).toMatchObject({ based_on: null, value: { columns_sha256: "abc", column: [{ column: "Pedal", channel: "brake_pedal_frac", unit: "%" }] } });
});

test("a column nobody knows may be any channel, in a unit that is said", async () => {
  const asked = fakeServer({ "POST read": READ, "GET channels": { speed_mps: ["m/s", "km/h"], setting: ["1"] } });
  render(<Channels now={chosenOf({ logs: "logs/strange.csv" })} />);
  const what = await screen.findByLabelText("What Pedal is");
  await waitFor(() => expect(what.querySelector("[value='any setting']")).toBeTruthy());
  const maps = () => asked.filter((one) => one.path === "read").at(-1)!.body.maps;
  fireEvent.change(what, { target: { value: "any setting" } });
  await waitFor(() => expect(maps()).toEqual(["Pedal=setting"]));
  fireEvent.change(what, { target: { value: "any speed_mps" } });
  await waitFor(() => expect(maps()).toEqual([])); // in which unit is still open
  fireEvent.change(screen.getByLabelText("Unit of Pedal"), { target: { value: "km/h" } });
  await waitFor(() => expect(maps()).toEqual(["Pedal=speed_mps:km/h"]));
});

test("a log that cannot be read before its columns are named shows them", async () => {
  const refusal = new Refusal(400, { code: "log_no_time", message: "The log has no time.", key: "time_s", value: "q, w", hint: "--map", file: "logs/q.csv", line: null, allowed: null, unit: "" });
  const asked = fakeServer({
    "POST read": (one: { body: { maps: string[] } }) => (one.body.maps.length ? READ : refusal),
    "GET logs/q.csv/columns": [{ ...CHANNEL, name: null, original_name: "q", state: "asked", choices: [], preview: null }],
    "GET channels": { time_s: ["s", "ms"] },
  });
  render(<Channels now={chosenOf({ logs: "logs/q.csv" })} />);
  expect((await screen.findByRole("alert")).textContent).toMatch(/^q.csv: The log has no time\..*Say below/);
  const what = await screen.findByLabelText("What q is");
  await waitFor(() => expect(what.querySelector("[value='any time_s']")).toBeTruthy());
  fireEvent.change(what, { target: { value: "any time_s" } });
  fireEvent.change(await screen.findByLabelText("Unit of q"), { target: { value: "ms" } });
  await waitFor(() => expect(asked.filter((one) => one.path === "read").at(-1)!.body.maps).toEqual(["q=time_s:ms"]));
  expect(await screen.findByText(/Keep what you said/)).toBeTruthy();
});

test("each file of a drop that is no log says so, and the others come in", async () => {
  const refuse = (message: string) => new Refusal(400, { code: "log_kind_unknown", message, key: "file", value: "a picture", hint: "Export the samples as CSV.", file: "x", line: null, allowed: "CSV", unit: "" });
  const came = { item: { kind: "logs", id: "good.csv", name: "good.csv", revision: "r", saved_at: "", bytes: 1, note: "" } };
  fakeServer({
    "PUT logs/a.png": refuse("The file is no log."), "PUT logs/good.csv": came, "PUT logs/b.zip": refuse("The file is no log."),
    "GET library": { items: [came.item], damaged: [] },
  });
  const { container } = render(<Logs now={chosenOf({})} />);
  const files = ["a.png", "good.csv", "b.zip"].map((name) => new File(["x"], name));
  fireEvent.change(container.querySelector("input[type=file]")!, { target: { files } });
  await waitFor(() => expect(location.search).toContain("logs=logs/good.csv"));
  const alerts = screen.getAllByRole("alert").map((one) => one.textContent!);
  expect(alerts.map((one) => one.slice(0, 5))).toEqual(["a.png", "b.zip"]);
  expect(alerts[0]).toContain("Export the samples as CSV.");
});

test("what was said of a column survives a reload before it is kept", async () => {
  fakeServer({ "POST read": READ });
  const { unmount } = render(<Channels now={chosenOf({ logs: "logs/other.csv" })} />);
  fireEvent.change(await screen.findByLabelText("What Pedal is"), { target: { value: "ignored" } });
  unmount();
  expect(localStorage.getItem("foreaft.draft.columns.logs/other.csv")).toContain("ignored");
});

test("a mapping of the library that was written for these columns is taken by itself", async () => {
  items.value = [{ kind: "mappings", id: "ours", name: "ours", revision: "1", saved_at: "", bytes: 1, note: "" }];
  fakeServer({ "POST read": READ, "GET library/mappings/ours": { item: items.value[0], text: "", value: { columns_sha256: "abc" } } });
  render(<Channels now={chosenOf({ logs: "logs/third.csv" })} />);
  await waitFor(() => expect(location.search).toContain("mapping=mappings/ours"));
});

const MAPPING = { kind: "mappings" as const, revision: "1", saved_at: "", bytes: 1, note: "" };

test("of two logs each is asked about by itself, and read with the mapping of its own columns", async () => {
  items.value = [{ ...MAPPING, id: "ours", name: "ours" }];
  const clear = { ...READ, result: { ...READ.result, columns_sha256: "def", sessions: [{ ...READ.result.sessions[0]!, channels: [READ.result.sessions[0]!.channels[0]!] }] } };
  const asked = fakeServer({
    "POST read": (one: { body: { log: string } }) => (one.body.log === "logs/one.csv" ? READ : clear),
    "GET library/mappings/ours": { item: { ...MAPPING, id: "ours", name: "ours" }, text: "", value: { columns_sha256: "abc" } },
  });
  const shown = () => <Channels now={chosenOf(place.value.query)} />;
  history.replaceState(null, "", "/laps?logs=logs/one.csv,logs/two.csv");
  place.value = placeOf("/laps?logs=logs/one.csv,logs/two.csv");
  const { rerender } = render(shown());
  await waitFor(() => expect(location.search).toContain("mapping=mappings/ours"));
  rerender(shown());
  await waitFor(() => expect(asked.some((one) => one.path === "read" && one.body.mapping === "mappings/ours")).toBe(true));
  const read = asked.filter((one) => one.path === "read").map((one) => [one.body.log, one.body.mapping]);
  expect(read.filter(([log]) => log === "logs/two.csv").every(([, mapping]) => mapping === undefined)).toBe(true);
  expect(screen.getByText("two.csv").closest("summary")!.textContent).toContain("nothing is open");
  expect(debriefRequest(chosenOf(place.value.query), { driver: "", other: "" })).toMatchObject({ mapping: ["mappings/ours"] });
});

test("a column shows its three values in the unit people read, and its line", () => {
  expect(held(57.2, "m/s")).toBe("206 km/h");
  expect(held(-1e5, "Pa")).toBe("−1.0 bar");
  expect(held(52.851, "")).toBe("52.85");
  expect(held(6500, "rpm")).toBe("6500 rpm");
  expect(pathOf([0, 5, null, 10, 0], 0, 10)).toBe("M1.0 24.0L30.5 13.0M89.5 2.0L119.0 24.0");
});

test("of very many columns the first are shown, and a word finds the others", () => {
  const channels = Array.from({ length: 3000 }, (_, i) => ({ ...CHANNEL, name: null, original_name: `Sensor ${i}`, state: "asked" as const, choices: [], preview: null }));
  render(<ChannelTable channels={channels} said={{}} onSay={() => undefined} />);
  expect(screen.getAllByRole("row").length).toBeLessThan(100);
  expect(screen.getByText(/of 3,000: type a part/)).toBeTruthy();
  fireEvent.input(screen.getByLabelText("Find a column"), { target: { value: "sensor 2999" } });
  expect(screen.getByLabelText("What Sensor 2999 is")).toBeTruthy();
  expect(screen.getAllByRole("row").length).toBe(2);
});

test("ticks along the lap are round in feet as in metres, and no more than there is room for", () => {
  expect(ticks(0, 4400, 10, 1)).toEqual([0, 500, 1000, 1500, 2000, 2500, 3000, 3500, 4000]);
  const feet = ticks(130, 700, 6, 0.3048).map((m) => m / 0.3048);
  expect(feet.map((one) => Math.round(one * 1e6) / 1e6)).toEqual([500, 1000, 1500, 2000]);
  for (const most of [2, 3, 7]) expect(ticks(17, 4321, most, 0.3048).length).toBeLessThanOrEqual(most + 1);
});

test("a work is opened with what it was asked", () => {
  const asked = { logs: ["logs/a, b.csv"], against: null, mapping: ["mappings/ours"], car: "gt-mid", circuit: null, driver: null, plan: null, conditions: "conditions/dry", quick: { today: 5, higher: "front", first: "rear", lowest: null } };
  const query = queryOf("debrief", asked);
  expect(query).toMatchObject({ car: "gt-mid", circuit_from: "log", today: "5", higher: "front", conditions: "conditions/dry", against: "", lowest: "" });
  expect(listOf(query.logs)).toEqual(asked.logs);
  expect(queryOf("trial", { judge: { laps: "logs/t.csv", plan: null } })).toEqual({ laps: "logs/t.csv", plan: "" });
  expect(queryOf("plan", { sheet: "sheets/x", conditions: ["conditions/wet"], grip_scale: 0.8, changes: 0 })).toMatchObject({ road: "sheets/x", conditions: "conditions/wet", grip: "0.8", changes: "0" });
});

const LAP: LapTrace = { lap_id: "L01", whose: "driver", duration_s: 10, speed_mps: [], brake_frac: [], time_s: [] };

test("a zone is cut out of laps around its apex, across the start line too", () => {
  const speeds = Array.from({ length: 121 }, (_, i) => i); // places -10 to 110 of a lap of 100 m
  const all = { length_m: 100, first_s_m: -10, step_m: 1, laps: [{ ...LAP, speed_mps: speeds, brake_frac: speeds, time_s: speeds }] };
  const part = cut(all, 2, -5, 3);
  expect(part.s_m).toEqual([-5, -4, -3, -2, -1, 0, 1, 2, 3]);
  expect(part.laps[0]!.speed_mps).toEqual([7, 8, 9, 10, 11, 12, 13, 14, 15]);
  expect(short(98 - 3, 100)).toBe(-5);
});

test("time behind another lap is a difference of clocks, and nothing where one has none", () => {
  expect(behind({ ...LAP, time_s: [0, 1.5, null, 4] }, { ...LAP, time_s: [0, 1, 2, null] })).toEqual([0, 0.5, null, null]);
});

test("a view never leaves the road and never gets narrower than can be read", () => {
  expect(inside(-50, 50, 0, 1000)).toEqual([0, 100]);
  expect(inside(990, 1090, 0, 1000)).toEqual([900, 1000]);
  expect(inside(500, 501, 0, 1000)).toEqual([480.5, 520.5]);
  expect(inside(0, 5000, 0, 1000)).toEqual([0, 1000]);
});

test("a line breaks where nothing is known", () => {
  expect(lineOf([0, 1, 2, 3], [1, null, 2, 3], (s) => s, (v) => v)).toBe("M0.0 1.0M2.0 2.0L3.0 3.0");
});

test("the middle of laps is that of every other place it is told", () => {
  expect(median([100, 101, 104])).toBe(101);
  expect(median([100, 101, 104, 105])).toBe(102.5);
});

test("events come together by kind and zone", () => {
  const event = (zone_id: string, kind: string) => ({ zone_id, kind, lap_id: "L2" });
  const rows = gathered({ zones: [{ zone_id: "z1", name: "Weir" }], events: [event("z1", "wide"), event("z1", "lock_up"), event("z1", "lock_up")] } as never);
  expect(rows.map((one) => [one.kind, one.events.length])).toEqual([["lock_up", 2], ["wide", 1]]);
});

test("a brake point counts back from the turn-in, the short way round the lap", () => {
  const brake = MEASURES.find((one) => one.key === "brake")!;
  expect(valueOf(brake, { brake_s_m: 4380 } as never, { turn_in_s_m: 30 } as never, 4400)).toBe(50);
});

test("the fastest pass is not the best one if something let go in it", () => {
  const pass = (lap_id: string, lost_s: number, spoilt: boolean) => ({ lap_id, zone_id: "z1", lost_s, spoilt });
  const result = {
    zones: [{ zone_id: "z1", name: "Weir", lost_usual_s: 0.1 }],
    laps: ["L1", "L2"].map((lap_id) => ({ lap_id, kind: "full" })),
    passes: [pass("L1", -0.2, true), pass("L2", 0, false)],
    events: [],
    circuit: { length_m: 4400 },
  };
  render(<WorkTable result={result as never} picked="z1" onPick={() => undefined} />);
  expect(screen.getAllByRole("cell").filter((one) => one.classList.contains("best")).map((one) => one.textContent)).toEqual(["0.00 s"]);
});
