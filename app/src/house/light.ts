/** Light or dark: as the system says, until one says otherwise. */
import { computed, effect, signal } from "@preact/signals";

const KEY = "foreaft.light";
const system = matchMedia("(prefers-color-scheme: dark)");
const systemDark = signal(system.matches);
system.addEventListener("change", (event) => (systemDark.value = event.matches));
const chosen = signal(localStorage.getItem(KEY));

export const lightNow = computed(() => chosen.value ?? (systemDark.value ? "dark" : "light"));

effect(() => {
  document.documentElement.dataset.light = lightNow.value;
});

export function turnLight(): void {
  chosen.value = lightNow.value === "dark" ? "light" : "dark";
  localStorage.setItem(KEY, chosen.value);
}
