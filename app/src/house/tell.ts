/** Short messages at the foot of the page, read aloud by screen readers. */
import { signal } from "@preact/signals";

export interface Message {
  kind: "done" | "error";
  text: string;
  action?: { label: string; run: () => void };
}

export const message = signal<Message | null>(null);
let timer: ReturnType<typeof setTimeout> | undefined;

/** Show a message for a while; an error stays until it is closed. */
export function tell(one: Message | null): void {
  clearTimeout(timer);
  message.value = one;
  if (one?.kind === "done") timer = setTimeout(() => (message.value = null), 6000);
}
