import { beforeEach, expect, test } from "vitest";
import { items, type Item } from "../src/api/library";
import { place, placeOf, turn } from "../src/house/address";
import { changedSince, lacking, learnRequest } from "../src/pages/learn/question";
import { chosenOf } from "../src/pages/laps/chosen";
import { designRequest } from "../src/pages/trial/design";
import { asCsv, judgedOtherwise, judgeRequest, sameTogether } from "../src/pages/trial/judge";
import { stopsRequest } from "../src/pages/trial/stops";

beforeEach(() => {
  items.value = [];
  history.replaceState(null, "", "/learn");
  place.value = placeOf("/learn");
});

test("settings count only where every log has one", () => {
  const now = chosenOf({ logs: "logs/a.csv,logs/b.csv" });
  expect(learnRequest(now, { "logs/a.csv": "56" }).settings).toBeUndefined();
  expect(learnRequest(now, { "logs/a.csv": "56", "logs/b.csv": "52,5" }).settings).toEqual([56, 52.5]);
});

test("a setting that is no number, or of some logs only, is said and not dropped", () => {
  const logs = ["logs/a.csv", "logs/b.csv"];
  expect(lacking(logs, {})).toBe("");
  expect(lacking(logs, { "logs/a.csv": "56", "logs/b.csv": "52,5" })).toBe("");
  expect(lacking(logs, { "logs/a.csv": "56" })).toContain("every log");
  expect(lacking(logs, { "logs/a.csv": "56", "logs/b.csv": "52 or so" })).toContain("not a number");
});

test("an answer says what has changed since it was asked for", () => {
  const now = chosenOf({ logs: "logs/a.csv" });
  const asked = { ...learnRequest(now, {}) };
  const work = { asked, started_at: "2026-05-01T10:00:00+00:00" };
  expect(changedSince(work, learnRequest(now, {}))).toEqual([]);
  expect(changedSince(work, learnRequest(now, { "logs/a.csv": "56" }))).toEqual(["the settings typed"]);
  turn({ car: "cars/other", conditions: "conditions/wet" });
  expect(changedSince(work, learnRequest(now, {}))).toEqual(["the car", "the conditions"]);
  turn({ car: "", conditions: "" });
  items.value = [item("2026-05-01T09:59:00+00:00")];
  expect(changedSince(work, learnRequest(now, {}))).toEqual([]);
  items.value = [item("2026-05-01T10:20:00+00:00")]; // edited since, under the same name
  expect(changedSince(work, learnRequest(now, {}))).toEqual(["the car"]);
});

function item(saved_at: string): Item {
  return { kind: "cars", id: "halden-gt", name: "Halden GT", revision: "0", saved_at, bytes: 1, note: "" };
}

test("stops that are not filled in are not asked about", () => {
  expect(stopsRequest([{ setting: "56", first: "" }])).toBeNull();
  turn({ higher: "front" });
  expect(stopsRequest([{ setting: "56", first: "front" }, { setting: "", first: "rear" }])).toEqual({
    stops: { stops: [{ setting: 56, first: "front" }], higher: "front" },
  });
});

const TYPED = { settings: "56 53", measured: "slip_difference_frac", difference: "3,5", scatter: "", from: "", stints: "3", stint_laps: "13" };

test("a stop whose setting is no number is not left out: nothing is asked until it can be read", () => {
  const read = { setting: "56", first: "front" as const };
  expect(stopsRequest([read, { setting: "55x", first: "rear" }])).toBeNull();
  expect(stopsRequest([read, { setting: "55,5", first: "rear" }])).toMatchObject({
    stops: { stops: [{ setting: 56, first: "front" }, { setting: 55.5, first: "rear" }] },
  });
});

test("a design is asked for as soon as there are two settings", () => {
  expect(designRequest({ ...TYPED, settings: "56" })).toBeNull();
  expect(designRequest({ ...TYPED, settings: "56 x" })).toBeNull();
  expect(designRequest({ ...TYPED, scatter: "some" })).toBeNull();
  expect(designRequest(TYPED)).toMatchObject({
    design: { settings: [56, 53], endpoints: [{ name: "slip_difference_frac", difference: expect.closeTo(0.035, 12) }], car: "cars/halden-gt" },
  });
  expect(designRequest({ ...TYPED, settings: "56.5, 53" })).toMatchObject({ design: { settings: [56.5, 53] } });
  expect(designRequest({ ...TYPED, settings: "56,5 53,5" })).toMatchObject({ design: { settings: [56.5, 53.5] } });
});

test("what is left empty is not asked", () => {
  expect(judgeRequest("logs/x.csv", "", { primary: " ", against: "" })).toEqual({ judge: { laps: "logs/x.csv" } });
});

test("the scatter comes from a debrief instead of the number typed, of what a debrief knows of a lap", () => {
  const from = { ...TYPED, scatter: "0.1", from: "works/w/debrief.json" };
  const slip = designRequest(from) as { design: { endpoints: object[]; scatter_from?: string } };
  expect(slip.design.scatter_from).toBe("works/w/debrief.json");
  expect(slip.design.endpoints[0]).not.toHaveProperty("scatter_sd");
  const zone = designRequest({ ...from, measured: "zone_time_s" }) as typeof slip;
  expect(zone.design.scatter_from).toBeUndefined();
  expect(zone.design.endpoints[0]).toHaveProperty("scatter_sd");
});

test("a verdict says what was chosen since", () => {
  const asked = judgeRequest("logs/x.csv", "", { primary: "", against: "" });
  expect(judgedOtherwise(asked, asked)).toEqual([]);
  const now = judgeRequest("logs/x.csv", "plans/p", { primary: "z03_time_s", against: "53,0" });
  expect(judgedOtherwise(asked, now)).toEqual(["the first thing measured", "the setting compared with", "the plan"]);
  expect(judgedOtherwise(now, now)).toEqual([]);
});

test("a pasted table becomes a file of commas", () => {
  expect(asCsv("lap\tsetting\n1\t56,5")).toBe("lap,setting\n1,56.5");
  expect(asCsv("lap,setting\n1,56")).toBe("lap,setting\n1,56");
});

test("zones of the plan of which the same is to be said stand together, other settings apart", () => {
  const line = (zone_name: string, planned_setting: number) => ({ zone_name, planned_setting, text: "nothing" });
  expect(sameTogether([line("Mill", 52), line("Last", 53), line("Fold", 52)])).toEqual([
    { names: "Mill, Fold", text: "nothing" },
    { names: "Last", text: "nothing" },
  ]);
});
