/** The cornering load that stands for a corner whose radius nobody typed. */
import { read } from "../../api/library";
import { isOwn } from "./typed";

/** Treaded tyres 1.2 g, slicks 1.6 g: common practice, no source; the class says which it runs. */
const TREADED_G = 1.2;
const SLICK_G = 1.6;
const TREADED = ["saloon-historic", "coupe-rear-drive", "club-formula"];
/** Friction from which a tyre is likelier a slick; common practice, no source. */
const SLICK_FROM = 1.35;

type Number = number | { value?: number; low?: number; high?: number };

export async function usualLoad(car: string): Promise<number> {
  if (!isOwn(car)) return TREADED.includes(car) ? TREADED_G : SLICK_G;
  const held = await read<{ tyre?: { mu_x?: Number } }>("cars", car.slice("cars/".length));
  return middle(held.value?.tyre?.mu_x) >= SLICK_FROM ? SLICK_G : TREADED_G;
}

function middle(mu: Number | undefined): number {
  if (typeof mu === "number") return mu;
  return mu?.value ?? ((mu?.low ?? 0) + (mu?.high ?? 0)) / 2;
}
