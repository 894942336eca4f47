/** The table of a log's columns. */
import type { Of } from "../../api/types";
import { IGNORED, inWords, mayTurn, type Said } from "./mapping";

type Channel = Of<"ChannelFace">;

const STATES: Record<Channel["state"], string> = { used: "used", ignored: "left out", asked: "open" };
const ORDER: Record<Channel["state"], number> = { asked: 0, used: 1, ignored: 2 };

export function ChannelTable(props: { channels: Channel[]; said: Said; onSay: (column: string, meaning: string) => void }) {
  const sorted = props.channels.toSorted((a, b) => ORDER[a.state] - ORDER[b.state]);
  const said = (one: Channel) => props.said[one.original_name] ?? "";
  // What was just said stays at the top, so that the row does not run away from the hand.
  const first = sorted.filter((one) => one.state === "asked" || said(one) !== "");
  const rest = sorted.filter((one) => !first.includes(one));
  const row = (one: Channel) => <Row key={one.original_name} one={one} said={said(one)} onSay={(meaning) => props.onSay(one.original_name, meaning)} />;
  return (
    <>
      {first.length > 0 && <Grid caption="Open or just answered">{first.map(row)}</Grid>}
      <details>
        <summary>{rest.length} {first.length ? "other " : ""}columns, {rest.filter((one) => one.state === "used").length} of them used</summary>
        <Grid caption="Columns">{rest.map(row)}</Grid>
      </details>
    </>
  );
}

function Grid({ caption, children }: { caption: string; children: preact.ComponentChildren }) {
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label={caption}>
      <table class="channels">
        <caption class="unseen">{caption}</caption>
        <thead>
          <tr><th scope="col">In the log</th><th scope="col">Rate</th><th scope="col">Taken for</th><th scope="col">State</th><th scope="col">What you say</th></tr>
        </thead>
        <tbody>{children}</tbody>
      </table>
    </div>
  );
}

function Row({ one, said, onSay }: { one: Channel; said: string; onSay: (meaning: string) => void }) {
  const turned = said.startsWith("-");
  const plain = said.replace(/^-/, "");
  const choices = [...new Set([...one.choices, ...(plain && plain !== IGNORED ? [plain] : [])])];
  return (
    <tr class={one.state}>
      <th scope="row">{one.original_name}{one.original_unit && <small> {one.original_unit}</small>}</th>
      <td class="number">{one.rate_hz >= 1 ? `${Math.round(one.rate_hz)} Hz` : ""}</td>
      <td>{one.name ? inWords(one.name) : ""}{one.note && <small> {one.note}</small>}</td>
      <td>{STATES[one.state]}</td>
      <td>
        <div class="row">
          <select aria-label={`What ${one.original_name} is`} value={plain} onChange={(event) => onSay(event.currentTarget.value)}>
            <option value="" selected={plain === ""}>{one.state === "asked" ? "not said" : "as taken"}</option>
            {choices.map((each) => <option key={each} value={each} selected={plain === each}>{inWords(each)}</option>)}
            <option value={IGNORED} selected={plain === IGNORED}>leave it out</option>
          </select>
          {plain && mayTurn(plain) && (
            <label class="row"><input type="checkbox" checked={turned} onChange={(event) => onSay((event.currentTarget.checked ? "-" : "") + plain)} /> counts the other way</label>
          )}
        </div>
      </td>
    </tr>
  );
}
