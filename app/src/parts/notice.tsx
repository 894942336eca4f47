/** What went wrong and what to do; warnings; cautions; long work under way. */
import type { Signal } from "@preact/signals";
import type { ComponentChildren } from "preact";
import type { Problem } from "../api/call";
import type { WorkState } from "../api/work";
import { sentence } from "../words/text";
import type { Units } from "../words/units";
import { told, type Where } from "./keys/told";

interface WrongProps {
  problem: Problem;
  /** What the page calls the place; without it the thing of the library is named. */
  where?: Where;
  /** The units it was typed in, where they are not those of the app. */
  system?: Units;
  children?: ComponentChildren;
}

/** An error: what, where, what would be right, what to do. */
export function Wrong({ problem, where, system, children }: WrongProps) {
  const { text, details, hint, each } = told(problem, where, system);
  return (
    <div class="notice wrong" role="alert">
      <p><strong>{text}</strong></p>
      {each.length > 0 && <ul>{each.map((one) => <li key={one}>{one}</li>)}</ul>}
      {details && <p>{details}</p>}
      {hint && <p>{hint.split(/(?<=[.!?]) /).map(sentence).join(" ")}</p>}
      {children}
    </div>
  );
}

export function Mind({ children }: { children: ComponentChildren }) {
  return <div class="notice mind">{children}</div>;
}

/** Warnings of an answer, the important ones first; many are folded. */
export function Warnings({ warnings }: { warnings: { code: string; text: string }[] }) {
  if (!warnings.length) return null;
  const line = (one: { code: string; text: string }) => <li key={one.code + one.text}>{sentence(one.text)}</li>;
  return (
    <div class="notice mind">
      <ul>{warnings.slice(0, 3).map(line)}</ul>
      {warnings.length > 3 && (
        <details>
          <summary>{warnings.length - 3} more to know</summary>
          <ul>{warnings.slice(3).map(line)}</ul>
        </details>
      )}
    </div>
  );
}

/** Cautions, where one acts. */
export function Cautions({ cautions }: { cautions: string[] }) {
  return (
    <aside class="notice mind" aria-label="Cautions">
      <p><strong>Before you brake with this</strong></p>
      <ul>{cautions.map((one) => <li key={one}>{sentence(one)}</li>)}</ul>
    </aside>
  );
}

/** Long work: how far it is, and a way to stop it. */
export function Progress({ state, onStop, label }: { state: Signal<WorkState | null>; onStop: () => void; label: string }) {
  const now = state.value;
  const known = now && now.of > 0;
  return (
    <div class="notice row" role="status">
      <span>{label}{now?.what ? `: ${now.what}` : ""}{known && now.of > 1 ? `, ${now.done} of ${now.of}` : ""}</span>
      <progress aria-label={label} {...(known ? { value: now.done, max: now.of } : {})} />
      <button type="button" onClick={onStop}>Stop</button>
    </div>
  );
}
