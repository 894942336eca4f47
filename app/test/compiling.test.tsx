import { cleanup, render, screen, waitFor } from "@testing-library/preact";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { about } from "../src/house/about";
import { House } from "../src/house/house";
import { fakeServer, QuietEvents } from "./fake";

beforeEach(() => {
  vi.useFakeTimers({ shouldAdvanceTime: true });
  vi.stubGlobal("EventSource", QuietEvents);
  history.replaceState(null, "", "/");
});
afterEach(() => {
  cleanup();
  vi.useRealTimers();
  about.value = null;
});

test("every page says that the physics is compiled, until it is", async () => {
  let compiling = false;
  fakeServer({ "GET about": () => ({ classes: [], levels: [], symptoms: [], cautions: [], compiling }), "GET library": { items: [], damaged: [], removed: [] } });
  render(<House />);
  await waitFor(() => expect(about.value).not.toBeNull());
  expect(screen.queryByText(/Getting ready/)).toBeNull();
  compiling = true; // the server has begun to load the physics meanwhile
  await vi.advanceTimersByTimeAsync(3000);
  await screen.findByText(/Getting ready/);
  compiling = false;
  await vi.advanceTimersByTimeAsync(3000);
  await waitFor(() => expect(screen.queryByText(/Getting ready/)).toBeNull());
});
