/** What went wrong and what to do; warnings; cautions; long work under way. */
import type { Signal } from "@preact/signals";
import type { ComponentChildren } from "preact";
import type { Problem } from "../api/call";
import type { WorkState } from "../api/work";

/** An error: what, where, what would be right, what to do. */
export function Wrong({ problem, children }: { problem: Problem; children?: ComponentChildren }) {
  const where = [problem.file, problem.line && `line ${problem.line}`, problem.key].filter(Boolean);
  const found = problem.value === null ? "" : `found ${String(problem.value)} ${problem.unit ?? ""}`;
  const allowed = problem.allowed ? `allowed: ${problem.allowed} ${problem.unit ?? ""}` : "";
  const details = [where.join(", "), found.trim(), allowed.trim()].filter(Boolean).join("; ");
  return (
    <div class="notice wrong" role="alert">
      <p><strong>{problem.message}</strong></p>
      {details && <p>{details}</p>}
      {problem.hint && <p>{sentence(problem.hint)}</p>}
      {children}
    </div>
  );
}

function sentence(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1) + (/[.!?]$/.test(text) ? "" : ".");
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
