/** A table one edits: cells as typed, arrows up and down move, and a spreadsheet can be pasted in. */
import { useSignal } from "@preact/signals";
import { Fragment, type ComponentChildren } from "preact";
import { numberOf } from "./field";

export interface Column {
  key: string;
  label: string;
  unit?: string;
  kind: "text" | "number" | "choice";
  /** Unit of the file where the user may have another; the cells are in the user's. */
  measure?: "km/h" | "m";
  options?: readonly string[];
  /** What holds where the cell is empty, shown in grey. */
  usual?: (row: number) => string;
}

export type Row = Record<string, string>;

interface GridProps {
  label: string;
  columns: readonly Column[];
  rows: readonly Row[];
  current?: number | null;
  /** The cell at fault, as the server or the page found it. */
  wrong?: { row: number; key: string | null; text: string } | null;
  /** Every keystroke. */
  onType: (rows: Row[]) => void;
  /** A cell was left, or cells were pasted: the table as it is to be kept. */
  onDone: (rows: Row[], label: string) => void;
  onRow?: (row: number) => void;
  /** What stands beside the first cell, such as the row's answer. */
  beside?: (row: number) => ComponentChildren;
  besideHead?: ComponentChildren;
  /** What stands at the end of each row, such as its buttons. */
  tail?: (row: number) => ComponentChildren;
}

export function Grid(props: GridProps) {
  const { columns, rows, wrong } = props;
  const open = useSignal<number | null>(null); // where there is room for one row's cells only
  const typed = (row: number, key: string, value: string) => rows.map((one, i) => (i === row ? { ...one, [key]: value } : one));
  return (
    <div class="scroll gridbox" role="region" aria-label={props.label} tabIndex={0}>
      <table class="grid">
        <thead>
          <tr>
            <th scope="col"><span class="unseen">Number</span></th>
            {columns.map((one, j) => (
              <Fragment key={one.key}>
                <th scope="col">{one.label}{one.unit && <small>{one.unit}</small>}</th>
                {j === 0 && props.beside && <th scope="col">{props.besideHead}</th>}
              </Fragment>
            ))}
            {props.tail && <th scope="col"><span class="unseen">What can be done</span></th>}
          </tr>
        </thead>
        <tbody onPaste={(event) => paste(event, props)}>
          {rows.map((row, i) => (
            <tr key={i} class={[props.current === i && "current", open.value === i && "open"].filter(Boolean).join(" ")} onFocusIn={() => props.onRow?.(i)}>
              <th scope="row" class="number">
                {i + 1}
                <button type="button" class="bare unfold" aria-expanded={open.value === i} aria-label={`${row.name || `Row ${i + 1}`}: all columns`} onClick={() => (open.value = open.value === i ? null : i)} />
              </th>
              {columns.map((column, j) => (
                <Fragment key={column.key}>
                  <td data-column={j} class={wrong?.row === i && wrong.key === column.key ? "wrong" : undefined}>
                    {j > 0 && <span class="over" aria-hidden="true">{column.label}{column.unit && <small> {column.unit}</small>}</span>}
                    <Cell
                      column={column}
                      row={i}
                      value={row[column.key] ?? ""}
                      name={`${row.name || `row ${i + 1}`}: ${column.label}`}
                      wrong={wrong?.row === i && wrong.key === column.key ? wrong.text : null}
                      onType={(value) => props.onType(typed(i, column.key, value))}
                      onDone={(value) => props.onDone(typed(i, column.key, value), `${row.name || `Row ${i + 1}`}: ${column.label}`)}
                    />
                  </td>
                  {j === 0 && props.beside && <td class="tail beside"><span class="over" aria-hidden="true">{props.besideHead}</span>{props.beside(i)}</td>}
                </Fragment>
              ))}
              {props.tail && <td class="tail">{props.tail(i)}</td>}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

interface CellProps {
  column: Column;
  row: number;
  value: string;
  name: string;
  wrong: string | null;
  onType: (value: string) => void;
  onDone: (value: string) => void;
}

function Cell({ column, row, value, name, wrong, onType, onDone }: CellProps) {
  const usual = column.usual?.(row) ?? "";
  if (column.kind === "choice")
    return (
      <select aria-label={name} value={value} aria-invalid={wrong ? true : undefined} onChange={(event) => onDone(event.currentTarget.value)}>
        <option value="" selected={value === ""}>{usual || "usual"}</option>
        {column.options!.map((one) => <option key={one} value={one} selected={one === value}>{one}</option>)}
      </select>
    );
  const noNumber = column.kind === "number" && value.trim() !== "" && numberOf(value) === null;
  return (
    <input
      type="text"
      inputMode={column.kind === "number" ? "decimal" : "text"}
      class={column.kind}
      size={column.kind === "number" ? 6 : 16}
      autocomplete="off"
      aria-label={name}
      aria-invalid={wrong || noNumber ? true : undefined}
      title={wrong ?? undefined}
      value={value}
      placeholder={usual}
      onInput={(event) => onType(event.currentTarget.value)}
      onChange={(event) => onDone(event.currentTarget.value)}
      onKeyDown={move}
    />
  );
}

/** Up, down and Enter go to the same column of the next row. */
function move(event: KeyboardEvent): void {
  const way = event.key === "ArrowUp" ? -1 : event.key === "ArrowDown" || event.key === "Enter" ? 1 : 0;
  if (!way) return;
  const cell = (event.currentTarget as HTMLElement).closest("td")!;
  const line = cell.parentElement as HTMLTableRowElement;
  const body = line.parentElement as HTMLTableSectionElement;
  const next = body.rows[Array.prototype.indexOf.call(body.rows, line) + way];
  const input = next?.cells[cell.cellIndex]?.querySelector("input");
  event.preventDefault();
  if (input) input.focus();
  else (event.currentTarget as HTMLElement).blur();
}

/** Cells copied from a spreadsheet go in from the one pasted into; new rows are made as needed. */
function paste(event: ClipboardEvent, { columns, rows, onDone }: GridProps): void {
  const text = event.clipboardData?.getData("text") ?? "";
  if (!/[\t\n]/.test(text.trim())) return; // one cell is the browser's affair
  const cell = (event.target as HTMLElement).closest("td");
  const line = cell?.parentElement as HTMLTableRowElement | undefined;
  if (!cell || !line) return;
  event.preventDefault();
  const first = Array.prototype.indexOf.call(line.parentElement!.children, line);
  onDone(spread(text, columns, rows, first, Number(cell.dataset.column)), "Cells pasted");
}

/** The rows with pasted text laid in from a row and a column on. */
export function spread(text: string, columns: readonly Column[], rows: readonly Row[], row: number, column: number): Row[] {
  const lines = text.replace(/\r?\n$/, "").split(/\r?\n/).map((line) => line.split("\t"));
  const made = rows.map((one) => ({ ...one }));
  lines.forEach((cells, i) => {
    const at = (made[row + i] ??= {});
    cells.forEach((value, j) => {
      const key = columns[column + j]?.key;
      if (key) at[key] = value.trim();
    });
  });
  return made;
}
