import { expect, test } from "vitest";
import type { Problem } from "../src/api/call";
import { items } from "../src/api/library";
import { rowOf, said, together } from "../src/pages/circuit/circuit";
import { sheetColumns, sheetLacks } from "../src/pages/circuit/sheet";
import { cellAt, clean, columnsOf, fileRow, placeIn, shownRow } from "../src/pages/circuit/table";
import { spread } from "../src/parts/grid";
import { told } from "../src/parts/keys/told";
import { units } from "../src/words/units";

const SHEET_COLUMNS = sheetColumns();

test("cells from a spreadsheet go in from the cell pasted into, and make rows", () => {
  const rows = [{ name: "One", approach_kmh: "200" }];
  const made = spread("180\t90\n170\t80\n", SHEET_COLUMNS, rows, 0, 1);
  expect(made).toEqual([
    { name: "One", approach_kmh: "180", min_kmh: "90" },
    { approach_kmh: "170", min_kmh: "80" },
  ]);
  expect(rows[0]!.approach_kmh).toBe("200");
});

test("a decimal comma is made plain, words stay as typed", () => {
  expect(clean({ name: "Bend, fast", depth_frac: "0,5", gear: "3." }, SHEET_COLUMNS)).toEqual({ name: "Bend, fast", depth_frac: "0.5", gear: "3" });
  expect(clean({ depth_frac: "half" }, SHEET_COLUMNS)).toEqual({ depth_frac: "half" });
});

test("columns that hold nothing are not written, those the file has stay", () => {
  const columns = columnsOf([{ name: "One", gear: "", run_off: "wall" }], ["name", "gear"], SHEET_COLUMNS);
  expect(columns).toEqual(["name", "gear", "run_off"]);
});

test("only what is known better than the cut is kept as a mark", () => {
  const zone = { zone_id: "z01", name: "Zone 1", apex_s_m: 512.4 };
  const bare = rowOf(zone, []);
  expect(said(bare, zone, [])).toBe(false);
  expect(said({ ...bare, name: "Lintel" }, zone, [])).toBe(true);
  expect(said({ ...bare, depth_frac: "0.5" }, zone, [])).toBe(true);
  expect(said(bare, zone, [{ zone_id: "z01" }])).toBe(true);
});

test("a refusal points at the cell it speaks of", () => {
  const wrong = { code: "", message: "Too deep.", hint: null, file: null, line: 3, key: "depth_frac", value: 2, allowed: "0 to 1", unit: null };
  const at = cellAt(wrong, [{}, {}, {}]);
  expect(at).toMatchObject({ row: 1, key: "depth_frac" });
  expect(at!.text).toContain("0 to 1");
});

test("a refusal names the zone and the column as the page does, never the file", () => {
  const wrong = refusal({ file: "zones/brackwater", line: 3, key: "depth_frac", value: 3, allowed: "0 to 1", message: "3 is outside what is possible." });
  const { text, details } = told(wrong, placeIn([{ name: "Lintel" }, { name: "Weir" }]));
  expect(text).toBe("Weir, Brake off: 3 is outside what is possible.");
  expect(details).toBe("allowed: 0 to 1");
});

test("several things at once are told one by one, without lines and keys", () => {
  const message = "2 things are wrong.\n- line 2: depth_frac: 3 is outside what is possible.\n- line 2: min_kmh: The key min_kmh is missing. It is: lowest speed.";
  const { each } = told(refusal({ message, line: 2, key: "depth_frac" }), placeIn([{ name: "Weir" }]));
  expect(each).toEqual(["Weir, Brake off: 3 is outside what is possible.", "Weir, Lowest: This is missing. It is: lowest speed."]);
});

test("a speed typed in miles is told back in miles", () => {
  const wrong = refusal({ key: "approach_kmh", line: 2, value: 1448.4, unit: "km/h", allowed: "15 to 450", message: "1448.4 is outside what is possible.", hint: "Usual: 90 to 290. speed at the brake point." });
  const said = told(wrong, placeIn([{ name: "Weir" }]), "imperial");
  expect(said.text).toBe("Weir, Brakes from: 900 is outside what is possible.");
  expect(said.details).toBe("allowed: 9.32 to 280 mph"); // 15 and 450 km/h over 1.609344
  expect(said.hint).toContain("Usual: 55.9 to 180.");
});

test("a thing of the library is named as people named it, a file brought in by its own name", () => {
  items.value = [{ kind: "cars", id: "halden-gt", name: "Halden GT", revision: "", saved_at: "", bytes: 1, note: "" }];
  expect(told(refusal({ file: "cars/halden-gt", line: 8, key: "mass_kg.low" })).text).toMatch(/^Halden GT, line 8, mass low: /);
  expect(told(refusal({ file: "start.csv", key: "file", value: "a picture" })).text).toMatch(/^start.csv: /);
});

test("cells are in the user's units, and what was not touched is saved as the file had it", () => {
  units.value = "imperial";
  const file = [{ name: "One", approach_kmh: "255", min_kmh: "56", radius_m: "18" }];
  const row = shownRow(file[0]!, sheetColumns());
  expect(row).toEqual({ name: "One", approach_kmh: "158.4", min_kmh: "34.8", radius_m: "59" }); // 255 / 1.609344, 18 / 0.3048
  expect(fileRow({ ...row, min_kmh: "40" }, 0, sheetColumns(), file)).toEqual({ name: "One", approach_kmh: "255", min_kmh: "64.37376", radius_m: "18" });
  units.value = "metric";
  expect(shownRow(file[0]!, sheetColumns())).toEqual(file[0]);
});

test("a new corner is not sent before it says what it needs", () => {
  const whole = { name: "One", approach_kmh: "200", min_kmh: "90", radius_m: "", lateral_g: "1.2", direction: "left", depth_frac: "0", hand_time_s: "1" };
  expect(sheetLacks(whole)).toEqual([]);
  expect(sheetLacks({ ...whole, approach_kmh: " ", lateral_g: "" })).toEqual(["Brakes from", "Radius or load"]);
  expect(sheetLacks({ ...whole, lateral_g: "", direction: "none" })).toEqual([]);
});

test("zones joined one after the other share one setting", () => {
  const rows = ["", "0", "0", "2", "0"].map((hand_time_s) => ({ hand_time_s }));
  expect(together(rows, 1)).toEqual([0, 1, 2]);
  expect(together(rows, 3)).toEqual([3, 4]);
});

function refusal(more: Partial<Problem>): Problem {
  return { code: "", message: "Wrong.", hint: null, file: null, line: null, key: null, value: null, allowed: null, unit: null, ...more };
}
