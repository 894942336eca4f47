/** A car file as plain values. */

export interface AdjusterValue {
  min: number;
  max: number;
  step: number;
  meaning: string;
  higher_means?: "front" | "rear";
}

export interface CarValue {
  id: string;
  name: string;
  class_name?: string;
  adjuster?: AdjusterValue;
  anchor?: { setting: number; first_to_let_go: "front" | "rear" | "together"; mid_corner?: string };
  [key: string]: unknown;
}
