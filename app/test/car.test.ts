import { expect, test } from "vitest";
import { todayIn } from "../src/pages/car/adjuster";
import { at, sourceOf, uncertain, written } from "../src/parts/keys/value";

test.each([
  ["1360", 1360],
  ["0,44 to 0,46", { low: 0.44, high: 0.46 }],
  ["0.44–0.46", { low: 0.44, high: 0.46 }],
  ["1360 ±8", { value: 1360, sd: 8 }],
  ["1360 +- 8", { value: 1360, sd: 8 }],
  ["−0.3 to −0.1", { low: -0.3, high: -0.1 }],
  ["1e3", 1000],
  ["", null],
  ["about 5", undefined],
  ["5 6", undefined],
])("%s typed for a number", (typed, meant) => {
  expect(uncertain(typed, "")).toEqual(meant);
});

test("the source of a number stays when the number changes", () => {
  expect(uncertain("1350", "corner scales")).toEqual({ value: 1350, source: "corner scales" });
  expect(sourceOf({ low: 1, high: 2, source: "tape" })).toBe("tape");
});

test.each([
  [{ value: 1360, sd: 8 }, "1360 ±8"],
  [{ low: 0.44, high: 0.46 }, "0.44 to 0.46"],
  [2.62, "2.62"],
  [undefined, ""],
])("%s as it is written for people, and back", (found, text) => {
  expect(written(found)).toBe(text);
  if (found !== undefined) expect(uncertain(text, "")).toEqual(found);
});

test("a dotted key finds its value, and nothing in lists", () => {
  const car = { brakes: { front: { pad_friction: 0.45 } }, drive: { gear: [{ gear: 1 }] } };
  expect(at(car, "brakes.front.pad_friction")).toBe(0.45);
  expect(at(car, "drive.gear.gear")).toBeUndefined();
  expect(at(car, "nothing.here")).toBeUndefined();
});

test("what the driver found at today's setting is not turned round", () => {
  const row = {
    setting: 54.5, front_share_frac: 0.7, distance_m: 90, time_s: 4, mfdd_mps2: 9.8, first_lock_decel_mps2: 9.80665,
    limiting_axle: "rear" as const, reserve_front_frac: 0.02, reserve_rear_frac: 0, efficiency_frac: 1,
  };
  expect(todayIn(row, 1, true)).toBe("At today's 54.5 both ends let go together, as you found, at 1.00 g.");
  expect(todayIn(row, 1, false)).toBe("At today's 54.5 the rear lets go first, at 1.00 g.");
});
