import { beforeEach, expect, test } from "vitest";
import { place, placeOf, turn } from "../src/house/address";
import { learnRequest } from "../src/pages/learn";
import { nameOf, perBar, round } from "../src/pages/learn/parameters";
import { chosenOf } from "../src/pages/laps/chosen";
import { designRequest } from "../src/pages/trial/design";
import { asCsv, judgeRequest } from "../src/pages/trial/judge";
import { nameOf as endpointName } from "../src/pages/trial/effects";
import { stopsRequest } from "../src/pages/trial/stops";

beforeEach(() => {
  history.replaceState(null, "", "/learn");
  place.value = placeOf("/learn");
});

test("settings count only where every log has one", () => {
  const now = chosenOf({ logs: "logs/a.csv,logs/b.csv" });
  expect(learnRequest(now, { "logs/a.csv": "56" }).settings).toBeUndefined();
  expect(learnRequest(now, { "logs/a.csv": "56", "logs/b.csv": "52,5" }).settings).toEqual([56, 52.5]);
});

test("a key becomes words, with its setting", () => {
  expect(nameOf({ key: "front_share_frac", setting: 54.5 })).toBe("Front share at 54.5");
  expect(nameOf({ key: "tyre.mu_x", setting: null })).toBe("Tyre, mu x");
  expect(nameOf({ key: "decel_per_front_pressure_mps2_per_Pa", setting: 51.5 })).toBe("Deceleration per front line pressure at 51.5");
  expect(nameOf({ key: "drive.gear.1.engine_drag_Nm", setting: null })).toBe("Engine braking, gear 1 of the file");
  const gain = perBar({ estimate: 4e-6, low_90: 3e-6, high_90: 5e-6, unit: "m/s2/Pa" });
  expect(gain.unit).toBe("m/s2 per bar");
  expect(gain.estimate).toBeCloseTo(0.4, 12);
});

test("a number shows as many places as its width deserves", () => {
  expect(round(0.67812, 0.012)).toBe("0.678");
  expect(round(1360.4, 12)).toBe("1360");
  expect(round(2.5, 0)).toBe("2.500");
});

test("stops that are not filled in are not asked about", () => {
  expect(stopsRequest([{ setting: "56", first: "" }])).toBeNull();
  turn({ higher: "front" });
  expect(stopsRequest([{ setting: "56", first: "front" }, { setting: "", first: "rear" }])).toEqual({
    stops: { stops: [{ setting: 56, first: "front" }], higher: "front" },
  });
});

const TYPED = { settings: "56 53", measured: "slip_difference_frac", difference: "0,03", scatter: "", stints: "3", stint_laps: "13" };

test("a design is asked for as soon as there are two settings", () => {
  expect(designRequest({ ...TYPED, settings: "56" })).toBeNull();
  expect(designRequest({ ...TYPED, settings: "56 x" })).toBeNull();
  expect(designRequest(TYPED)).toMatchObject({
    design: { settings: [56, 53], endpoints: [{ name: "slip_difference_frac", difference: 0.03 }], car: "cars/halden-gt" },
  });
  expect(designRequest({ ...TYPED, settings: "56.5, 53" })).toMatchObject({ design: { settings: [56.5, 53] } });
  expect(designRequest({ ...TYPED, settings: "56,5 53,5" })).toMatchObject({ design: { settings: [56.5, 53.5] } });
});

test("what is left empty is not asked", () => {
  expect(judgeRequest("logs/x.csv", "", { primary: " ", against: "" })).toEqual({ judge: { laps: "logs/x.csv" } });
});

test("a pasted table becomes a file of commas", () => {
  expect(asCsv("lap\tsetting\n1\t56,5")).toBe("lap,setting\n1,56.5");
  expect(asCsv("lap,setting\n1,56")).toBe("lap,setting\n1,56");
});

test("what is measured in words", () => {
  expect(endpointName("z03_time_s")).toBe("Z03 time");
  expect(endpointName("slip_difference_frac")).toBe("Slip difference");
});
