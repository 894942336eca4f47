/** Where we are: a path and what lies on the desk, both in the address, so that every view can be
 * bookmarked, sent and reloaded. */
import { signal } from "@preact/signals";

export type Query = Record<string, string>;

export interface Place {
  path: string;
  query: Query;
}

/** Read a place out of a path with a query. */
export function placeOf(address: string): Place {
  const url = new URL(address, "http://here");
  return { path: url.pathname, query: Object.fromEntries(url.searchParams) };
}

/** The address of a place; empty values are left out, keys keep one order. */
export function addressOf(path: string, query: Query): string {
  const kept = Object.entries(query)
    .filter(([, value]) => value !== "")
    .sort(([a], [b]) => a.localeCompare(b));
  const tail = kept.map(([key, value]) => `${key}=${readable(value)}`).join("&");
  return tail ? `${path}?${tail}` : path;
}

// Slashes and commas may stand in a query as they are, and read better.
function readable(value: string): string {
  return encodeURIComponent(value).replaceAll("%2F", "/").replaceAll("%2C", ",");
}

export const place = signal<Place>(placeOf(location.pathname + location.search));

addEventListener("popstate", () => {
  place.value = placeOf(location.pathname + location.search);
});

/** Go to another page; the desk comes along. */
export function go(path: string, more: Query = {}): void {
  show(path, { ...place.value.query, ...more }, true);
  scrollTo(0, 0);
}

/** Change the query of this page. With `lasting` the browser's back button undoes it. */
export function turn(changes: Query, lasting = false): void {
  show(place.value.path, { ...place.value.query, ...changes }, lasting);
}

function show(path: string, query: Query, lasting: boolean): void {
  const address = addressOf(path, query);
  history[lasting ? "pushState" : "replaceState"](null, "", address);
  place.value = placeOf(address);
}

/** The parts of the path, as ["zone", "z03"]. */
export function parts(): string[] {
  return place.value.path.split("/").filter(Boolean).map(decodeURIComponent);
}
