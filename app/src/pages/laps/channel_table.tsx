/** The table of a log's columns. */
import { useSignal } from "@preact/signals";
import { ask } from "../../api/call";
import type { Of } from "../../api/types";
import { useLoaded } from "../../house/loaded";
import { TextField } from "../../parts/field";
import { choiceOf, IGNORED, inWords, lacksUnit, mayTurn, partsOf, type Catalogue, type Said } from "./mapping";
import { Holds } from "./preview";

type Channel = Of<"ReadChannel">;

const STATES: Record<Channel["state"], string> = { used: "used", ignored: "left out", asked: "open" };
const ORDER: Record<Channel["state"], number> = { asked: 0, used: 1, ignored: 2 };

/** More rows than this nobody reads, and the page would stand still; a word finds the others. */
const ROWS_MOST = 60;

export function ChannelTable(props: { channels: Channel[]; said: Said; onSay: (column: string, meaning: string) => void }) {
  const word = useSignal("");
  const catalogue = useLoaded("channels", () => ask<Catalogue>("GET", "channels")).value.value ?? {};
  const many = props.channels.length > ROWS_MOST;
  const wanted = word.value.trim().toLowerCase();
  const fits = (one: Channel) => !wanted || `${one.original_name} ${one.name ?? ""}`.toLowerCase().includes(wanted);
  const sorted = props.channels.filter(fits).toSorted((a, b) => ORDER[a.state] - ORDER[b.state]);
  const said = (one: Channel) => props.said[one.original_name] ?? "";
  // What was just said stays at the top, so that the row does not run away from the hand.
  const first = sorted.filter((one) => one.state === "asked" || said(one) !== "");
  const rest = sorted.filter((one) => one.state !== "asked" && said(one) === "");
  const row = (one: Channel) => <Row key={one.original_name} one={one} said={said(one)} catalogue={catalogue} onSay={(meaning) => props.onSay(one.original_name, meaning)} />;
  return (
    <>
      {many && <TextField label="Find a column" help={`of ${props.channels.length.toLocaleString("en")}`} value={word.value} onInput={(text) => (word.value = text)} size={18} />}
      {first.length > 0 && <Grid caption="Open or just answered" rows={first} row={row} />}
      {!sorted.length && <p>No column is called so.</p>}
      {rest.length > 0 && (
        <details>
          <summary>{rest.length.toLocaleString("en")} {first.length ? "other " : ""}columns, {rest.filter((one) => one.state === "used").length} of them used</summary>
          <Grid caption="Columns" rows={rest} row={row} />
        </details>
      )}
    </>
  );
}

function Grid({ caption, rows, row }: { caption: string; rows: Channel[]; row: (one: Channel) => preact.JSX.Element }) {
  return (
    <>
      <div class="scroll" tabIndex={0} role="region" aria-label={caption}>
        <table class="channels">
          <caption class="unseen">{caption}</caption>
          <thead>
            <tr><th scope="col">In the log</th><th scope="col">What it holds</th><th scope="col">Taken for</th><th scope="col">State</th><th scope="col">What you say</th></tr>
          </thead>
          <tbody>{rows.slice(0, ROWS_MOST).map(row)}</tbody>
        </table>
      </div>
      {rows.length > ROWS_MOST && <p class="soft">The first {ROWS_MOST} of {rows.length.toLocaleString("en")}: type a part of its name to find another.</p>}
    </>
  );
}

/** A note with the channels it names in words. */
function inPlain(note: string): string {
  return note.replace(/\b[a-z]+(?:_[a-z]+)*_(?:Pa|frac|mps2|mps|radps|rad|deg|N|m)\b/g, inWords);
}

function Row({ one, said, catalogue, onSay }: { one: Channel; said: string; catalogue: Catalogue; onSay: (meaning: string) => void }) {
  const turned = said.startsWith("-");
  const plain = said.replace(/^-/, "");
  const say = (meaning: string) => onSay((turned && mayTurn(meaning) ? "-" : "") + meaning);
  const about = [one.original_unit, one.rate_hz >= 1 ? `${Math.round(one.rate_hz)} Hz` : ""].filter(Boolean).join(", ");
  return (
    <tr class={one.state}>
      <th scope="row">{one.original_name}{about && <small> {about}</small>}</th>
      <td class="holds"><Holds of={one.preview} /></td>
      <td>{one.name ? inWords(one.name) : ""}{one.note && <small> {inPlain(one.note)}</small>}</td>
      <td>{STATES[one.state]}</td>
      <td>
        <div class="row">
          <Meaning one={one} plain={plain} catalogue={catalogue} onSay={say} />
          {plain && mayTurn(plain) && (
            <label class="row"><input type="checkbox" checked={turned} onChange={(event) => onSay((event.currentTarget.checked ? "-" : "") + plain)} /> counts the other way</label>
          )}
        </div>
      </td>
    </tr>
  );
}

interface MeaningProps {
  one: Channel;
  plain: string;
  catalogue: Catalogue;
  onSay: (meaning: string) => void;
}

/** What a column is: what its name suggests first, then any channel, in a unit it may have. */
function Meaning({ one, plain, catalogue, onSay }: MeaningProps) {
  const [channel, unit] = partsOf(plain);
  const suggested = one.choices.includes(plain);
  const value = plain === "" || plain === IGNORED || suggested ? plain : `any ${channel}`;
  const pick = (picked: string) => {
    const any = picked.startsWith("any ") ? picked.slice("any ".length) : "";
    onSay(any ? choiceOf(any, catalogue[any] ?? [], one.original_unit) : picked);
  };
  const option = (meaning: string, text: string) => <option key={meaning} value={meaning} selected={value === meaning}>{text}</option>;
  const units = catalogue[channel] ?? [];
  return (
    <>
      <select aria-label={`What ${one.original_name} is`} value={value} onChange={(event) => pick(event.currentTarget.value)}>
        {option("", one.state === "asked" ? "not said" : "as taken")}
        {one.choices.map((each) => option(each, inWords(each)))}
        {option(IGNORED, "leave it out")}
        <optgroup label="Any channel">{Object.keys(catalogue).map((each) => option(`any ${each}`, inWords(each)))}</optgroup>
      </select>
      {value.startsWith("any ") && units.length > 1 && (
        <select aria-label={`Unit of ${one.original_name}`} value={unit} aria-invalid={lacksUnit(plain) ? true : undefined} onChange={(event) => onSay(`${channel}:${event.currentTarget.value}`)}>
          {lacksUnit(plain) && <option value="?" selected>in which unit?</option>}
          {units.map((each) => <option key={each} value={each} selected={each === unit}>{each}</option>)}
        </select>
      )}
    </>
  );
}
