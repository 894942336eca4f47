import { has } from "../src/api/kept";
import { cleanup, fireEvent, render, screen, waitFor } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test } from "vitest";
import { place, placeOf } from "../src/house/address";
import { undo } from "../src/house/undo";
import { key, type PlanAnswer } from "../src/pages/plan/ask";
import { harder, newerThan, showRequest, settingsOf, toggled, wishOf } from "../src/pages/show/ask";
import { Show } from "../src/pages/show";
import { fakeServer, QuietEvents } from "./fake";

const ADJUSTER = { min: 50, max: 58, step: 0.5, higher_means: "front", meaning: "share", seconds_per_step_s: 0.5 };
const LIVE = {
  result: {
    adjuster: ADJUSTER,
    zones: [{ zone_id: "z01", name: "Weir", setting: 54 }, { zone_id: "z02", name: "Mill", setting: 53 }],
  },
};
const INPUTS = { car: { id: "a", revision: "1" }, zones: { id: "b", revision: "1" }, driver: { id: "c", revision: "1" }, conditions: { id: "d", revision: "1" } };
const PLAN = { inputs: INPUTS, warnings: [], cautions: [], result: { adjuster: ADJUSTER, moved: [], zones: [{ zone_id: "z01", setting: 55 }, { zone_id: "z02", setting: 53 }] } };
const RUN = { front_share_frac: 0.6, zone_time_s: 5, happenings: [], often: null };
const ANSWER = {
  inputs: INPUTS,
  warnings: [],
  cautions: ["For a closed circuit only."],
  result: {
    car_name: "A", circuit_name: "B", driver_name: "C", conditions_name: "Dry", zone_id: "z01", zone_name: "Weir",
    adjuster: ADJUSTER, press_frac: 1, moved: [], settings: [51], steps: null, repeat: 0,
    practice: [{ zone_id: "z01", planned_setting: 55, earlier_m: 0, eased_to_frac: 1 }],
    runs: [
      { ...RUN, setting: 55, steps_from_plan: 0, kind: "clean", sentence: "Clean at 55.0." },
      { ...RUN, setting: 51, steps_from_plan: -6, kind: "spin", sentence: "The tail comes round." },
    ],
  },
};

/** The plan of what lies on the desk, as the page Plan has left it. */
function planned(): void {
  sessionStorage.setItem(`foreaft.plan.work ${key.value}`, "plan-9");
}
const MADE = { "GET work/plan-9/answer": PLAN };

async function planDone(): Promise<void> {
  await waitFor(() => expect(QuietEvents.all.some((one) => one.address.includes("plan-9"))).toBe(true));
  QuietEvents.all.find((one) => one.address.includes("plan-9"))!.say({ work_id: "plan-9", job: "plan", state: "done", what: "", done: 1, of: 1, files: [] });
}

function at(address: string): void {
  history.replaceState(null, "", address);
  place.value = placeOf(address);
}

afterEach(cleanup);
beforeEach(() => {
  localStorage.clear();
  sessionStorage.clear();
  QuietEvents.all = [];
  at("/show?zone=z01");
});

test("the address says what is driven, and nonsense in it is the usual", () => {
  expect(wishOf({})).toEqual({ zone: "", way: "wrong", steps: 2, settings: [], press: 1, repeat: 0 });
  expect(wishOf({ try: "51,x,53.5", press: "1.1", repeat: "20" })).toMatchObject({ way: "chosen", settings: [51, 53.5], press: 1.1, repeat: 20 });
  expect(wishOf({ way: "sideways", off: "none" })).toMatchObject({ way: "wrong", steps: 2 });
});

test("only what was asked for goes into the request", () => {
  expect(showRequest(wishOf({ zone: "z01" }))).toMatchObject({ zone: "z01", circuit: "circuits/brackwater", press_frac: 1 });
  expect(showRequest(wishOf({}))).not.toHaveProperty("zone");
  expect(showRequest(wishOf({ way: "steps", off: "3" }))).toMatchObject({ steps: 3 });
  expect(showRequest(wishOf({ try: "52" }))).toMatchObject({ settings: [52] });
});

test("settings are those of the adjuster, and a second press takes one out", () => {
  expect(settingsOf(ADJUSTER as never)).toHaveLength(17);
  expect(settingsOf({ ...ADJUSTER, min: 0.1, max: 0.3, step: 0.1 } as never)).toEqual([0.1, 0.2, 0.3]);
  expect(toggled([53], 51)).toEqual([51, 53]);
  expect(toggled([51, 53], 51)).toEqual([53]);
});

test("the sliders of the plan go along, and its work where it is made", () => {
  at("/show?zone=z01&grip=0.8&changes=1");
  expect(showRequest(wishOf({}), "works/plan-1")).toMatchObject({ grip_scale: 0.8, changes: 1, samples: 64, plan: "works/plan-1" });
  expect(showRequest(wishOf({}))).not.toHaveProperty("plan");
});

test("runs that are older than the choices say what has changed", () => {
  const now = wishOf({ zone: "z01", try: "51" });
  const since = (wish: object, plan: object | null) => newerThan(ANSWER as never, { ...now, ...wish }, plan as PlanAnswer | null);
  expect(since({}, PLAN)).toEqual([]);
  expect(since({}, null)).toEqual([]);
  expect(since({ press: 1.1, repeat: 20, settings: [52] }, null)).toEqual(["the settings to try", "the pedal", "how often each is driven"]);
  expect(since({ way: "steps" }, PLAN)).toEqual(["the settings to try"]);
  const driver = { ...PLAN, inputs: { ...INPUTS, driver: { id: "c", revision: "2" } } };
  expect(since({}, driver)).toEqual(["the driver"]);
  const moved = { ...driver, result: { ...PLAN.result, moved: [{ key: "boldness", value: 2, in_file: 1 }] } };
  expect(since({}, moved)).toEqual(["the numbers moved on the plan"]);
  const other = { ...PLAN, result: { ...PLAN.result, zones: [{ zone_id: "z01", setting: 54 }] } };
  expect(since({}, other)).toEqual(["the planned setting"]);
});

test("the plan comes first, and its sampled setting is the one called planned", async () => {
  at("/show?zone=z01&try=51&grip=0.8");
  planned();
  const asked = fakeServer({ ...MADE, "POST live": LIVE, "GET work": [], "POST work/show": { work_id: "show-8" } });
  render(<Show />);
  expect(await screen.findByText("grip 80 %")).toBeTruthy();
  fireEvent.click(screen.getByText("Drive it"));
  expect(asked.some((one) => one.path === "work/show")).toBe(false);
  await planDone();
  await waitFor(() => expect(asked.find((one) => one.path === "work/show")?.body).toMatchObject({ plan: "works/plan-9", grip_scale: 0.8 }));
  expect(screen.getByLabelText("55.0, planned")).toBeTruthy();
  expect(screen.getByText("Planned here: 55.0.")).toBeTruthy();
  fireEvent.click(screen.getByText("Back to the files"));
  await waitFor(() => expect(screen.queryByText("grip 80 %")).toBeNull());
});

test("settings are picked, can be taken back, and are driven as a work", async () => {
  planned();
  const asked = fakeServer({ ...MADE, "POST live": LIVE, "GET work": [], "POST work/show": { work_id: "show-1" }, "GET work/show-1/answer": ANSWER });
  render(<Show />);
  fireEvent.click(await screen.findByLabelText("settings I pick"));
  expect(screen.getByText("Drive it")).toHaveProperty("disabled", true);
  fireEvent.click(await screen.findByText("51.0"));
  expect(location.search).toContain("try=51");
  await undo();
  expect(location.search).not.toContain("try=51");
  fireEvent.click(screen.getByText("51.0"));
  fireEvent.click(screen.getByText("Drive it"));
  await planDone();
  await waitFor(() => expect(QuietEvents.all.some((one) => one.address.includes("show-1"))).toBe(true));
  expect(asked.find((one) => one.path === "work/show")!.body).toMatchObject({ settings: [51], zone: "z01" });
  QuietEvents.all.at(-1)!.say({ work_id: "show-1", job: "show", state: "done", what: "", done: 1, of: 1, files: ["show.html"] });
  await screen.findByText("The tail comes round.");
  const stage = document.querySelector("iframe")!;
  expect(stage.getAttribute("sandbox")).toBe("allow-scripts");
  expect(stage.getAttribute("src")).toBe("/api/work/show-1/files/show.html");
  expect(screen.getByText(/6 steps to the rear/)).toBeTruthy();
});

test("a work is known by fields of its request, whatever else it was asked", () => {
  const asked = { logs: ["logs/a.csv", "logs/b.csv"], circuit: "circuits/x", units: "metric", judge: { laps: "logs/l.csv", level: 0.05 } };
  expect(has(asked, { logs: ["logs/a.csv", "logs/b.csv"], against: undefined })).toBe(true);
  expect(has(asked, { judge: { laps: "logs/l.csv" } })).toBe(true);
  expect(has(asked, { logs: ["logs/a.csv"] })).toBe(false);
  expect(has(asked, { circuit: undefined })).toBe(false);
  expect(has(asked, { judge: { laps: "logs/m.csv" } })).toBe(false);
  expect(has({ judge: null }, { judge: { laps: "logs/l.csv" } })).toBe(false);
});

test("the last show of this zone is there again after a reload", async () => {
  const asked = showRequest(wishOf({ zone: "z01" }));
  const state = { work_id: "show-7", job: "show", title: "", asked, state: "done", what: "", done: 1, of: 1, files: ["show.html"] };
  fakeServer({ "POST live": LIVE, "GET work": [{ ...state, work_id: "show-2", asked: { ...asked, zone: "z02" } }, state], "GET work/show-7/answer": ANSWER });
  render(<Show />);
  await waitFor(() => expect(QuietEvents.all.some((one) => one.address.includes("show-7"))).toBe(true));
  QuietEvents.all.at(-1)!.say(state);
  await screen.findByText("Clean at 55.0.");
  expect(screen.getByText(/These runs are older/).parentElement!.textContent).toContain("the settings to try"); // none is picked any more
});

test("stopping stops the work on the server", async () => {
  const asked = fakeServer({ "POST live": LIVE, "GET work": [], "POST work/show": { work_id: "show-3" }, "DELETE work/show-3": {} });
  render(<Show />);
  fireEvent.click(await screen.findByText("Drive it"));
  const shows = () => QuietEvents.all.filter((one) => one.address.includes("show-3"));
  await waitFor(() => expect(shows().length).toBe(1));
  shows()[0]!.say({ work_id: "show-3", job: "show", state: "running", what: "runs", done: 1, of: 3, files: [] });
  expect(await screen.findByText("Driving: runs, 1 of 3")).toBeTruthy();
  fireEvent.click(screen.getByText("Stop"));
  await waitFor(() => expect(asked.some((one) => one.method === "DELETE" && one.path === "work/show-3")).toBe(true));
});

test("where nothing goes wrong a harder pedal is one press away, up to the hardest", async () => {
  expect([1, 1.05, 1.3, 1.35].map(harder)).toEqual([1.1, 1.15, 1.4, undefined]);
  const [run] = ANSWER.result.runs;
  const clean = { ...ANSWER, result: { ...ANSWER.result, runs: [run] } };
  const asked = fakeServer({ "POST live": LIVE, "GET work": [], "POST work/show": { work_id: "show-4" }, "GET work/show-4/answer": clean });
  render(<Show />);
  fireEvent.click(await screen.findByText("Drive it"));
  const shows = () => QuietEvents.all.filter((one) => one.address.includes("show-4"));
  await waitFor(() => expect(shows().length).toBe(1));
  shows()[0]!.say({ work_id: "show-4", job: "show", state: "done", what: "", done: 1, of: 1, files: [] });
  fireEvent.click(await screen.findByText("Drive it with a harder pedal"));
  await waitFor(() => expect(asked.filter((one) => one.path === "work/show").at(-1)!.body).toMatchObject({ press_frac: 1.1 }));
  expect(location.search).toContain("press=1.1");
});
