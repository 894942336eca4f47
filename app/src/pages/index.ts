/** Every page by the first word of its address. */
import type { ComponentType } from "preact";
import { Card } from "./card";
import { CarPage } from "./car";
import { CircuitPage } from "./circuit";
import { ConditionsPage } from "./conditions";
import { DriverPage } from "./driver";
import { Laps } from "./laps";
import { Learn } from "./learn";
import { Library } from "./library";
import { PlanPage } from "./plan";
import { Show } from "./show";
import { Start } from "./start";
import { Symptoms } from "./symptoms";
import { Trial } from "./trial";
import { ZonePage } from "./zone";

export const PAGES: Record<string, ComponentType> = {
  start: Start,
  symptoms: Symptoms,
  library: Library,
  car: CarPage,
  circuit: CircuitPage,
  sheet: CircuitPage,
  driver: DriverPage,
  conditions: ConditionsPage,
  plan: PlanPage,
  zone: ZonePage,
  show: Show,
  laps: Laps,
  learn: Learn,
  trial: Trial,
  card: Card,
};
