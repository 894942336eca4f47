import { cleanup, configure, fireEvent, render, screen, waitFor } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { place, placeOf } from "../src/house/address";
import { desk } from "../src/house/desk";
import { undo } from "../src/house/undo";
import { items, refresh } from "../src/api/library";
import { Library } from "../src/pages/library";
import { bring, kindOf } from "../src/pages/library/bring";
import { size } from "../src/words/files";
import { fakeServer, Refusal } from "./fake";

// A busy machine.
configure({ asyncUtilTimeout: 8000 });
vi.setConfig({ testTimeout: 20_000 });

const car = { kind: "cars", id: "one", name: "Car <script>", revision: "aaaaaaaaaaaa", saved_at: "2031-05-01T10:00:00+00:00", bytes: 3636, note: "gt-mid", problem: null };
const sheet = { ...car, kind: "sheets", id: "mine", name: "Mine", note: "3 zones" };
const log = { ...car, kind: "logs", id: "run.csv", name: "run.csv", note: "" };

let there: object[];

function server(more: Record<string, unknown> = {}) {
  there = [car, sheet, log];
  return fakeServer({
    "GET library": () => ({ items: there, damaged: [] }),
    "GET library/removed": [],
    "GET work": [],
    ...more,
  });
}

beforeEach(async () => {
  history.replaceState(null, "", "/library");
  place.value = placeOf("/library");
  items.value = null;
  localStorage.clear();
});
afterEach(cleanup);

async function open(more: Record<string, unknown> = {}) {
  const asked = server(more);
  await refresh();
  render(<Library />);
  await screen.findByText("Car <script>");
  return asked;
}

test.each([
  ["car.toml", 'schema = "foreaft.car/1"\n', "cars"],
  ["her.toml", '# hers\nschema = "foreaft.driver/1"\n', "drivers"],
  ["day.toml", 'schema = "foreaft.conditions/1"\n', "conditions"],
  ["corners.csv", "# typed\nname;approach_kmh;min_kmh;radius_m\n", "sheets"],
  ["road.csv", "x_m,y_m,w_tr_right_m\n", "circuits"],
  ["zones.csv", "zone_id,name,apex_s_m\n", "zones"],
  ["road.geojson", "{}", "circuits"],
  ["plan.json", '{"schema": "foreaft.plan/1"', "plans"],
  ["run.csv", "Time,Speed,Brake\n", "logs"],
  ["gps.csv", "t_s,x_m,y_m,speed_mps\n", "logs"],
  ["run.mf4", "MDF     4.10", "logs"],
])("%s is taken for what stands in it", (name, head, kind) => {
  expect(kindOf(name, head)).toBe(kind);
});

test("a car is put on the desk, and the answers about another car go; undo brings them back", async () => {
  place.value = placeOf("/library?car=gt-mid&today=54&higher=front&first=front");
  await open();
  fireEvent.click(screen.getAllByRole("button", { name: "Put on the desk" })[0]!);
  expect(desk.value).toMatchObject({ car: "cars/one", today: "" });
  await undo();
  expect(desk.value).toMatchObject({ car: "gt-mid", today: "54" });
});

test("what is removed comes back by undo", async () => {
  const asked = await open({
    "DELETE library/sheets/mine?based_on=aaaaaaaaaaaa": () => { there = [car, log]; return {}; },
    "POST library/sheets/mine/restore": () => { there = [car, sheet, log]; return {}; },
  });
  fireEvent.click(screen.getByRole("button", { name: "More to do with Mine" }));
  fireEvent.click(screen.getByRole("button", { name: "Remove" }));
  await waitFor(() => expect(screen.queryByText("Mine")).toBeNull());
  await undo();
  await screen.findByText("Mine");
  expect(asked.find((one) => one.path.endsWith("restore"))!.body).toMatchObject({ revision: "aaaaaaaaaaaa", based_on: null });
});

test("a sheet takes another name with it to the desk", async () => {
  place.value = placeOf("/library?road=sheets/mine");
  const copied = { ...sheet, id: "the-long-one", name: "The Long One", revision: "bbbbbbbbbbbb" };
  await open({
    "POST library/sheets/mine/copy": () => { there = [car, copied, log]; return { item: copied }; },
    "DELETE library/sheets/mine?based_on=aaaaaaaaaaaa": {},
  });
  fireEvent.click(screen.getByRole("button", { name: "More to do with Mine" }));
  fireEvent.click(screen.getByRole("button", { name: "Rename" }));
  fireEvent.input(screen.getByLabelText("Name"), { target: { value: "The Long One" } });
  fireEvent.submit(screen.getByLabelText("Name").closest("form")!);
  await screen.findByText("The Long One");
  await waitFor(() => expect(desk.value.road).toBe("sheets/the-long-one"));
});

test("a log can be neither copied nor looked at as text", async () => {
  await open();
  fireEvent.click(screen.getByRole("button", { name: "More to do with run.csv" }));
  expect(screen.queryByRole("button", { name: "Copy" })).toBeNull();
  expect(screen.getByRole("button", { name: "Former versions" })).toBeTruthy();
});

test("finding leaves only what fits, and the address keeps it", async () => {
  await open();
  fireEvent.input(screen.getByLabelText("Find"), { target: { value: "mine" } });
  await waitFor(() => expect(screen.queryByText("Car <script>")).toBeNull());
  expect(screen.getByText("Mine")).toBeTruthy();
  expect(location.search).toBe("?find=mine");
});

test("of a long shelf the latest are shown, and the rest when asked for", async () => {
  const many = Array.from({ length: 15 }, (_, i) => ({ ...sheet, id: `s${i}`, name: `Sheet ${i}`, saved_at: `2031-05-${10 + i}T10:00:00+00:00` }));
  await open({ "GET library": () => ({ items: [car, ...many], damaged: [] }) });
  expect(screen.getAllByText(/^Sheet/)[0]!.textContent).toBe("Sheet 14");
  expect(screen.queryByText("Sheet 2")).toBeNull();
  fireEvent.click(screen.getByRole("button", { name: "3 more: Zone sheets" }));
  expect(await screen.findByText("Sheet 2")).toBeTruthy();
});

test("a driver and a day are opened on pages of their own, and can still be edited as text", async () => {
  const driver = { ...car, kind: "drivers", id: "she", name: "She" };
  const day = { ...car, kind: "conditions", id: "cold", name: "Cold" };
  await open({ "GET library": () => ({ items: [car, driver, day], damaged: [] }), "GET library/drivers/she": { item: driver, text: "level = 1", value: null } });
  expect(screen.getByRole("link", { name: "She" }).getAttribute("href")).toBe("/driver/she");
  expect(screen.getByRole("link", { name: "Cold" }).getAttribute("href")).toBe("/conditions/cold");
  fireEvent.click(screen.getByRole("button", { name: "More to do with She" }));
  fireEvent.click(screen.getByRole("button", { name: "Edit as text" }));
  expect(((await screen.findByLabelText("The file")) as HTMLTextAreaElement).value).toBe("level = 1");
});

test("a file of a name that is taken gets the next one; a refused one does not keep others out", async () => {
  const asked = server({
    "GET library/sheets/mine": { item: sheet, text: "other", value: null },
    "PUT library/sheets/mine-2": { item: { ...sheet, id: "mine-2" } },
    "PUT library/cars/bad": new Refusal(400, { code: "missing_key", message: "mass_kg is missing", hint: "weigh it" }),
  });
  await refresh();
  const told = await bring([
    new File(['schema = "foreaft.car/1"\nid = "bad"\n'], "bad.toml"),
    new File(["name,approach_kmh,min_kmh\nA,200,80\n"], "mine.csv"),
  ]);
  expect(told[0]!.wrong!.message).toBe("mass_kg is missing");
  expect(told[1]!.item!.id).toBe("mine-2");
  expect(asked.filter((one) => one.method === "PUT").every((one) => one.body.based_on === null)).toBe(true);
});

test("works stand under names, those somebody kept first, and are found by either", async () => {
  const work = { work_id: "plan-1", job: "plan", title: "Halden GT, Brackwater, grip 96 %", asked: {}, kept_as: "", state: "done", files: [], started_at: "2031-05-01T10:00:00+00:00", what: "", done: 1, of: 1, seconds: 1 };
  const debrief = { ...work, work_id: "debrief-1", job: "debrief", title: "2 logs at Brackwater" };
  const plan = { ...car, kind: "plans", id: "sunday", name: "Sunday" };
  await open({ "GET library": () => ({ items: [car, plan], damaged: [] }), "GET work": [debrief, work, { ...work, work_id: "plan-0", kept_as: "plans/sunday" }] });
  const works = await screen.findByRole("region", { name: "Works" });
  const names = () => [...works.querySelectorAll("strong")].map((one) => one.textContent);
  expect(names()).toEqual(["Sunday", "Debrief: 2 logs at Brackwater", "Plan: Halden GT, Brackwater, grip 96 %"]);
  expect(works.textContent).toContain("Plan: Halden GT, Brackwater, grip 96 % · 1 May 2031");
  expect(works.textContent).not.toMatch(/plan-\d|debrief-\d/);
  fireEvent.input(screen.getByLabelText("Find"), { target: { value: "sunday" } });
  await waitFor(() => expect(names()).toEqual(["Sunday"]));
  fireEvent.input(screen.getByLabelText("Find"), { target: { value: "96 %" } });
  await waitFor(() => expect(names()).toEqual(["Sunday", "Plan: Halden GT, Brackwater, grip 96 %"]));
});

test("sizes are told in whole words", () => {
  expect([94, 3636, 24_100, 5_400_000].map(size)).toEqual(["94 B", "3.6 kB", "24 kB", "5.4 MB"]);
});
