/** A zone sheet typed into faster than it is saved. */
import { cleanup, configure, fireEvent, render, screen, waitFor } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { items } from "../src/api/library";
import { place, placeOf } from "../src/house/address";
import { dropDraft } from "../src/house/draft";
import { CircuitPage } from "../src/pages/circuit";
import { fakeServer, Refusal } from "./fake";

// A busy machine.
configure({ asyncUtilTimeout: 8000 });
vi.setConfig({ testTimeout: 20_000 });

type Row = Record<string, string>;
const COLUMNS = ["name", "approach_kmh", "min_kmh", "direction", "depth_frac", "hand_time_s"];

let number: number;
let rows: Row[];
let past: Row[][];

const itemNow = () => ({ kind: "sheets" as const, id: "one", name: "One", revision: `r${number}`, saved_at: "", bytes: 1, note: "" });

function server() {
  number = 1;
  past = [];
  rows = [{ name: "Weir", approach_kmh: "200", min_kmh: "90", direction: "none", depth_frac: "0.5", hand_time_s: "2" }];
  const put = ({ body }: { body: any }) => {
    if (body.based_on !== itemNow().revision) return new Refusal(409, { code: "saved_elsewhere", message: "saved elsewhere" });
    past.push(rows);
    rows = body.value.rows;
    number += 1;
    return { item: itemNow() };
  };
  fakeServer({
    "GET library": () => ({ items: [itemNow()], damaged: [] }),
    "GET library/sheets/one": () => ({ item: itemNow(), text: "", value: { columns: COLUMNS, rows } }),
    "PUT library/sheets/one": put,
  });
}

beforeEach(() => {
  localStorage.clear();
  server();
  items.value = [itemNow()];
  place.value = placeOf("/sheet/one");
});
afterEach(() => {
  cleanup();
  dropDraft("sheets.one");
});

const cell = (name: string) => screen.getByLabelText(name) as HTMLInputElement;

function leave(name: string, value: string) {
  fireEvent.input(cell(name), { target: { value } });
  fireEvent.change(cell(name), { target: { value } });
}

test("what is typed while the cell before is being saved stays", async () => {
  render(<CircuitPage />);
  await screen.findByLabelText("Weir: Brakes from");
  leave("Weir: Brakes from", "210");
  await Promise.resolve();
  fireEvent.input(cell("Weir: Lowest"), { target: { value: "8" } });
  await waitFor(() => expect(rows[0]!.approach_kmh).toBe("210"));
  await waitFor(() => expect(items.value![0]!.revision).toBe("r2"));
  await new Promise((done) => setTimeout(done, 100));
  expect([cell("Weir: Brakes from").value, cell("Weir: Lowest").value]).toEqual(["210", "8"]);
  leave("Weir: Lowest", "85");
  await waitFor(() => expect(rows[0]).toMatchObject({ approach_kmh: "210", min_kmh: "85" }));
});

test("two cells left one upon the other are both saved", async () => {
  render(<CircuitPage />);
  await screen.findByLabelText("Weir: Brakes from");
  leave("Weir: Brakes from", "210");
  await Promise.resolve();
  leave("Weir: Lowest", "85");
  await waitFor(() => expect(rows[0]).toMatchObject({ approach_kmh: "210", min_kmh: "85" }));
  expect(screen.queryByRole("alert")).toBeNull();
  expect(past).toHaveLength(2);
});
