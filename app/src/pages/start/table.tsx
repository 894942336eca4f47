/** The corners: a small table one types into, pastes into, or fills from a file. */
import { useSignal } from "@preact/signals";
import { FileDrop } from "../../parts/drop";
import { EMPTY, isBlank, lacks, readPasted, USUAL, type Cell, type Corner, type Speeds, type Turn } from "./corners";

/** Shown in grey where nothing is typed; never asked with. */
const EXAMPLES: Record<Speeds, Pick<Corner, "name" | "from" | "to">[]> = {
  kmh: [
    { name: "Hairpin", from: "210", to: "65" },
    { name: "Chicane", from: "180", to: "95" },
    { name: "Last", from: "160", to: "110" },
  ],
  mph: [
    { name: "Hairpin", from: "130", to: "40" },
    { name: "Chicane", from: "110", to: "60" },
    { name: "Last", from: "100", to: "70" },
  ],
};

interface Props {
  corners: Corner[];
  speeds: Speeds;
  usualLoad_g: number;
  /** What the server found wrong, by row of the table. */
  wrong: { row: number; text: string } | null;
  /** A cell was typed into. */
  onChange: (corners: Corner[]) => void;
  /** Rows came or went at once; `label` says what was done. */
  onReplace: (corners: Corner[], label: string) => void;
  onSpeeds: (speeds: Speeds) => void;
}

export function CornerTable(props: Props) {
  const { corners, speeds, onChange, onReplace, onSpeeds } = props;
  const more = useSignal(corners.some((one) => one.side || one.depth || one.hand));
  const said = useSignal("");
  const take = (text: string, at = 0) => {
    const pasted = readPasted(text);
    if (!pasted.corners.length) return;
    if (pasted.speeds) onSpeeds(pasted.speeds);
    const kept = corners.slice(0, at).filter((one) => !isBlank(one));
    onReplace([...kept, ...pasted.corners, EMPTY], `${pasted.corners.length} corners pasted`);
    more.value ||= pasted.corners.some((one) => one.side || one.depth || one.hand);
    said.value = `${pasted.corners.length} corners read.`;
  };
  const set = (at: number, cell: Cell, value: string) => {
    const changed = corners.map((one, i) => (i === at ? { ...one, [cell]: value } : one));
    onChange(isBlank(changed.at(-1)!) ? changed : [...changed, EMPTY]);
  };
  return (
    <div class="corners stack">
      <div class="scroll">
        <table onPaste={(event) => pasteInto(event, take)}>
          <Head speeds={speeds} more={more.value} onSpeeds={onSpeeds} />
          <tbody>
            {corners.map((one, at) => (
              <CornerRow
                key={at}
                at={at}
                corner={one}
                more={more.value}
                example={EXAMPLES[speeds][at]}
                usualLoad_g={props.usualLoad_g}
                wrong={props.wrong?.row === at ? props.wrong.text : null}
                onSet={(cell, value) => set(at, cell, value)}
                onRemove={() => onReplace(without(corners, at), `${one.name || `Corner ${at + 1}`} removed`)}
              />
            ))}
          </tbody>
        </table>
      </div>
      <div class="row">
        <button type="button" aria-pressed={more.value} onClick={() => (more.value = !more.value)}>
          {more.value ? "Fewer columns" : "Radius, braking depth, time to adjust"}
        </button>
        <button type="button" class="bare" disabled={corners.every(isBlank)} onClick={() => onReplace([EMPTY, EMPTY, EMPTY], "Table emptied")}>Empty the table</button>
        <span class="soft" role="status">{said.value}</span>
      </div>
      <PasteBox onText={take} />
    </div>
  );
}

/** Several cells in the clipboard are corners; a single one is left to the browser. */
function pasteInto(event: ClipboardEvent, take: (text: string, at: number) => void): void {
  const text = event.clipboardData?.getData("text") ?? "";
  if (!/[\t;\n]/.test(text.trim())) return;
  event.preventDefault();
  const row = (event.target as HTMLElement).closest("tr");
  take(text, Number(row?.dataset.at ?? 0));
}

function without(corners: Corner[], at: number): Corner[] {
  const left = corners.filter((_, i) => i !== at);
  return left.length ? left : [EMPTY];
}

function Head({ speeds, more, onSpeeds }: { speeds: Speeds; more: boolean; onSpeeds: (speeds: Speeds) => void }) {
  return (
    <thead>
      <tr>
        <th scope="col">Corner</th>
        <th scope="col">
          Brakes from{" "}
          <select class="unitpick" aria-label="Unit of the speeds" value={speeds} onChange={(event) => onSpeeds(event.currentTarget.value as Speeds)}>
            <option value="kmh" selected={speeds === "kmh"}>km/h</option>
            <option value="mph" selected={speeds === "mph"}>mph</option>
          </select>
        </th>
        <th scope="col">Down to</th>
        <th scope="col">Turns</th>
        {more && <th scope="col">Radius <span class="soft">m, or load g</span></th>}
        {more && <th scope="col">Brake off <span class="soft">0 turn-in, 1 apex</span></th>}
        {more && <th scope="col">Hand free <span class="soft">s before</span></th>}
        <th><span class="unseen">Remove</span></th>
      </tr>
    </thead>
  );
}

interface RowProps {
  at: number;
  corner: Corner;
  more: boolean;
  example?: Pick<Corner, "name" | "from" | "to"> | undefined;
  usualLoad_g: number;
  wrong: string | null;
  onSet: (cell: Cell, value: string) => void;
  onRemove: () => void;
}

function CornerRow({ at, corner, more, example, usualLoad_g, wrong, onSet, onRemove }: RowProps) {
  const missing = isBlank(corner) ? null : lacks(corner);
  const name = corner.name || `Corner ${at + 1}`;
  const cell = (key: Cell, label: string, grey: string, numeric = true) => (
    <td>
      <input
        type="text"
        class={numeric ? "number" : "name"}
        inputMode={numeric ? "decimal" : "text"}
        autocomplete="off"
        aria-label={`${name}: ${label}`}
        aria-invalid={missing?.cell === key && corner[key].trim() !== "" ? "true" : undefined}
        aria-describedby={missing?.cell === key || wrong ? `corner-${at}` : undefined}
        value={corner[key]}
        placeholder={grey}
        onInput={(event) => onSet(key, event.currentTarget.value)}
      />
    </td>
  );
  return (
    <>
      <tr data-at={at}>
        {cell("name", "name", example?.name ?? `Corner ${at + 1}`, false)}
        {cell("from", "speed where braking begins", example?.from ?? "")}
        {cell("to", "lowest speed", example?.to ?? "")}
        <td>
          <select aria-label={`${name}: turns`} value={corner.turn || USUAL.turn} onChange={(event) => onSet("turn", event.currentTarget.value as Turn)}>
            {(["right", "left", "none"] as const).map((one) => (
              <option key={one} value={one} selected={one === (corner.turn || USUAL.turn)}>{one === "none" ? "straight" : one}</option>
            ))}
          </select>
        </td>
        {more && cell("side", "radius in metres, or cornering load in g", `${usualLoad_g} g`)}
        {more && cell("depth", "where the brake is off, 0 turn-in to 1 apex", String(USUAL.depth))}
        {more && cell("hand", "seconds before it with a hand free", String(USUAL.hand))}
        <td>
          <button type="button" class="bare" disabled={isBlank(corner)} aria-label={`Remove ${name}`} onClick={onRemove}>✕</button>
        </td>
      </tr>
      {(missing || wrong) && (
        <tr class="lacks">
          <td colSpan={more ? 8 : 5} id={`corner-${at}`}>
            <strong>{name}</strong>: {wrong ?? missing!.text}
          </td>
        </tr>
      )}
    </>
  );
}

function PasteBox({ onText }: { onText: (text: string) => void }) {
  const text = useSignal("");
  const open = useSignal(false);
  const read = (rows: string) => {
    onText(rows);
    text.value = "";
    open.value = false;
  };
  return (
    <details open={open.value} onToggle={(event) => (open.value = event.currentTarget.open)}>
      <summary>Paste or drop them from a spreadsheet</summary>
      <div class="stack">
        <label class="field">
          <span class="label">Rows of corners</span>
          <span class="help">One corner a row: name, speed where braking begins, lowest speed, left or right. Tabs, semicolons or commas; with headings or without; km/h, or mph if the heading says so.</span>
          <textarea rows={5} spellcheck={false} value={text.value} onInput={(event) => (text.value = event.currentTarget.value)} />
        </label>
        <button type="button" disabled={!text.value.trim()} onClick={() => read(text.value)}>Read these rows</button>
        <FileDrop label="Drop a file of corners here" help="CSV or text" accept=".csv,.txt,.tsv" onFiles={(files) => void files[0]?.text().then(read)} />
      </div>
    </details>
  );
}
