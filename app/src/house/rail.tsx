/** The parts of the job in the order he thinks of them. */
import { useEffect, useRef } from "preact/hooks";
import { place, addressOf, go } from "./address";

interface Part {
  path: string;
  name: string;
}

const GROUPS: { title: string; parts: Part[] }[] = [
  { title: "Ask", parts: [{ path: "/start", name: "Start" }, { path: "/symptoms", name: "Symptoms" }] },
  {
    title: "Plan",
    parts: [
      { path: "/plan", name: "Plan" },
      { path: "/zone", name: "Zone" },
      { path: "/car", name: "Car" },
      { path: "/circuit", name: "Circuit" },
      { path: "/show", name: "Show" },
    ],
  },
  {
    title: "Prove",
    parts: [
      { path: "/laps", name: "Laps" },
      { path: "/learn", name: "Learn" },
      { path: "/trial", name: "Trial" },
    ],
  },
  { title: "Hand over", parts: [{ path: "/card", name: "Card" }] },
  { title: "Keep", parts: [{ path: "/library", name: "Library" }] },
];

export function Rail() {
  const here = `/${place.value.path.split("/")[1] || "start"}`;
  const nav = useRef<HTMLElement>(null);
  // On a phone the parts lie in one line wider than the screen: the current one comes into view.
  useEffect(() => nav.current?.querySelector("[aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" }), [here]);
  return (
    <nav ref={nav} class="rail" aria-label="Parts of the job">
      <div class="sign"><img src="/mark.svg" alt="" />Foreaft</div>
      {/* One list per group on a desk; on a phone they run on in one line. */}
      <div class="groups">
        {GROUPS.map((group) => (
          <section key={group.title} aria-label={group.title}>
            <h2 aria-hidden="true">{group.title}</h2>
            <ul>
              {group.parts.map((part) => (
                <li key={part.path}>
                  <Link path={part.path} current={here === part.path}>{part.name}</Link>
                </li>
              ))}
            </ul>
          </section>
        ))}
      </div>
    </nav>
  );
}

/** A link to a page of ours: an ordinary address, opened without loading the page anew. */
export function Link(props: { path: string; current?: boolean; children: preact.ComponentChildren; class?: string; more?: Record<string, string> }) {
  const address = addressOf(props.path, { ...place.value.query, ...props.more });
  return (
    <a
      href={address}
      class={props.class}
      aria-current={props.current ? "page" : undefined}
      onClick={(event) => {
        if (event.metaKey || event.ctrlKey || event.shiftKey || event.button !== 0) return;
        event.preventDefault();
        go(props.path, props.more);
      }}
    >
      {props.children}
    </a>
  );
}
