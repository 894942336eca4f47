/** Calls to our own server. */

/** The machine's form of an error, schema `foreaft.error/1`. */
export interface Problem {
  code: string;
  message: string;
  hint: string | null;
  file: string | null;
  line: number | null;
  key: string | null;
  value: string | number | boolean | null;
  allowed: string | null;
  unit: string | null;
}

/** The server refused; `problem` says what is wrong and what to do. */
export class Refused extends Error {
  constructor(
    readonly problem: Problem,
    readonly status: number,
  ) {
    super(problem.message);
    this.name = "Refused";
  }
}

const AWAY: Problem = {
  code: "server_away",
  message: "Foreaft itself does not answer.",
  hint: "Look at the terminal it was started from, and start it again; what you typed is kept here.",
  file: null,
  line: null,
  key: null,
  value: null,
  allowed: null,
  unit: null,
};

/** Ask the server; gives the JSON of its answer. */
export async function ask<T>(
  method: string,
  path: string,
  body?: unknown,
  signal?: AbortSignal,
): Promise<T> {
  const answer = await raw(method, path, body, signal);
  return (answer.status === 204 ? undefined : await answer.json()) as T;
}

/** Ask the server for a file, such as a card. */
export async function askFile(path: string, body: unknown, signal?: AbortSignal): Promise<Blob> {
  return (await raw("POST", path, body, signal)).blob();
}

async function raw(
  method: string,
  path: string,
  body: unknown,
  signal?: AbortSignal,
): Promise<Response> {
  const sent = body instanceof Blob ? "application/octet-stream" : "application/json";
  let answer: Response;
  try {
    answer = await fetch(`/api/${path}`, {
      method,
      headers: method === "GET" ? {} : { "Content-Type": sent },
      body: body === undefined || body instanceof Blob ? body : JSON.stringify(body),
      signal,
    });
  } catch (error) {
    if ((error as Error).name === "AbortError") throw error;
    throw new Refused(AWAY, 0);
  }
  if (!answer.ok) throw new Refused(await problemOf(answer), answer.status);
  return answer;
}

async function problemOf(answer: Response): Promise<Problem> {
  try {
    const told = (await answer.json()) as Partial<Problem>;
    return { ...AWAY, hint: null, ...told } as Problem;
  } catch {
    return { ...AWAY, message: `The server answered ${answer.status}.` };
  }
}

/** Run one job now and give its answer. */
export function job<T>(name: string, request: object, signal?: AbortSignal): Promise<T> {
  return ask<T>("POST", name, request, signal);
}

/** An error in words, whatever was thrown. */
export function problem(thrown: unknown): Problem {
  if (thrown instanceof Refused) return thrown.problem;
  const text = thrown instanceof Error ? thrown.message : String(thrown);
  return { ...AWAY, code: "page", message: text, hint: "Reload the page; nothing typed is lost." };
}
