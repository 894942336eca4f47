/** Keep the plan in the library, or hand it over. */
import { useSignal } from "@preact/signals";
import { problem, type Problem } from "../../api/call";
import { ofKind, save, slug } from "../../api/library";
import { Link } from "../../house/rail";
import { tell } from "../../house/tell";
import { TextField } from "../../parts/field";
import { Wrong } from "../../parts/notice";
import type { Rested } from "./ask";
import { movedWord } from "./moved";

export function Keep({ rested }: { rested: Rested }) {
  const usual = usualName(rested.answer.result);
  const typed = useSignal<string | null>(null);
  const wrong = useSignal<Problem | null>(null);
  const name = typed.value ?? usual;
  const keep = async () => {
    try {
      await save("plans", slug(name), { value: rested.answer }, earlier(name), `${name} kept`);
      tell({ kind: "done", text: `${name} is in the library.` });
      wrong.value = null;
    } catch (thrown) {
      wrong.value = problem(thrown);
    }
  };
  return (
    <form class="stack noprint" onSubmit={(event) => { event.preventDefault(); void keep(); }}>
      <TextField label="Keep this plan as" value={name} onInput={(text) => (typed.value = text)} />
      <div class="row">
        <button type="submit">Keep this plan</button>
        {rested.work_id && <Link class="button go" path="/card" more={{ plan: "" }}>Make the card</Link>}
      </div>
      {wrong.value && <Wrong problem={wrong.value} />}
    </form>
  );
}

/** What it is of and what was moved, so that a plan of other sliders is not saved over it. */
export function usualName({ car_name, circuit_name, conditions_name, moved }: Rested["answer"]["result"]): string {
  const words = moved.map((one) => movedWord(one.key, one.value).replace("at most ", "").replace(" of the file’s", ""));
  return [car_name, circuit_name, conditions_name, ...words].join(", ");
}

/** The revision of a plan kept under this name before; the library keeps that one too. */
function earlier(name: string): string | null {
  return ofKind("plans").find((one) => one.id === slug(name))?.revision ?? null;
}
