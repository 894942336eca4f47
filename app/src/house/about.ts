/** What the server says about itself, asked once. */
import { signal } from "@preact/signals";
import { ask } from "../api/call";

export interface About {
  version: string;
  model_version: number;
  library: string;
  parts: { mdf: boolean; optimum: boolean };
  classes: { name: string; title: string; about: string }[];
  levels: string[];
  symptoms: { symptom: string; label: string }[];
  loggers: string[];
  cautions: string[];
  /** The physics is compiled just now, once per machine: the first answers take a while. */
  compiling: boolean;
}

export const about = signal<About | null>(null);

const LOOK_MS = 2500;

/** Look again whether the physics is still compiled, until it is not; returns how to stop looking. */
export function watchCompiling(): () => void {
  let timer = setTimeout(look, LOOK_MS);
  function look(): void {
    askAbout()
      .then(() => { if (about.value?.compiling) timer = setTimeout(look, LOOK_MS); })
      .catch(() => undefined); // the page says by itself that the server is away
  }
  return () => clearTimeout(timer);
}

export async function askAbout(): Promise<void> {
  about.value = await ask<About>("GET", "about");
}
