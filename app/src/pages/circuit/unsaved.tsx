/** What of a table is typed but not saved, why, and the way back. */
import { Mind, Wrong } from "../../parts/notice";
import { placeIn, type Editing } from "./table";

export function Unsaved({ table }: { table: Editing }) {
  const wrong = table.wrong.value;
  const back = <button type="button" onClick={table.putBack}>Put back what is saved</button>;
  if (wrong)
    return (
      <Wrong problem={wrong} where={placeIn(table.rows)}>
        <p>What you typed is kept here and is not saved yet.</p>
        {back}
      </Wrong>
    );
  if (!table.open.length) return null;
  return (
    <Mind>
      {table.open.map((one) => <p key={one}>{one}</p>)}
      <p>What you typed is kept here and is saved once that is there.</p>
      {back}
    </Mind>
  );
}
