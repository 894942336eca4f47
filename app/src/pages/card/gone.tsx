/** The plan a card was to be made of is not there any more. */
import type { Problem } from "../../api/call";
import type { Printing } from "../card";

/** Refusals by which the server says so. */
const GONE = ["unknown_work", "unknown_thing", "unknown_reference"];

export function isGone(wrong: Problem | null): boolean {
  return wrong !== null && GONE.includes(wrong.code);
}

interface Props {
  now: Printing;
  onPlan: () => void;
  onChoose: () => void;
}

export function Gone({ now, onPlan, onChoose }: Props) {
  return (
    <div class="notice mind stack noprint" role="alert">
      <p>
        <strong>The plan of this card is not there any more.</strong>{" "}
        {now.plan.startsWith("plans/")
          ? "It was removed from the library, or renamed."
          : "Only the latest answers stay, and the plans that were kept under a name."}
      </p>
      <div class="row">
        <button type="button" class="go" onClick={onPlan}>{now.plan ? "Plan what lies on the desk" : "Plan it again"}</button>
        <button type="button" onClick={onChoose}>Choose another plan</button>
      </div>
    </div>
  );
}
