import { cleanup, fireEvent, render, screen, waitFor } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { items } from "../src/api/library";
import { place, placeOf } from "../src/house/address";
import { key } from "../src/pages/plan/ask";
import { Card, cardRequest, pictures, printingOf } from "../src/pages/card";
import { drawn } from "../src/pages/card/paper";
import { reminders } from "../src/pages/card/reminders";
import { plans } from "../src/pages/card/choosing";
import { sourceOf } from "../src/pages/card/source";
import { fakeServer, QuietEvents, Refusal } from "./fake";

const ADJUSTER = { min: 50, max: 58, step: 0.5, higher_means: "front", meaning: "share", seconds_per_step_s: 0.5 };
const zone = (name: string, setting: number) => ({ zone_id: name, name, setting });
const plan = (zones: object[], conditions: string) => ({
  inputs: { conditions: { id: conditions, revision: "1", file: null } },
  warnings: [],
  cautions: ["Closed circuit only."],
  result: { moved: [] as object[], car_name: "A", circuit_name: "B", driver_name: "C", conditions_name: conditions, adjuster: ADJUSTER, zones, lap_setting: { setting: 54, cost_us: 455_000 }, total: { cost_us: 412_000 }, panic_setting: 55.5 },
});
const DRY = plan([zone("Weir", 54), zone("Mill", 52.5), zone("Hairpin", 54)], "dry");
const WET = plan([zone("Weir", 51)], "wet");
const SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 50 90" aria-labelledby="t"><title id="t">Cockpit sticker</title><desc>Base 54.</desc><text>54</text></svg>';

afterEach(cleanup);
beforeEach(() => {
  localStorage.clear();
  sessionStorage.clear();
  QuietEvents.all = [];
  history.replaceState(null, "", "/card?plan=works/plan-1");
  place.value = placeOf("/card?plan=works/plan-1");
  items.value = [{ kind: "conditions", id: "wet", name: "Wet", revision: "1", saved_at: "", bytes: 1, note: "" }];
});

test("reminders name every change in driving order, from the one across the line on", () => {
  expect(reminders(DRY.result as never)).toEqual([
    "Cross the line at 54.",
    "After Weir: 3 steps to the rear, to 52.5, before Mill.",
    "After Mill: 3 steps to the front, to 54, before Hairpin.",
    "If you lose count, go to 55.5.",
  ]);
  const idle = { ...DRY.result, total: { cost_us: 446_000 } };
  expect(reminders(idle as never).at(-2)).toBe("Changes gain next to nothing: 54 all lap is as good.");
  const one = { ...DRY.result, zones: [zone("Weir", 54), zone("Mill", 54)] };
  expect(reminders(one as never)[0]).toBe("One setting for the whole lap: 54.");
  const other = { ...DRY.result, adjuster: { ...ADJUSTER, higher_means: "rear" } };
  expect(reminders(other as never)[1]).toContain("3 steps to the front, to 52.5");
});

test("the back of a card is the plan that was made with the front", () => {
  const source = sourceOf("plan-1", [DRY, WET] as never, ["plan.json", "wet/plan.json", "wet/sticker.pdf"]);
  expect(source.others).toEqual([{ conditions: "conditions/wet", name: "wet", reference: "works/plan-1/wet/plan.json" }]);
  const now = printingOf({ wet: "conditions/wet", card_units: "imperial", date: " 3 May " });
  expect(cardRequest(now, source)).toEqual({ plan: "works/plan-1", product: "sticker", units: "imperial", date: "3 May", wet: "works/plan-1/wet/plan.json" });
  expect(cardRequest(now, sourceOf("plan-2", DRY as never, ["plan.json"]))).toBeNull();
});

test("a page keeps its words and loses ids and scripts", () => {
  const { drawing, label } = drawn(SVG.replace("<text>", "<script>alert(1)</script><text>"));
  expect(label).toBe("Cockpit sticker. Base 54.");
  expect(drawing!.querySelector("script, title, [id]")).toBeNull();
  expect(drawing!.textContent).toBe("54");
  expect(drawn("no picture").drawing).toBeNull();
});

test("every choice redraws the page, and the wet back is planned with the dry side", async () => {
  const state = { work_id: "plan-1", job: "plan", title: "", state: "done", files: ["plan.json"], started_at: "", what: "", done: 0, of: 0 };
  const asked = fakeServer({
    "GET work": [],
    "GET work/plan-1": state,
    "GET work/plan-1/answer": DRY,
    "POST card": { pages: [SVG] },
    "POST work/plan": { work_id: "plan-2" },
  });
  render(<Card />);
  await screen.findByLabelText("Cockpit sticker. Base 54.");
  fireEvent.click(screen.getByLabelText("Briefing"));
  await waitFor(() => expect(asked.filter((one) => one.path === "card").at(-1)!.body).toMatchObject({ product: "briefing", plan: "works/plan-1" }));
  expect(screen.getByText(/Closed circuit only/)).toBeTruthy();
  fireEvent.click(screen.getByText("To the plan of what lies on the desk"));
  expect(location.search).not.toContain("plan=");
  fireEvent.change(screen.getByLabelText("For the rain"), { target: { value: "conditions/wet" } });
  fireEvent.click(await screen.findByText("Make the plan for both"));
  await waitFor(() => expect(asked.find((one) => one.path === "work/plan")?.body).toMatchObject({ conditions: ["conditions/dry", "conditions/wet"], samples: 64 }));
});

test("the card of the desk is of the sampled plan of its sliders, and says what they moved", async () => {
  history.replaceState(null, "", "/card?grip=0.8");
  place.value = placeOf("/card?grip=0.8");
  sessionStorage.setItem(`foreaft.plan.work ${key.value}`, "plan-9");
  const asked = fakeServer({ "GET work": [], "GET work/plan-9/answer": DRY, "POST card": { pages: [SVG, SVG] } });
  render(<Card />);
  expect(await screen.findByText("grip 80 %")).toBeTruthy();
  await waitFor(() => expect(QuietEvents.all.some((one) => one.address.includes("plan-9"))).toBe(true));
  QuietEvents.all[0]!.say({ work_id: "plan-9", job: "plan", state: "done", what: "", done: 1, of: 1, files: [] });
  await waitFor(() => expect(asked.find((one) => one.path === "card")?.body).toMatchObject({ plan: "works/plan-9" }));
  fireEvent.click(await screen.findByText("Picture of the wet side"));
  await waitFor(() => expect(asked.at(-1)!.body).toMatchObject({ format: "png", page: 2 }));
});

test("a plan picked by hand says what was moved when it was made", async () => {
  const moved = { ...DRY, result: { ...DRY.result, moved: [{ key: "fuel_kg", value: 40, in_file: 55 }] } };
  fakeServer({ "GET work": [], "GET work/plan-1": { files: [] }, "GET work/plan-1/answer": moved, "POST card": { pages: [SVG] } });
  render(<Card />);
  expect(await screen.findByText("fuel 40 kg")).toBeTruthy();
  expect(screen.queryByText("Back to the files")).toBeNull();
});

const work = (id: string, more: object = {}) => ({ work_id: id, job: "plan", title: "Halden GT, Brackwater", asked: {}, kept_as: "", state: "done", files: [], started_at: "2031-05-01T10:00:00+00:00", what: "", done: 0, of: 0, seconds: 1, ...more });
const sunday = { kind: "plans" as const, id: "sunday", name: "Sunday", revision: "1", saved_at: "2031-05-02T10:00:00+00:00", bytes: 1, note: "" };

test("plans kept under a name stand first, and no plan stands there twice or by its id", () => {
  items.value = [{ ...sunday, id: "older", name: "Older", saved_at: "2031-04-02T10:00:00+00:00" }, sunday];
  const works = [work("plan-2"), work("plan-1", { kept_as: "plans/sunday" }), work("plan-0", { state: "failed" }), work("show-1", { job: "show" })];
  const labels = (now: string) => plans(now, works as never, false).map((one) => one.label.replace(/\d\d:\d\d/, "…"));
  expect(labels("")).toEqual(["of what lies on the desk", "Sunday, 2 May 2031, …", "Older, 2 Apr 2031, …", "Halden GT, Brackwater, 1 May 2031, …"]);
  expect(labels("works/plan-1").at(-1)).toBe("Sunday, 1 May 2031, …");
  items.value = [];
  expect(labels("works/plan-1").at(-1)).toBe("Halden GT, Brackwater, 1 May 2031, …"); // taken out of the library
  expect(plans("works/plan-77", [], true).at(-1)!.label).toBe("one that is gone");
});

test("a plan the server has dropped is told, and another is planned or chosen", async () => {
  const gone = new Refusal(404, { code: "unknown_work", message: "There is no such work." });
  const asked = fakeServer({ "GET work": [], "GET work/plan-1": gone, "GET work/plan-1/answer": gone, "POST work/plan": { work_id: "plan-2" } });
  render(<Card />);
  expect((await screen.findByRole("alert")).textContent).toContain("not there any more");
  expect(screen.queryByText(/no such work/)).toBeNull();
  expect(screen.queryByText("Make the plan")).toBeNull();
  fireEvent.click(screen.getByText("Choose another plan"));
  expect(document.activeElement).toBe(screen.getByRole("combobox", { name: "Plan" }));
  fireEvent.click(screen.getByText("Plan what lies on the desk"));
  await waitFor(() => expect(asked.some((one) => one.path === "work/plan")).toBe(true));
  expect(screen.queryByRole("alert")).toBeNull();
});

test("a card never shows another plan than the one chosen", async () => {
  const gone = new Refusal(404, { code: "unknown_work", message: "There is no such work." });
  fakeServer({ "GET work": [], "GET work/plan-1": { files: [] }, "GET work/plan-1/answer": DRY, "GET work/plan-3": gone, "GET work/plan-3/answer": gone, "POST card": { pages: [SVG] } });
  render(<Card />);
  await screen.findByLabelText("Cockpit sticker. Base 54.");
  place.value = placeOf("/card?plan=works/plan-3");
  await screen.findByText(/not there any more/);
  expect(screen.queryByLabelText("Cockpit sticker. Base 54.")).toBeNull();
  expect(screen.queryByText("If you lose count, go to 55.5.")).toBeNull();
});

test("the plan of the desk is made again where the server has dropped it since", async () => {
  history.replaceState(null, "", "/card?boldness=1.7");
  place.value = placeOf("/card?boldness=1.7");
  sessionStorage.setItem(`foreaft.plan.work ${key.value}`, "plan-5");
  let dropped = false;
  const asked = fakeServer({
    "GET work": [],
    "GET work/plan-5/answer": DRY,
    "GET work/plan-6/answer": DRY,
    "POST work/plan": { work_id: "plan-6" },
    "POST card": (one: { body: { plan: string } }) => dropped && one.body.plan === "works/plan-5" ? new Refusal(400, { code: "unknown_reference", message: "This names nothing." }) : { pages: [SVG] },
  });
  render(<Card />);
  const events = (id: string) => QuietEvents.all.find((one) => one.address.includes(id));
  await waitFor(() => expect(events("plan-5")).toBeTruthy());
  events("plan-5")!.say(work("plan-5"));
  await screen.findByLabelText("Cockpit sticker. Base 54.");
  dropped = true;
  fireEvent.click(screen.getByLabelText("Briefing"));
  fireEvent.click(await screen.findByText("Plan it again"));
  await waitFor(() => expect(events("plan-6")).toBeTruthy());
  events("plan-6")!.say(work("plan-6"));
  await waitFor(() => expect(asked.filter((one) => one.path === "card").at(-1)!.body).toMatchObject({ plan: "works/plan-6", product: "briefing" }));
  await screen.findByLabelText("Cockpit sticker. Base 54.");
});

test("work that is gone after a reload is begun anew, not waited for", async () => {
  history.replaceState(null, "", "/card?boldness=1.9");
  place.value = placeOf("/card?boldness=1.9");
  sessionStorage.setItem(`foreaft.plan.work ${key.value}`, "plan-7");
  const asked = fakeServer({ "GET work": [], "GET work/plan-7": new Refusal(404, { code: "unknown_work", message: "" }), "POST work/plan": { work_id: "plan-8" } });
  render(<Card />);
  await waitFor(() => expect(QuietEvents.all.some((one) => one.address.includes("plan-7"))).toBe(true));
  QuietEvents.all[0]!.refuse();
  await waitFor(() => expect(asked.some((one) => one.path === "work/plan")).toBe(true));
});

test("each side has a picture of its own", () => {
  expect(pictures("sticker", 1)).toEqual([{ label: "Download picture", file: "sticker.png" }]);
  expect(pictures("sticker", 2).map((one) => one.file)).toEqual(["sticker.png", "sticker-wet.png"]);
});

test("reminders are read out by the browser's own voice, and stop when told", async () => {
  const said: string[] = [];
  const cancel = vi.fn();
  vi.stubGlobal("speechSynthesis", { speak: (one: { text: string }) => said.push(one.text), cancel });
  vi.stubGlobal("SpeechSynthesisUtterance", class { constructor(readonly text: string) {} });
  fakeServer({ "GET work": [], "GET work/plan-1": { files: [] }, "GET work/plan-1/answer": DRY, "POST card": { pages: [SVG] } });
  render(<Card />);
  fireEvent.click(await screen.findByText("Read out"));
  expect(said).toEqual(reminders(DRY.result as never));
  fireEvent.click(screen.getByText("Stop reading"));
  expect(cancel).toHaveBeenCalled();
  expect(await screen.findByText("Read out")).toBeTruthy();
});
