import { expect, test } from "vitest";
import { keep, redo, undo } from "../src/house/undo";

test("two presses in a hurry undo two steps, each once and the later first", async () => {
  const done: string[] = [];
  const slow = (label: string) => ({
    label,
    undo: async () => { await new Promise((over) => setTimeout(over, 5)); done.push(`-${label}`); },
    redo: () => { done.push(label); },
  });
  keep(slow("one"));
  keep(slow("two"));
  await Promise.all([undo(), undo()]);
  expect(done).toEqual(["-two", "-one"]);
  await Promise.all([redo(), redo()]);
  expect(done.slice(2)).toEqual(["one", "two"]);
});
