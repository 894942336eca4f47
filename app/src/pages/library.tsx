/** Everything that is kept: found, opened, put on the desk, brought in and taken away. */
import { useSignal } from "@preact/signals";
import { items, type Item } from "../api/library";
import { place, turn } from "../house/address";
import { tell } from "../house/tell";
import { FileDrop } from "../parts/drop";
import { TextField } from "../parts/field";
import { Wrong } from "../parts/notice";
import { bring, type Brought } from "./library/bring";
import { noteOf, SHELVES, shelfOf, type Shelf } from "./library/kinds";
import { New } from "./library/make";
import { Removed } from "./library/removed";
import { Row } from "./library/row";
import { Works } from "./library/works";
import "../style/library.css";

const MADE_HERE = ["cars", "drivers", "conditions"];

/** As many of a shelf as one looks through; the others are found, or asked for. */
const SHOWN = 12;

export function Library() {
  const wanted = (place.value.query.find ?? "").trim().toLowerCase();
  const all = items.value;
  const latest = (kind: Shelf["kind"]) =>
    (all ?? []).filter((one) => one.kind === kind && fits(one)).sort((a, b) => b.saved_at.localeCompare(a.saved_at));
  const fits = (item: Item) => `${item.name} ${item.id} ${noteOf(item)}`.toLowerCase().includes(wanted);
  return (
    <article class="library">
      <header>
        <h1>Library</h1>
        <p>All of it lies in one folder on this machine, as files you may edit.</p>
      </header>
      <div class="stack">
        <div class="two even noprint">
          <TextField label="Find" value={place.value.query.find ?? ""} onInput={(find) => turn({ find })} />
          <Bring />
        </div>
        {all === null && <p class="soft" role="status">Looking…</p>}
        {all !== null && SHELVES.map((shelf) => <Part key={shelf.kind} shelf={shelf} items={latest(shelf.kind)} searching={wanted !== ""} />)}
        {all !== null && <Works wanted={wanted} />}
        {all !== null && <Removed />}
      </div>
    </article>
  );
}

function Part({ shelf, items: list, searching }: { shelf: Shelf; items: Item[]; searching: boolean }) {
  const made = MADE_HERE.includes(shelf.kind);
  const whole = useSignal(false);
  if (!list.length && (searching || !made)) return null;
  const id = `shelf-${shelf.kind}`;
  return (
    <section class="card" aria-labelledby={id}>
      <div class="row shelfhead">
        <div>
          <h2 id={id}>{shelf.title}{list.length > SHOWN && <span class="soft"> {list.length}</span>}</h2>
          <p class="soft">{shelf.use}</p>
        </div>
        {made && <New kind={shelf.kind} one={shelf.one} />}
      </div>
      <ul class="things">{(whole.value ? list : list.slice(0, SHOWN)).map((item) => <Row key={item.id} item={item} />)}</ul>
      {list.length > SHOWN && !whole.value && (
        <button type="button" class="bare" aria-label={`${list.length - SHOWN} more: ${shelf.title}`} onClick={() => (whole.value = true)}>{list.length - SHOWN} more, changed before these</button>
      )}
    </section>
  );
}

/** Files dropped or picked; what each became is said, and so is what was refused. */
function Bring() {
  const refused = useSignal<Brought[]>([]);
  const busy = useSignal("");
  const take = async (files: File[]) => {
    busy.value = files.length === 1 ? `Taking in ${files[0]!.name}…` : `Taking in ${files.length} files…`;
    const told = await bring(files);
    busy.value = "";
    refused.value = told.filter((one) => one.wrong);
    const came = told.filter((one) => one.item).map((one) => `${one.item!.name} (${shelfOf(one.item!.kind).one})`);
    if (came.length) tell({ kind: "done", text: `In the library: ${came.join(", ")}.` });
  };
  return (
    <div class="stack">
      <FileDrop label="Bring files in" help="Cars, drivers, conditions, circuits, zone sheets, logs: what each is shows by itself" onFiles={(files) => void take(files)} />
      {busy.value && <p class="soft" role="status">{busy.value}</p>}
      {refused.value.map((one) => <Wrong key={one.file} problem={{ ...one.wrong!, file: one.wrong!.file ?? one.file }} />)}
    </div>
  );
}
