/** The frame round every page. */
import { useEffect } from "preact/hooks";
import { damaged, items, refresh } from "../api/library";
import { problem } from "../api/call";
import { about, askAbout, watchCompiling } from "./about";
import { parts } from "./address";
import { useOpened } from "./opened";
import { DeskLine } from "./deskline";
import { Rail } from "./rail";
import { message, tell } from "./tell";
import { PAGES } from "../pages";

export function House() {
  useEffect(start, []);
  useOpened();
  const name = parts()[0] ?? "start";
  const Page = PAGES[name] ?? PAGES.start!;
  return (
    <div class="house">
      <a class="skip" href="#page">To the page</a>
      <Rail />
      <div>
        <DeskLine />
        <main id="page" class="page" tabIndex={-1}>
          {damaged.value.length > 0 && <Damage />}
          {about.value?.compiling && <Compiling />}
          <Page />
        </main>
      </div>
      <div role="status" aria-live="polite">{message.value && <Told />}</div>
    </div>
  );
}

function Told() {
  const now = message.value!;
  return (
    <div class="message" role={now.kind === "error" ? "alert" : undefined}>
      <span>{now.text}</span>
      {now.action && <button type="button" onClick={now.action.run}>{now.action.label}</button>}
      <button type="button" aria-label="Close this message" onClick={() => tell(null)}>Close</button>
    </div>
  );
}

function Compiling() {
  return (
    <div class="notice noprint" role="status">
      <p><strong>Getting ready for this machine.</strong> The physics is compiled, once: the first answers take up to a minute.</p>
    </div>
  );
}

function Damage() {
  return (
    <div class="notice wrong">
      {damaged.value.map((one) => (
        <p key={one.file}>
          <strong>{one.file} cannot be read</strong> and was set aside as {one.kept_as}: {one.why}
        </p>
      ))}
    </div>
  );
}

/** Ask the server who it is and what is in the library, and hear of changes made elsewhere. */
function start(): () => void {
  Promise.all([askAbout(), refresh()]).catch((error) =>
    tell({ kind: "error", text: problem(error).message, action: { label: "Try again", run: () => location.reload() } }),
  );
  const rest = watchCompiling();
  listen();
  document.addEventListener("visibilitychange", listen);
  return () => {
    rest();
    document.removeEventListener("visibilitychange", listen);
  };
}

let changes: EventSource | null = null;

/** Hear of changes while the tab is seen: a browser keeps few connections, and hidden tabs need none. */
function listen(): void {
  if (document.hidden) {
    changes?.close();
    changes = null;
    return;
  }
  if (changes) return;
  changes = new EventSource("/api/changes");
  changes.onmessage = () => void refresh().catch(() => undefined);
  if (items.value) void refresh().catch(() => undefined); // what was missed
}
