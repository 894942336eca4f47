/** Trial: find the crossover with three stops, design a test of settings, and judge it honestly. */
import { parts, place } from "../house/address";
import { Link } from "../house/rail";
import { Design } from "./trial/design";
import { Judge } from "./trial/judge";
import { Stops } from "./trial/stops";
import "../style/trial.css";

const STEPS = [
  { path: "/trial/stops", name: "Three stops", part: Stops },
  { path: "/trial/design", name: "Plan the test", part: Design },
  { path: "/trial/judge", name: "Judge the laps", part: Judge },
];

export function Trial() {
  const asked = parts()[1] ?? (place.value.query.laps ? "judge" : "stops");
  const here = STEPS.find((one) => one.path.endsWith(`/${asked}`)) ?? STEPS[0]!;
  const Part = here.part;
  return (
    <article>
      <header>
        <h1>Test a setting on track</h1>
        <p>Lap time cannot see two points of balance; slip and zone times can. Most honest tests end with “no difference shown”.</p>
      </header>
      <nav class="steps noprint" aria-label="Parts of a trial">
        <ol>
          {STEPS.map((one) => (
            <li key={one.path}><Link path={one.path} current={one === here}>{one.name}</Link></li>
          ))}
        </ol>
      </nav>
      <Part />
    </article>
  );
}
