/** The columns a zone sheet and the zones of a circuit share. */
import type { Column } from "../../parts/grid";
import { COLUMN_WORDS } from "../../parts/keys/told";

function column(key: string, more: Omit<Column, "key" | "label">): Column {
  return { key, label: COLUMN_WORDS[key]!, ...more };
}

export const HOW_BRAKED: Column[] = [
  column("depth_frac", { unit: "0 turn-in, 1 apex", kind: "number" }),
  column("hand_time_s", { unit: "s", kind: "number" }),
  column("brake_at_turn_in_frac", { unit: "of peak", kind: "number" }),
  column("gear", { kind: "number" }),
  column("surface", { kind: "choice", options: ["normal", "bump", "crest"] }),
  column("run_off", { kind: "choice", options: ["open", "gravel", "wall"] }),
];
