/** A work that is opened from the list of works: the page is put as it was when the work was asked. */
import { useEffect } from "preact/hooks";
import { ask, problem } from "../api/call";
import { listText } from "../pages/laps/chosen";
import { place, turn, type Query } from "./address";
import { BARE } from "./desk";
import { tell } from "./tell";

type Asked = Record<string, unknown>;

/** Where a request keeps what the address calls by a shorter name. */
const SLIDERS: [word: string, field: string][] = [
  ["changes", "changes"],
  ["boldness", "boldness"],
  ["grip", "grip_scale"],
  ["fuel", "fuel_kg"],
  ["scatter", "scatter_scale"],
];
const QUICK = ["today", "higher", "first", "lowest", "highest", "step"];

/** Put what a work was asked into the address; its page finds the answer by `seen`. */
export function useOpened(): void {
  const id = place.value.query.work ?? "";
  useEffect(() => {
    if (!id) return;
    ask<Asked>("GET", `work/${encodeURIComponent(id)}/request`).then(
      (asked) => turn({ ...queryOf(id.split("-")[0]!, asked), work: "", seen: id }),
      (error) => {
        turn({ work: "" });
        tell({ kind: "error", text: problem(error).message });
      },
    );
  }, [id]);
}

/** The words of the address that ask the same. */
export function queryOf(job: string, asked: Asked): Query {
  if (job === "trial") {
    const judge = (asked.judge ?? {}) as Asked;
    return { laps: text(judge.laps), plan: text(judge.plan) };
  }
  const query: Query = { ...onDesk(asked), zone: text(asked.zone) };
  if (job === "debrief" || job === "learn") Object.assign(query, ofLogs(asked));
  if (job === "debrief") Object.assign(query, { plan: text(asked.plan), circuit_from: asked.circuit ? "" : "log" });
  if (job === "show") Object.assign(query, driven(asked));
  return query;
}

function onDesk(asked: Asked): Query {
  const quick = (asked.quick ?? {}) as Asked;
  const said: Query = Object.fromEntries(Object.keys(BARE).map((word) => [word, ""]));
  for (const word of ["car", "driver"]) said[word] = text(asked[word]);
  said.conditions = text([asked.conditions].flat()[0]);
  said.road = text(asked.circuit ?? asked.sheet);
  for (const word of QUICK) said[word] = text(quick[word]);
  for (const [word, field] of SLIDERS) said[word] = text(asked[field]);
  return said;
}

function ofLogs(asked: Asked): Query {
  const list = (value: unknown) => listText((value as string[] | undefined) ?? []);
  return { logs: list(asked.logs), mapping: list(asked.mapping), against: text(asked.against) };
}

function driven(asked: Asked): Query {
  const settings = ((asked.settings as number[] | undefined) ?? []).join(",");
  const way = settings ? "chosen" : asked.steps ? "steps" : "";
  return { way, try: settings, off: text(asked.steps), press: text(asked.press_frac), repeat: text(asked.repeat) };
}

function text(value: unknown): string {
  return value === null || value === undefined ? "" : String(value);
}
