/** Where the words of a mark stand: beside it, inside the frame, off the lines. */

export type Px = readonly [number, number];

export interface Frame {
  left: number;
  right: number;
  top: number;
  bottom: number;
}

export interface Label {
  at: Px;
  anchor: "start" | "middle" | "end";
}

const LETTER = 7;
const TALL = 13;
const ANCHORS = ["middle", "start", "end"] as const;

/** The first place, of those on the wanted side first, that no line runs through; else the first. */
export function labelAt(words: string, [x, y]: Px, side: "above" | "below", lines: readonly (readonly Px[])[], frame: Frame): Label {
  const wide = words.length * LETTER;
  const sides = side === "above" ? [-11, 22] : [22, -11];
  const tried = sides.flatMap((down) => ANCHORS.map((anchor): Label => ({ at: [x, y + down], anchor })));
  const inside = tried.filter((one) => {
    const [left, right] = reach(one, wide);
    return left >= frame.left - 4 && right <= frame.right + 4 && one.at[1] - TALL >= frame.top - 20 && one.at[1] <= frame.bottom - 2;
  });
  return inside.find((one) => !lines.some((line) => crossed(line, one, wide))) ?? inside[0] ?? tried[0]!;
}

function reach({ at: [x], anchor }: Label, wide: number): [number, number] {
  const left = { start: x, middle: x - wide / 2, end: x - wide }[anchor];
  return [left, left + wide];
}

/** Whether a line runs through the words: looked at every few pixels along it. */
function crossed(line: readonly Px[], label: Label, wide: number): boolean {
  const [left, right] = reach(label, wide);
  const [top, bottom] = [label.at[1] - TALL, label.at[1] + 3];
  return line.slice(1).some(([x1, y1], i) => {
    const [x0, y0] = line[i]!;
    const pieces = Math.max(1, Math.ceil(Math.hypot(x1 - x0, y1 - y0) / 3));
    return Array.from({ length: pieces + 1 }, (_, k) => k / pieces).some((part) => {
      const [x, y] = [x0 + part * (x1 - x0), y0 + part * (y1 - y0)];
      return x > left && x < right && y > top && y < bottom;
    });
  });
}
