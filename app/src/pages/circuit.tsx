/** The road: a circuit with its zones, or a zone sheet typed by hand. */
import { parts } from "../house/address";
import { desk } from "../house/desk";
import { Circuit } from "./circuit/circuit";
import { Sheet } from "./circuit/sheet";
import "../style/circuit.css";

export function CircuitPage() {
  const [page, id] = parts();
  const reference = id ? `${page === "sheet" ? "sheets" : "circuits"}/${id}` : desk.value.road;
  const [kind, name] = reference.split("/") as [string, string];
  return kind === "sheets" ? <Sheet id={name} key={reference} /> : <Circuit id={name} key={reference} />;
}
