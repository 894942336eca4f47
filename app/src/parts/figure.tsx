/** A picture with its title for screen readers and its caption for everybody. */
import type { ComponentChildren } from "preact";
import { useId } from "preact/hooks";

interface FigureProps {
  title: string;
  /** What the picture shows, in a sentence or two, for those who cannot see it. */
  about: string;
  width: number;
  height: number;
  caption?: ComponentChildren;
  children: ComponentChildren;
}

export function Figure({ title, about, width, height, caption, children }: FigureProps) {
  const id = useId();
  return (
    <figure>
      <svg viewBox={`0 0 ${width} ${height}`} role="img" aria-labelledby={`${id}-t ${id}-a`}>
        <title id={`${id}-t`}>{title}</title>
        <desc id={`${id}-a`}>{about}</desc>
        {children}
      </svg>
      {caption && <figcaption>{caption}</figcaption>}
    </figure>
  );
}

/** The signs of the two ends: a triangle up for the front, one down for the rear. */
export function EndSign({ end, x, y, size = 10 }: { end: "front" | "rear"; x: number; y: number; size?: number }) {
  const way = end === "front" ? -1 : 1;
  const half = size / 2;
  const points = `${x},${y + way * half} ${x + half},${y - way * half} ${x - half},${y - way * half}`;
  return <polygon points={points} fill={`var(--${end})`} />;
}
