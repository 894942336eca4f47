/** A driver: how finely the pedal is worked, how deep the braking goes, what a mistake costs. */
import type { Held } from "../api/library";
import { parts } from "../house/address";
import { desk } from "../house/desk";
import type { Group } from "../parts/keys/form";
import { KeysPage } from "../parts/keys/page";
import { at } from "../parts/keys/value";
import { NewDriver } from "./library/make";
import "../style/car.css";

const one = (...keys: string[]) => (key: string) => keys.includes(key);
const event = (kind: string) => (key: string) => key.startsWith(`events.${kind}.`);

const GROUPS: Group[] = [
  { title: "Who", takes: one("name", "level") },
  {
    title: "How finely the pedal is worked",
    takes: one("hit_sd_frac", "hold_sd_frac", "release_sd_frac", "brake_point_sd_m", "grip_sd_frac", "gross_error_frac", "reaction_time_s", "lap_time_sd_s"),
    intro: "Scatter is a standard deviation: two passes in three are closer than that. 0.07 means 7 %.",
  },
  {
    title: "Braking",
    takes: one("use_of_limit_frac", "brake_at_turn_in_frac", "release_frac", "clutch_in_on_braking"),
    intro: "Used where a zone does not say it itself.",
  },
  { title: "Changing the setting", takes: one("changes_default", "change_cost_s", "forget_frac") },
  { title: "Liked and dared", takes: one("rotation_preference", "rotation_price_s", "boldness") },
  { title: "A mistake: a front wheel locks in a straight stop", takes: event("front_straight"), folded: true },
  { title: "A mistake: the inside front locks for a moment while turning", takes: event("inside_front_lock"), folded: true },
  { title: "A mistake: it runs wide, the front is spent while turning", takes: event("front_turning"), folded: true },
  { title: "A mistake: the rear is spent in a straight stop", takes: event("rear_straight"), folded: true },
  { title: "A mistake: it comes round, the rear is spent while turning", takes: event("rear_turning"), folded: true },
];

const NAMES: Record<string, string> = {
  name: "Name",
  level: "Level",
  hit_sd_frac: "First hit",
  hold_sd_frac: "Holding",
  release_sd_frac: "Releasing",
  grip_sd_frac: "Grip found",
  brake_point_sd_m: "Brake point",
  gross_error_frac: "Gross mistakes",
  reaction_time_s: "Reaction",
  lap_time_sd_s: "Lap time",
  use_of_limit_frac: "Use of the limit",
  brake_at_turn_in_frac: "Brake left at turn-in",
  release_frac: "Brake fully off at",
  clutch_in_on_braking: "Clutch in while braking",
  changes_default: "Changes a lap",
  change_cost_s: "Price of a change",
  forget_frac: "Changes forgotten",
  rotation_preference: "Rotation on entry",
  rotation_price_s: "Price of the wrong rotation",
  boldness: "Boldness",
  caught_s: "Caught",
  run_off_frac: "Runs off, how often",
  run_off_s: "Runs off, time lost",
  spin_frac: "Spins, how often",
  spin_s: "Spins, time lost",
  contact_frac: "Contact, how often",
  contact_s: "Contact, time lost",
};

export function DriverPage() {
  const reference = parts()[1] ? `drivers/${parts()[1]}` : desk.value.driver;
  if (!reference.startsWith("drivers/")) return <OfLevel level={reference} key={reference} />;
  return (
    <KeysPage
      key={reference}
      kind="drivers"
      id={reference.slice("drivers/".length)}
      place="driver"
      one="this driver"
      intro="An empty field takes what is usual for the level, in grey: common practice without a source, until somebody measures it."
      groups={GROUPS}
      names={NAMES}
      usual={(held) => `usual for a ${level(held)} driver`}
    >
      How finely the pedal is worked decides how much margin a setting needs.
    </KeysPage>
  );
}

function level(held: Held<unknown>): string {
  return String(at(held.value, "level") ?? "");
}

/** A level has no file: the first thing is to make a driver of it. */
function OfLevel({ level }: { level: string }) {
  return (
    <article>
      <header>
        <h1>Any {level} driver</h1>
        <p>A level: what coaches usually see there, common practice without a source.</p>
      </header>
      <section class="card stack">
        <p>Make a driver of it, and replace what you know better.</p>
        <NewDriver level={level} />
      </section>
    </article>
  );
}
