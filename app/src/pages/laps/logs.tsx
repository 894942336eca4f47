/** The logs: brought in, picked as one's own, or as the other driver's. */
import { useSignal } from "@preact/signals";
import type { Query } from "../../house/address";
import { bringLog, ofKind } from "../../api/library";
import { problem, type Problem } from "../../api/call";
import { FileDrop } from "../../parts/drop";
import { Wrong } from "../../parts/notice";
import { choose, listText, type Chosen } from "./chosen";

export function Logs({ now }: { now: Chosen }) {
  const coming = useSignal("");
  const refused = useSignal<{ name: string; problem: Problem }[]>([]);
  const known = ofKind("logs").toSorted((a, b) => b.saved_at.localeCompare(a.saved_at));
  const bring = async (files: File[]) => {
    refused.value = [];
    const brought = [...now.logs];
    for (const file of files) {
      coming.value = file.name;
      try {
        const reference = `logs/${(await bringLog(file)).id}`;
        if (!brought.includes(reference)) brought.push(reference);
      } catch (error) {
        refused.value = [...refused.peek(), { name: file.name, problem: problem(error) }];
      }
    }
    coming.value = "";
    if (brought.length > now.logs.length) pick({ logs: listText(brought) }, "Logs brought in");
  };
  const toggle = (reference: string, on: boolean) => {
    const left = now.logs.filter((one) => one !== reference);
    const against: Query = now.against === reference ? { against: "" } : {};
    pick({ logs: listText(on ? [...left, reference] : left), ...against }, "Logs picked");
  };
  const lost = [...now.logs, ...(now.against ? [now.against] : [])].filter((one) => !known.some((item) => `logs/${item.id}` === one));
  return (
    <section class="card stack noprint" aria-label="Logs">
      <h2>Logs</h2>
      <FileDrop label="Drop logs here, or pick files" help="CSV, Parquet or ASAM MDF 4. They stay on this machine." onFiles={(files) => void bring(files)} />
      {coming.value && <p role="status">Bringing in {coming.value}</p>}
      {refused.value.map((one) => <Wrong key={one.name} problem={plainly(one.problem)} where={() => one.name} />)}
      {lost.map((one) => <p key={one} class="notice mind">{one.slice(5)} is not in this library any more.</p>)}
      {known.length > 0 && (
        <div class="scroll">
          <table class="logs">
            <thead><tr><th scope="col">Log</th><th scope="col">This driver</th><th scope="col">Against</th></tr></thead>
            <tbody>
              {known.map((item) => {
                const reference = `logs/${item.id}`;
                return (
                  <tr key={item.id}>
                    <th scope="row">{item.name}<small> {size(item.bytes)}</small></th>
                    <td><input type="checkbox" aria-label={`Look at ${item.name}`} checked={now.logs.includes(reference)} onChange={(event) => toggle(reference, event.currentTarget.checked)} /></td>
                    <td>
                      <input
                        type="checkbox"
                        aria-label={`Hold against ${item.name}`}
                        checked={now.against === reference}
                        disabled={now.logs.includes(reference)}
                        onChange={(event) => pick({ against: event.currentTarget.checked ? reference : "" }, "Log of another driver")}
                      />
                    </td>
                  </tr>
                );
              })}
            </tbody>
          </table>
        </div>
      )}
    </section>
  );
}

/** What the reader of a damaged file stumbled over helps nobody who wants to bring it in. */
function plainly(wrong: Problem): Problem {
  return wrong.code === "log_damaged" ? { ...wrong, value: null } : wrong;
}

/** Other logs have other columns: what was said of the former ones is looked up anew. */
function pick(changes: Query, label: string): void {
  choose({ ...changes, mapping: "" }, label);
}

function size(bytes: number): string {
  return bytes < 1e6 ? `${Math.max(1, Math.round(bytes / 1e3))} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
}
