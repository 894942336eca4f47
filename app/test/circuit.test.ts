import { expect, test } from "vitest";
import { rowOf, said } from "../src/pages/circuit/circuit";
import { cellAt, clean, columnsOf } from "../src/pages/circuit/table";
import { SHEET_COLUMNS } from "../src/pages/circuit/sheet";
import { spread } from "../src/parts/grid";

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
