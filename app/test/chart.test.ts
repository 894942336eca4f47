import { expect, test } from "vitest";
import { labelAt, type Px } from "../src/draw/chart_labels";

const FRAME = { left: 50, right: 450, top: 30, bottom: 220 };

/** The words as a box: seven pixels a letter, thirteen tall. */
function box(words: string, { at: [x, y], anchor }: ReturnType<typeof labelAt>) {
  const wide = 7 * words.length;
  const left = { start: x, middle: x - wide / 2, end: x - wide }[anchor];
  return { left, right: left + wide, top: y - 13, bottom: y + 3 };
}

test.each([
  ["rising", 1],
  ["falling", -1],
] as const)("the words of a mark on a %s line keep off it", (_, way) => {
  const line: Px[] = [[50, 125 + 80 * way], [450, 125 - 80 * way]];
  const found = box("shortest 55.0", labelAt("shortest 55.0", [250, 125], "below", [line], FRAME));
  for (let x = found.left; x <= found.right; x += 1) {
    const y = 125 - (way * 80 * (x - 250)) / 200;
    expect(y <= found.top || y >= found.bottom).toBe(true);
  }
});

test.each([[52, 100], [448, 100], [250, 33], [250, 218]])("at the edge, %s %s, they stay in the picture", (x, y) => {
  const found = box("today 54.0", labelAt("today 54.0", [x, y], "above", [], FRAME));
  expect(found.left).toBeGreaterThanOrEqual(FRAME.left - 4);
  expect(found.right).toBeLessThanOrEqual(FRAME.right + 4);
  expect(found.bottom).toBeLessThanOrEqual(FRAME.bottom + 3);
});

test("free of lines they stand where they are wanted, in the middle", () => {
  expect(labelAt("plan", [250, 125], "above", [], FRAME)).toEqual({ at: [250, 114], anchor: "middle" });
  expect(labelAt("plan", [250, 125], "below", [], FRAME)).toEqual({ at: [250, 147], anchor: "middle" });
});
