/** A dialog of the browser's own kind: it traps the keyboard and closes with Escape. */
import type { ComponentChildren } from "preact";
import { useEffect, useId, useRef } from "preact/hooks";

export function Dialog(props: { title: string; open: boolean; onClose: () => void; children: ComponentChildren }) {
  const at = useRef<HTMLDialogElement>(null);
  const id = useId();
  useEffect(() => {
    if (props.open && !at.current?.open) at.current?.showModal();
    if (!props.open && at.current?.open) at.current.close();
  }, [props.open]);
  return (
    <dialog ref={at} aria-labelledby={id} onClose={props.onClose}>
      <h2 id={id}>{props.title}</h2>
      {props.open && props.children}
    </dialog>
  );
}
