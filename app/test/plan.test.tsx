import { cleanup, fireEvent, render, screen, waitFor } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { place, placeOf } from "../src/house/address";
import { dropDraft } from "../src/house/draft";
import { undo } from "../src/house/undo";
import { pays } from "../src/pages/plan/answer";
import { often } from "../src/pages/plan/cell";
import { newestWins } from "../src/pages/plan/latest";
import { sentences } from "../src/pages/plan/reasons";
import { changesBefore, gain_s, losses, moved, shade, stepsForward, type Stairs } from "../src/pages/plan/stairs";
import { gridOf, indexAt, runs } from "../src/draw/staircase_grid";
import { CircuitMap } from "../src/draw/circuit_map";
import { labelPlaces, sheetOf, between } from "../src/draw/map_places";
import { PlanPage } from "../src/pages/plan";
import { fakeServer, Refusal } from "./fake";

function zone(id: string, name: string, setting: number, cost_us: number[]) {
  const zeros = cost_us.map(() => 0);
  return {
    zone_id: id, name, setting, own_setting: setting, flat_low: setting, flat_high: setting, advice: "set" as const,
    cost_us, p_front: zeros.map(() => 0.02), p_rear: zeros, brake_distance_m: cost_us.map((_, i) => 80 + i), time_s: cost_us.map(() => 3), feasible: cost_us.map(() => true),
  };
}

function live(settings: [number, number, number], changes: number) {
  const [a, b, c] = settings;
  return {
    result: {
      adjuster: { min: 50, max: 52, step: 1, higher_means: "front", meaning: "x", seconds_per_step_s: 0.3 },
      settings: [50, 51, 52],
      changes_max: changes,
      zones: [zone("a", "First", a, [0, 15_000, 600_000]), zone("b", "Second", b, [30_000, 0, 5_000]), zone("c", "Third", c, [0, 0, 0])],
      steps: [],
      total: { changes, cost_us: 100_000, time_s: 9 },
      lap_setting: { setting: 51, cost_us: 160_000, regret_s: null },
      frontier: [],
      lost_s: [],
    },
  };
}

function stairs(settings: [number, number, number], higher: "front" | "rear" = "front"): Stairs {
  const { result } = live(settings, 2);
  return {
    min: 50, max: 52, step: 1, higher, settings: result.settings,
    zones: result.zones.map((one) => ({ id: one.zone_id, name: one.name, setting: one.setting, own: one.own_setting, flatLow: 50, flatHigh: 50, advice: "set", cost_us: one.cost_us, time_s: one.time_s, brake_m: one.brake_distance_m, pFront: one.p_front, pRear: one.p_rear, feasible: one.cost_us.map(() => true) })),
    lap: 51, lapCost_us: 160_000, changes: 2, cost_us: 100_000, frontier: [],
  };
}

beforeEach(() => {
  history.replaceState(null, "", "/plan");
  place.value = placeOf("/plan");
  localStorage.clear();
  sessionStorage.clear();
  dropDraft("plan.look");
});
afterEach(cleanup);

test("steps to the front are positive whichever way the adjuster counts", () => {
  expect(stepsForward(stairs([50, 51, 52]), 50, 52)).toBe(2);
  expect(stepsForward(stairs([50, 51, 52], "rear"), 50, 52)).toBe(-2);
});

test("the change before the first zone is the way back from the last", () => {
  expect(changesBefore(stairs([50, 51, 51]))).toEqual([-1, 1, 0]);
});

test("a loss is told against the best of the same zone, and shaded by its edges", () => {
  expect(losses(stairs([50, 51, 52]).zones[1]!)).toEqual([0.03, 0, 0.005]);
  expect([0, 0.0099, 0.01, 0.2, 3].map(shade)).toEqual([0, 0, 1, 5, 6]);
  expect(shade(null)).toBeNull();
});

test("whether changing pays is said with what it gains", () => {
  const plan = stairs([50, 51, 51]);
  expect(gain_s(plan)).toBeCloseTo(0.06);
  expect(pays(plan)).toContain("2 changes below gain about 0.06 s");
  expect(pays({ ...plan, changes: 0 })).toContain("does not pay: leave it at 51");
  expect(pays({ ...plan, cost_us: 155_000 })).toMatch(/next to nothing .*: 51 all lap is as good\.$/);
});

test("a setting is found at its height, and the other way round", () => {
  for (const higher of ["front", "rear"] as const) {
    const plan = stairs([50, 51, 52], higher);
    const grid = gridOf(plan, 400);
    for (const i of [0, 1, 2]) expect(indexAt(plan, grid, grid.y(i) + grid.row / 2)).toBe(i);
    expect(grid.y(2) < grid.y(0)).toBe(higher === "front"); // forward stands above
  }
});

test("no column is narrower than a finger, however many zones", () => {
  const many = stairs([50, 51, 52]);
  const zones = Array.from({ length: 20 }, (_, i) => ({ ...many.zones[i % many.zones.length]!, id: `z${i}` }));
  const narrow = gridOf({ ...many, zones }, 328);
  expect(narrow.column).toBeGreaterThanOrEqual(24);
  expect(narrow.width).toBeGreaterThan(328);
  const roomy = gridOf({ ...many, zones }, 900);
  expect(roomy.width).toBe(900);
});

test("equal neighbours are drawn in one piece", () => {
  expect(runs([1, 1, 2, 1])).toEqual([[0, 1, 1], [2, 2, 2], [3, 3, 1]]);
});

test("zones that differ between two plans are named", () => {
  expect(moved(stairs([50, 51, 52]), stairs([50, 52, 52]))).toEqual(["Second"]);
});

test("zones are matched by their id where one plan has more of them than the other", () => {
  const [before, after] = [stairs([50, 51, 51]), stairs([50, 51, 50])];
  const fewer = { ...after, zones: after.zones.filter((_, i) => i !== 1) };
  expect(moved(before, fewer)).toEqual([after.zones[2]!.name]);
  const outline = { x_m: [0, 100, 100, 0], y_m: [0, 0, 100, 100], s_m: [0, 100, 200, 300], length_m: 400 };
  const zones = before.zones.map((zone, i) => ({ id: zone.id, brake_s_m: 90 * i, apex_s_m: 90 * i + 50 }));
  const { container } = render(<CircuitMap outline={outline} zones={zones} stairs={fewer} near={null} onNear={() => {}} onPick={() => {}} />);
  expect([...container.querySelectorAll(".zone .number")].map((one) => one.textContent)).toEqual(["1", "2"]);
  expect([...container.querySelectorAll(".zone .value")].map((one) => one.textContent)).toEqual(["50", "50"]);
});

test("a chance is told as people count", () => {
  expect([0, 0.0001, 0.02, 0.1, 0.6].map(often)).toEqual(["hardly ever", "hardly ever", "1 in 50 passes", "1 in 10 passes", "60 % of passes"]);
});

test("a reason is cut into its sentences, not at the decimal point", () => {
  expect(sentences("At 54.5 the rear goes first. One step costs 0.02 s. Stop.")).toEqual(["At 54.5 the rear goes first.", "One step costs 0.02 s.", "Stop."]);
});

test("labels of a map keep clear of each other", () => {
  const turn = Array.from({ length: 60 }, (_, i) => (2 * Math.PI * i) / 60);
  const outline = { x_m: turn.map((a) => 500 * Math.cos(a)), y_m: turn.map((a) => 300 * Math.sin(a)), s_m: turn.map((_, i) => 40 * i), length_m: 2400 };
  const sheet = sheetOf(outline, 400);
  const line = outline.x_m.map((x, i) => sheet.at(x, outline.y_m[i]!));
  const places = labelPlaces([line[0]!, line[1]!, line[2]!], line, sheet);
  for (const [i, one] of places.entries())
    for (const other of places.slice(i + 1)) expect(Math.hypot(one[0] - other[0], one[1] - other[1])).toBeGreaterThan(30);
  expect(between(outline, 2360, 40)).toEqual([59, 0, 1]); // over the start line
});

test("of questions that wait only the newest is asked, and answers come in order", async () => {
  const open: ((value: number) => void)[] = [];
  const asked: number[] = [];
  const given: number[] = [];
  const asking = newestWins<number, number>(
    (question) => { asked.push(question); return new Promise((resolve) => open.push(resolve)); },
    (answer) => given.push(answer),
    () => undefined,
  );
  for (const question of [1, 2, 3, 4]) asking.ask(question);
  expect(asked).toEqual([1]);
  open[0]!(10);
  await vi.waitFor(() => expect(asked).toEqual([1, 4]));
  open[1]!(40);
  await vi.waitFor(() => expect(given).toEqual([10, 40]));
});

test("an error of an overtaken question is not told", async () => {
  const wrong = vi.fn();
  let fail: (error: Error) => void = () => undefined;
  const asking = newestWins<number, number>(
    (question) => (question === 1 ? new Promise((_, reject) => (fail = reject)) : Promise.resolve(question)),
    () => undefined,
    wrong,
  );
  asking.ask(1);
  asking.ask(2);
  fail(new Error("old"));
  await new Promise((resolve) => setTimeout(resolve, 5));
  expect(wrong).not.toHaveBeenCalled();
});

function server() {
  return fakeServer({
    "POST live": (asked: { body: { changes?: number } }) => (asked.body.changes === 0 ? live([51, 51, 51], 0) : live([50, 51, 51], 2)),
    "POST plan": new Refusal(500, { code: "later", message: "not in this test" }),
  });
}

test("the page leads with the lap setting, and a slider draws the staircase anew and can be undone", async () => {
  const asked = server();
  render(<PlanPage />);
  await screen.findByText("51", { selector: ".lapvalue" });
  const before = document.querySelector("path.stairs")!.getAttribute("d");
  const changes = screen.getByLabelText("Changes in a lap");
  fireEvent.focus(changes);
  fireEvent.input(changes, { target: { value: "0" } });
  await waitFor(() => expect(document.querySelector("path.stairs")!.getAttribute("d")).not.toBe(before));
  screen.getByText(/does not pay: leave it at 51/);
  expect(location.search).toBe("");
  fireEvent.change(changes);
  expect(location.search).toBe("?changes=0");
  expect(asked.filter((one) => one.path === "live").at(-1)!.body).toMatchObject({ car: "cars/halden-gt", circuit: "circuits/brackwater", conditions: "conditions/dry", changes: 0 });
  await undo();
  expect(location.search).toBe("");
  await waitFor(() => expect(document.querySelector("path.stairs")!.getAttribute("d")).toBe(before));
});

test("the keys walk through zones and settings, and a cell tells what it would do", async () => {
  server();
  render(<PlanPage />);
  const first = await screen.findByRole("slider", { name: /Zone 1, First/ });
  expect(first.getAttribute("aria-valuetext")).toBe("50, the plan’s own, the best here");
  fireEvent.keyDown(first, { key: "ArrowUp" });
  await screen.findByText("51 in First");
  screen.getByText(/1 step to the front of the plan: 0.015 s a lap lost/);
  const link = screen.getByText("Compare in Zone") as HTMLAnchorElement;
  expect(link.getAttribute("href")).toContain("/zone/a?settings=50,51");
  fireEvent.keyDown(screen.getByRole("slider", { name: /Zone 1, First/ }), { key: "ArrowRight" });
  expect(document.activeElement?.getAttribute("aria-label")).toBe("Zone 2, Second");
});

test("what the server refuses is said, and the sliders stay", async () => {
  fakeServer({ "POST live": new Refusal(422, { code: "cannot_tell", message: "Nobody has said which way the adjuster counts.", hint: "say it" }) });
  render(<PlanPage />);
  await screen.findByText("Nobody has said which way the adjuster counts.");
});
