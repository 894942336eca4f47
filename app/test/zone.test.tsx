import { cleanup, fireEvent, render, screen } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test } from "vitest";
import { place, placeOf } from "../src/house/address";
import { limitPath } from "../src/draw/ellipses";
import { difference, hardest } from "../src/pages/zone/says";
import { carAt, phaseAt, worked, type ZoneSetting, type ZoneView } from "../src/pages/zone/view";
import { listed, ZonePage } from "../src/pages/zone";
import { fakeServer } from "./fake";

const NAMES = ["front_inside", "front_outside", "rear_inside", "rear_outside"] as const;

function setting(value: number, distance: number, places = 3): ZoneSetting {
  const s = Array.from({ length: places }, (_, k) => -10 * (places - 1 - k));
  const all = (number: number) => s.map(() => number);
  return {
    setting: value, torque_share_frac: 0.6, brake_distance_m: distance, time_s: 3, road_share_frac: all(0.62),
    profile: {
      s_m: s, speed_mps: s.map((_, k) => 50 - 10 * k), decel_mps2: all(15), lateral_mps2: all(2), pedal_frac: s.map((_, k) => (k < places - 1 ? 1 : 0)),
      ideal_torque_share_frac: all(0.58), window_low_frac: all(0.5), window_high_frac: all(0.7), front_use_frac: all(0.9), rear_use_frac: all(0.8),
    },
    wheels: NAMES.map((wheel, w) => ({
      wheel, load_N: all(3000), along_N: s.map((_, k) => 1000 * k), across_N: all(500), capacity_along_N: all(5000), capacity_across_N: all(4500),
      use_frac: s.map((_, k) => 0.5 + 0.1 * w + 0.05 * k), sliding: all(0).map(() => false),
    })),
  };
}

function view(settings: ZoneSetting[]): ZoneView {
  const cell = (value: number, cost_us: number) => ({
    setting: value, front_share_frac: 0.6, feasible: true, time_s: 3, brake_distance_m: 80 + (value - 54), first_lock_decel_mps2: 14, first_lock_wheel: "front_inside" as const,
    p_front: 0.01, p_rear: 0, cost_us, use_straight_frac: 0.9, use_turning_frac: 0.9, p_inside_front: 0, limit_loss_s: 0, margin_loss_s: 0, risk_s: 0, rotation_s: 0, time_to_double_s: null,
  });
  return {
    car_name: "Car", circuit_name: "Round", driver_name: "Driver", conditions_name: "Dry",
    adjuster: { min: 54, max: 55, step: 0.5, higher_means: "front", meaning: "x", seconds_per_step_s: 0.3 },
    wheelbase_m: 2.6, track_front_m: 1.6, track_rear_m: 1.6,
    zones: [{ zone_id: "a", name: "First" }, { zone_id: "b", name: "Second" }],
    zone: { zone_id: "b", name: "Second", direction: "left", brake_s_m: null, turn_in_s_m: null, release_s_m: null, apex_s_m: null, approach_speed_mps: 50, apex_speed_mps: 30, apex_radius_m: 60, depth_frac: 0.8, hand_time_s: 3 },
    plan_setting: 54, lap_setting: 54.5, own_setting: 54, flat_low: 54, flat_high: 54, advice: "set",
    field: [cell(54, 0), cell(54.5, 12_000), cell(55, 40_000)],
    limits: (["front", "rear"] as const).map((axle) => ({ axle, along_frac: [0, 0.6, 1], across_frac: [1, 0.8, 0] })),
    settings,
  };
}

beforeEach(() => {
  history.replaceState(null, "", "/zone/b");
  place.value = placeOf("/zone/b");
  localStorage.clear();
});
afterEach(cleanup);

test("settings come from the address, and rubbish does not", () => {
  expect(listed("54,55.5")).toEqual([54, 55.5]);
  expect(listed(",x,54,")).toEqual([54]);
});

test("the wheel used most is looked for where the pedal is pressed", () => {
  const one = setting(54, 80);
  expect(worked(one).hardest).toMatchObject({ wheel: "rear_outside", place: 1 }); // the last place has no pedal
  expect(hardest(one)).toBe(
    "The outside rear tyre works hardest, as the brakes are let off: 85 % of what it can hold, 10 m before the apex. " +
      "It is one wheel of two: the rear axle as a whole is at 80 % there, and lets go only when both its wheels are spent.",
  );
});

test("a place lies before the turn-in, between it and the middle of the release, or after that", () => {
  const one = setting(54, 80, 9);
  one.profile.speed_mps = one.profile.s_m.map(() => 40);
  one.profile.lateral_mps2 = [0, 0, 0.5, 4, 6, 8, 10, 10, 10]; // a tenth of the bend is passed at the fourth
  const said = one.profile.s_m.map((_, k) => phaseAt(one, k));
  expect(said.slice(0, 3).every((words) => words.includes("straight"))).toBe(true);
  expect(said.slice(3, 5).every((words) => words.includes("into the turn"))).toBe(true); // the pedal is up after the eighth
  expect(said.slice(5).every((words) => words.includes("let off"))).toBe(true);
});

test("a wheel that slides is named", () => {
  const one = setting(54, 80);
  one.wheels[0]!.sliding = [true, false, false];
  expect(hardest(one)).toContain("The inside front wheel slides on the way.");
});

test("places are counted from the apex, however early the braking begins", () => {
  const [long, short] = [setting(54, 80, 5), setting(55, 78, 3)];
  expect(carAt(long, 1, "").wheels[0]!.along_N).toBe(3000);
  expect(carAt(short, 1, "").wheels[0]!.along_N).toBe(1000);
});

test("the difference is told with the plan's own costs", () => {
  const [first, other] = [setting(54, 80), setting(55, 81.3)];
  expect(difference(view([first, other]), first, other)).toBe("55.0 instead brakes 1.3 m longer and loses 0.040 s a lap, mistakes counted.");
});

test("the limit is drawn round all four sides", () => {
  const path = limitPath({ along: [0, 1], across: [1, 0] }, 50, 40);
  for (const corner of ["40.0,0.0", "0.0,50.0", "-40.0,", ",-50.0"]) expect(path).toContain(corner);
});

test("a place is scrubbed with the keys, another setting is picked into the address", async () => {
  const asked = fakeServer({ "POST zone": { warnings: [], result: view([setting(54, 80), setting(54.5, 80.4)]) } });
  render(<ZonePage />);
  await screen.findByRole("heading", { name: "Second", level: 1 });
  expect(asked[0]!.body).toMatchObject({ zone: "b", settings: [] });
  const where = screen.getByLabelText("Where");
  expect(where.getAttribute("aria-valuetext")).toBe("10 m before the apex");
  fireEvent.input(where, { target: { value: "2" } });
  expect(where.getAttribute("aria-valuetext")).toBe("at the apex");
  fireEvent.change(screen.getByLabelText("Beside it, in outline"), { target: { value: "55" } });
  expect(location.search).toBe("?settings=54,55");
});
