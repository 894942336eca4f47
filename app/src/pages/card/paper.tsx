/** What is going to be printed, as the server draws it: one sheet per page. */
import { useEffect, useRef } from "preact/hooks";

export function Paper({ pages, busy, product }: { pages: readonly string[]; busy: boolean; product: string }) {
  return (
    <div class={`papers ${product}`} aria-busy={busy}>
      {pages.map((page, number) => <Sheet key={number} page={page} />)}
    </div>
  );
}

function Sheet({ page }: { page: string }) {
  const at = useRef<HTMLDivElement>(null);
  useEffect(() => {
    const { drawing, label } = drawn(page);
    at.current?.setAttribute("aria-label", label);
    at.current?.replaceChildren(...(drawing ? [drawing] : []));
  }, [page]);
  return <div class="sheet" role="img" aria-label="A page" ref={at} />;
}

/** A picture as an element of this page, so that it is set in our own typeface; its words apart.
 *
 * Two pages may bear the same ids, so the label stands outside and the ids go.
 */
export function drawn(page: string): { drawing: SVGElement | null; label: string } {
  const parsed = new DOMParser().parseFromString(page, "image/svg+xml").documentElement;
  if (parsed.localName !== "svg") return { drawing: null, label: "This page cannot be shown." };
  const label = ["title", "desc"].map((name) => [...parsed.children].find((one) => one.localName === name)?.textContent ?? "");
  for (const one of parsed.querySelectorAll("script, foreignObject")) one.remove();
  for (const one of parsed.querySelectorAll("title, desc")) one.remove();
  parsed.removeAttribute("role");
  parsed.removeAttribute("aria-labelledby");
  parsed.setAttribute("aria-hidden", "true");
  const drawing = document.importNode(parsed, true) as unknown as SVGElement;
  // The app's own colour of letters would win over an attribute; a style of the letters does not lose.
  for (const one of drawing.querySelectorAll<SVGElement>("text, tspan"))
    one.style.fill = one.closest("[fill]")?.getAttribute("fill") ?? "#000000";
  return { drawing, label: label.filter(Boolean).join(". ") || "A page" };
}
