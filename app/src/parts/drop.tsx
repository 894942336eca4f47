/** A place to drop files on, or to pick them with a button. */
import { useState } from "preact/hooks";

export function FileDrop(props: { label: string; help: string; accept?: string; onFiles: (files: File[]) => void }) {
  const [over, setOver] = useState(false);
  const take = (list: FileList | null | undefined) => {
    if (list?.length) props.onFiles([...list]);
  };
  return (
    <label
      class={over ? "drop over" : "drop"}
      onDragOver={(event) => { event.preventDefault(); setOver(true); }}
      onDragLeave={() => setOver(false)}
      onDrop={(event) => { event.preventDefault(); setOver(false); take(event.dataTransfer?.files); }}
    >
      <strong>{props.label}</strong>
      <span class="soft">{props.help}</span>
      <input
        type="file"
        multiple
        accept={props.accept}
        onChange={(event) => { take(event.currentTarget.files); event.currentTarget.value = ""; }}
      />
    </label>
  );
}
