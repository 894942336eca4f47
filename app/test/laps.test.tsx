import { cleanup, fireEvent, render, screen, waitFor } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test } from "vitest";
import { items } from "../src/api/library";
import { place, placeOf } from "../src/house/address";
import { inside } from "../src/draw/traces_plot";
import { lineOf } from "../src/draw/strips";
import { chosenOf, debriefRequest, listOf, listText } from "../src/pages/laps/chosen";
import { Channels } from "../src/pages/laps/channels";
import { gathered } from "../src/pages/laps/lists";
import { columnOf, inWords, joined, mapsOf } from "../src/pages/laps/mapping";
import { behind, cut, type LapTrace } from "../src/pages/laps/traces";
import { MEASURES, short, valueOf } from "../src/pages/laps/words";
import { bestLap } from "../src/pages/laps/zone";
import { fakeServer } from "./fake";

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

test("the best lap of a zone is a full one, and events come together by kind and zone", () => {
  const laps = [{ lap_id: "L1", kind: "out" }, { lap_id: "L2", kind: "full" }, { lap_id: "L3", kind: "full" }];
  const passes = [["L1", 4], ["L2", 6], ["L3", 5]].map(([lap_id, time_s]) => ({ lap_id, zone_id: "z1", time_s }));
  expect(bestLap({ laps, passes } as never, "z1")).toBe("L3");
  const event = (zone_id: string, kind: string) => ({ zone_id, kind, lap_id: "L2" });
  const rows = gathered({ zones: [{ zone_id: "z1", name: "Weir" }], events: [event("z1", "wide"), event("z1", "lock_up"), event("z1", "lock_up")] } as never);
  expect(rows.map((one) => [one.kind, one.events.length])).toEqual([["lock_up", 2], ["wide", 1]]);
});

test("a brake point counts back from the turn-in, the short way round the lap", () => {
  const brake = MEASURES.find((one) => one.key === "brake")!;
  expect(valueOf(brake, { brake_s_m: 4380 } as never, { turn_in_s_m: 30 } as never, 4400)).toBe(50);
});
