import { cleanup, configure, fireEvent, render, screen, waitFor, within } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { about } from "../src/house/about";
import { place, placeOf } from "../src/house/address";
import { dropDraft } from "../src/house/draft";
import { undo } from "../src/house/undo";
import { items } from "../src/api/library";
import { Symptoms } from "../src/pages/symptoms";
import { fakeServer, Refusal } from "./fake";

// A busy machine.
configure({ asyncUtilTimeout: 8000 });
vi.setConfig({ testTimeout: 20_000 });

const WHOSE = "cars/halden-gt|circuits/brackwater|drivers/mara-venn";

const plan = {
  result: {
    circuit_name: "Brackwater",
    adjuster: { min: 48, max: 60, step: 0.5, higher_means: "front" },
    zones: [{ zone_id: "z01", name: "Lintel", setting: 52.5, apex_s_m: 100 }, { zone_id: "z02", name: "Weir", setting: 53, apex_s_m: 300 }],
    outline: null,
  },
};

const advice = {
  warnings: [],
  cautions: ["For a closed circuit only."],
  result: {
    zone_id: "z02", zone_name: "Weir", from_setting: 53, to_setting: 53.5, direction: "front", narrowed: [], weighed: [], cannot_tell: null,
    because: "One step FORWARD, 53.0 -> 53.5 (bigger is more front). In 1 of 5 passes it was loose on entry: 80 % likely because braking leaves the rear too little grip.",
    by_balance_frac: 0.8, cars: 200, cars_effective: 150, reports: 1,
  },
};

let lines: object[];

function server(more: Record<string, unknown> = {}) {
  lines = [];
  return fakeServer({
    "POST plan": plan,
    "POST advise": (asked: { body: { symptom: string; setting: number } }) => {
      lines = [...lines, { report: `r${lines.length}`, at: "2031-05-01T10:00:00+00:00", zone: "Weir (z02)", symptom: "loose on entry 1 of 5", from: asked.body.setting, to: 53.5, because: "so" }];
      return advice;
    },
    "POST history": (asked: { body: { take_back?: string } }) => {
      lines = lines.filter((one) => (one as { report: string }).report !== asked.body.take_back);
      return { result: { lines } };
    },
    ...more,
  });
}

beforeEach(() => {
  place.value = placeOf("/symptoms");
  items.value = [];
  about.value = { symptoms: [{ symptom: "loose_on_entry", label: "it was loose on entry" }, { symptom: "fine", label: "it was fine" }] } as never;
  dropDraft(`symptoms.last.${WHOSE}`);
  dropDraft(`symptoms.at.${WHOSE}.z02`);
  localStorage.clear();
});
afterEach(cleanup);

async function openWeir() {
  render(<Symptoms />);
  fireEvent.click(await screen.findByRole("button", { name: /Weir/ }));
}

test("two taps from the corner to the next setting", async () => {
  const asked = server();
  await openWeir();
  fireEvent.click(await screen.findByRole("button", { name: "It was loose on entry" }));
  const next = await screen.findByRole("region", { name: "Next setting" });
  expect(within(next).getByText("53.5").tagName).toBe("OUTPUT");
  expect(within(next).getByText(/One step FORWARD/)).toBeTruthy();
  expect(within(next).getByText(/In 1 of 5 passes/)).toBeTruthy();
  expect(within(next).getAllByText("For a closed circuit only.").length).toBe(1);
  expect(asked.find((one) => one.path === "advise")!.body).toMatchObject({
    car: "cars/halden-gt", circuit: "circuits/brackwater", zone: "z02", symptom: "loose_on_entry", setting: 53, times: 1, passes: 5, remember: true,
  });
  await screen.findByText(/to 53.5, forward/);
});

test("the setting moves by single steps, and fine is fine every time", async () => {
  const asked = server();
  await openWeir();
  fireEvent.click(await screen.findByRole("button", { name: "One step rearward, lower" }));
  fireEvent.click(screen.getByRole("button", { name: "in so many passes: one more" }));
  fireEvent.click(screen.getByRole("button", { name: "It was fine" }));
  await screen.findByRole("region", { name: "Next setting" });
  expect(asked.find((one) => one.path === "advise")!.body).toMatchObject({ setting: 52.5, times: 6, passes: 6 });
});

test("the setting of the last report is the one to begin with", async () => {
  server();
  lines = [{ report: "r", at: "2031-05-01T10:00:00+00:00", zone: "Weir (z02)", symptom: "fine 5 of 5", from: 54, to: 54.5, because: "" }];
  await openWeir();
  await waitFor(() => expect(within(screen.getByRole("group", { name: "It happened at" })).getByText("54.5")).toBeTruthy());
});

test("undo takes the report out of the history again", async () => {
  const asked = server();
  await openWeir();
  fireEvent.click(await screen.findByRole("button", { name: "It was loose on entry" }));
  await screen.findByRole("region", { name: "Next setting" });
  await undo();
  await waitFor(() => expect(screen.queryByRole("region", { name: "Next setting" })).toBeNull());
  expect(lines).toEqual([]);
  expect(asked.some((one) => one.body?.take_back === "r0")).toBe(true);
});

test("an answer is still there after the page is left", async () => {
  server();
  await openWeir();
  fireEvent.click(await screen.findByRole("button", { name: "It was loose on entry" }));
  await screen.findByRole("region", { name: "Next setting" });
  cleanup();
  render(<Symptoms />);
  expect(await screen.findByRole("region", { name: "Next setting" })).toBeTruthy();
});

test("a refusal stands at the corner, and nothing is kept", async () => {
  server({ "POST advise": new Refusal(400, { code: "not_a_setting", message: "the adjuster never shows this setting", hint: "use the number as the driver reads it", value: null }) });
  await openWeir();
  fireEvent.click(await screen.findByRole("button", { name: "It was fine" }));
  expect((await screen.findByRole("alert")).textContent).toMatch(/never shows this setting/);
  expect(screen.getByRole("button", { name: "It was fine" })).toBeTruthy();
});

test("a class of car of which nothing is known is sent to the four questions", async () => {
  server({ "POST plan": new Refusal(422, { code: "cannot_tell", message: "Cannot tell any setting", hint: "answer three questions", value: null }) });
  render(<Symptoms />);
  expect((await screen.findByRole("link", { name: /four questions/ })).getAttribute("href")).toMatch(/^\/start/);
});
