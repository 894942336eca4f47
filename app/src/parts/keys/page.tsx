/** The page of a file that is nothing but its keys: a driver, the conditions of a day. */
import type { ComponentChildren } from "preact";
import { itemOf, read, type Held, type Kind } from "../../api/library";
import { desk, lay, type DeskKey } from "../../house/desk";
import { useLoaded } from "../../house/loaded";
import { Wrong } from "../notice";
import { KeysForm, type Group } from "./form";

interface PageProps {
  kind: Kind;
  id: string;
  place: DeskKey;
  /** What it is called in a sentence. */
  one: string;
  intro: string;
  groups: Group[];
  names: Record<string, string>;
  usual?: (held: Held<unknown>) => string;
  children?: ComponentChildren;
}

export function KeysPage({ kind, id, place, one, intro, groups, names, usual, children }: PageProps) {
  const known = itemOf(`${kind}/${id}`);
  const found = useLoaded(`${kind}/${id} ${known?.revision}`, () => read(kind, id));
  const { value: held, wrong } = found.value;
  const reference = `${kind}/${id}`;
  return (
    <article>
      <header>
        <h1><bdi>{held?.item.name ?? id}</bdi></h1>
        <p>{children}</p>
      </header>
      {wrong && <Wrong problem={wrong} />}
      {held && (
        <div class="stack">
          {desk.value[place] !== reference && (
            <button type="button" onClick={() => lay({ [place]: reference }, `${held.item.name} put on the desk`)}>Put {one} on the desk</button>
          )}
          {held.item.problem && <Wrong problem={held.item.problem} />}
          <KeysForm held={held} title="The numbers" intro={intro} groups={groups} names={names} usual={usual?.(held)} />
        </div>
      )}
    </article>
  );
}
