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
}

export const about = signal<About | null>(null);

export async function askAbout(): Promise<void> {
  about.value = await ask<About>("GET", "about");
}
