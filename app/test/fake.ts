/** A server for the pages' tests: answers by method and path, and keeps what it was asked. */
import { vi } from "vitest";

export interface Asked {
  method: string;
  path: string;
  body: any;
}

type Answer = unknown | ((asked: Asked) => unknown);

/** Answers by "GET library" or "POST plan"; a function may look at what was asked, or throw. */
export function fakeServer(answers: Record<string, Answer>): Asked[] {
  const asked: Asked[] = [];
  vi.stubGlobal("fetch", async (address: string, options: RequestInit = {}) => {
    const one: Asked = {
      method: options.method ?? "GET",
      path: String(address).replace(/^\/api\//, ""),
      body: typeof options.body === "string" ? JSON.parse(options.body) : options.body,
    };
    asked.push(one);
    const found = answers[`${one.method} ${one.path}`];
    if (found === undefined) return reply(404, { code: "unknown", message: `no ${one.path}` });
    const given = typeof found === "function" ? (found as (a: Asked) => unknown)(one) : found;
    return given instanceof Refusal ? reply(given.status, given.problem) : reply(200, given);
  });
  return asked;
}

/** An answer that refuses. */
export class Refusal {
  constructor(
    readonly status: number,
    readonly problem: Record<string, unknown>,
  ) {}
}

function reply(status: number, body: unknown): Response {
  return new Response(JSON.stringify(body), { status, headers: { "Content-Type": "application/json" } });
}

/** Server-sent events that say nothing, or what a test pushes with `say`. */
export class QuietEvents {
  static all: QuietEvents[] = [];
  static readonly CLOSED = 2;
  readyState = 1;
  onmessage: ((event: { data: string }) => void) | null = null;
  onerror: (() => void) | null = null;
  constructor(readonly address: string) {
    QuietEvents.all.push(this);
  }
  say(data: unknown): void {
    this.onmessage?.({ data: JSON.stringify(data) });
  }
  /** As of a work that is not there: the browser does not try again. */
  refuse(): void {
    this.readyState = QuietEvents.CLOSED;
    this.onerror?.();
  }
  close(): void {}
}
vi.stubGlobal("EventSource", QuietEvents);
