/** The cornering load that stands for a corner whose radius nobody typed. */
import { ask } from "../../api/call";
import { read } from "../../api/library";
import { isOwn } from "./typed";

/** Part of its tyres' friction that a car is taken to corner with; common practice, no source. */
const USE_FRAC = 0.85;
const UNKNOWN_G = 1;

interface Span {
  value?: number;
  low?: number;
  high?: number;
}

/** In g, to one decimal: nine in ten cars of the kind can do it without wings. */
export async function usualLoad(car: string): Promise<number> {
  const friction = isOwn(car) ? await ofCar(car.slice("cars/".length)) : await ofClass(car);
  return Math.round(10 * USE_FRAC * friction) / 10 || UNKNOWN_G;
}

async function ofCar(id: string): Promise<number> {
  const held = await read<{ tyre?: { mu_x?: number | Span } }>("cars", id);
  const mu = held.value?.tyre?.mu_x;
  return typeof mu === "number" ? mu : middle(mu ?? {});
}

async function ofClass(name: string): Promise<number> {
  const { text } = await ask<{ text: string }>("GET", `classes/${name}`);
  const found = /^mu_x = \{ low = ([\d.]+), high = ([\d.]+)/m.exec(text);
  return found ? middle({ low: Number(found[1]), high: Number(found[2]) }) : 0;
}

function middle(one: Span): number {
  return one.value ?? ((one.low ?? 0) + (one.high ?? 0)) / 2;
}
