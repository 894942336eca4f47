/** Asking while a slider moves: one question under way, and of those that wait only the newest. */

export interface Asking<Q> {
  ask: (question: Q) => void;
  stop: () => void;
}

/** `answer` is given every answer that is newer than the one before; `wrong` the errors. */
export function newestWins<Q, A>(
  fetch: (question: Q, signal: AbortSignal) => Promise<A>,
  answer: (given: A, question: Q) => void,
  wrong: (thrown: unknown) => void,
): Asking<Q> {
  let busy = false;
  let waiting: Q | undefined;
  const end = new AbortController();
  const run = async (question: Q) => {
    busy = true;
    try {
      const given = await fetch(question, end.signal);
      if (!end.signal.aborted) answer(given, question);
    } catch (thrown) {
      // An error of a question that is overtaken says nothing about the one that follows.
      if (!end.signal.aborted && waiting === undefined) wrong(thrown);
    }
    busy = false;
    const next = waiting;
    waiting = undefined;
    if (next !== undefined && !end.signal.aborted) void run(next);
  };
  return {
    ask: (question) => {
      if (busy) waiting = question;
      else void run(question);
    },
    stop: () => end.abort(),
  };
}
