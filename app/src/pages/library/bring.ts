/** Files brought in: what each is, by what stands in it, and where it goes. */
import { Refused, problem, type Problem } from "../../api/call";
import { bringLog, itemOf, items, read, save, slug, type Item, type Kind } from "../../api/library";

const HEAD_BYTES = 8192;
const TEXT_MOST = 3_500_000; // what the server takes as text; a table larger than this is a log

/** The kind a file looks like; what is nothing else is a log. */
export function kindOf(name: string, head: string): Kind {
  const ending = name.toLowerCase().split(".").at(-1);
  if (ending === "toml") return ofToml(name, head);
  if (ending === "geojson") return "circuits";
  if (ending === "json") return head.includes("foreaft.plan/") ? "plans" : /"type"\s*:\s*"Feature/.test(head) ? "circuits" : "logs";
  const header = head.split(/\r?\n/).find((line) => line.trim() && !line.startsWith("#")) ?? "";
  const columns = header.split(/[,;\t]/).map((one) => one.trim().toLowerCase());
  if (columns.includes("approach_kmh") && columns.includes("min_kmh")) return "sheets";
  if (columns.includes("zone_id") && columns.includes("apex_s_m")) return "zones";
  if (columns.includes("x_m") && columns.includes("y_m") && !columns.some((one) => /^t(ime)?(_s)?$|speed/.test(one))) return "circuits";
  return "logs";
}

function ofToml(name: string, head: string): Kind {
  const schema = /^schema\s*=\s*"foreaft\.(\w+)\//m.exec(head)?.[1];
  if (schema === "driver") return "drivers";
  if (schema === "conditions") return "conditions";
  if (schema === "mapping" || name.endsWith(".mapping.toml")) return "mappings";
  return "cars";
}

export interface Brought {
  file: string;
  item?: Item;
  wrong?: Problem;
}

/** Bring files in one after the other; one that is refused does not keep the others out. */
export async function bring(files: File[]): Promise<Brought[]> {
  const told: Brought[] = [];
  for (const file of files) {
    try {
      told.push({ file: file.name, item: await bringOne(file) });
    } catch (error) {
      told.push({ file: file.name, wrong: problem(error) });
    }
  }
  return told;
}

async function bringOne(file: File): Promise<Item> {
  const kind = kindOf(file.name, await file.slice(0, HEAD_BYTES).text());
  if (kind === "logs" || file.size > TEXT_MOST) return bringLog(file);
  const text = await file.text();
  const id = idOf(kind, file.name, text);
  if (kind === "zones") return bringZones(id, text);
  const there = itemOf(`${kind}/${id}`);
  if (there && (await read(kind, id)).text === text) return there;
  return save(kind, there ? freeId(kind, id) : id, { text }, null, `${file.name} brought in`);
}

/** Zones belong to a circuit: the one named like the file, or the only one. */
async function bringZones(id: string, text: string): Promise<Item> {
  const circuits = (items.value ?? []).filter((one) => one.kind === "circuits").map((one) => one.id);
  const whose = circuits.includes(id) ? id : circuits.length === 1 ? circuits[0] : undefined;
  if (!whose) throw new Refused(nobody(circuits), 400);
  const there = itemOf(`zones/${whose}`);
  return save("zones", whose, { text }, there?.revision ?? null, `Zones of ${whose} brought in`);
}

function nobody(circuits: string[]): Problem {
  return {
    code: "which_circuit", message: "These are zones, and nothing says of which circuit.", allowed: circuits.map((one) => `${one}.csv`).join(", "),
    hint: "Name the file as its circuit is named, and bring it in again.", file: null, line: null, key: "file name", value: null, unit: null,
  };
}

function idOf(kind: Kind, name: string, text: string): string {
  const own = ["cars", "drivers", "conditions"].includes(kind) ? /^id\s*=\s*"([a-z0-9-]+)"/m.exec(text)?.[1] : undefined;
  return own ?? slug(name.replace(/(\.mapping)?\.[^.]+$/, "").replace(/^zones[-_ ]?/, "") || name);
}

function freeId(kind: Kind, id: string): string {
  const known = new Set((items.value ?? []).filter((one) => one.kind === kind).map((one) => one.id));
  let number = 2;
  while (known.has(`${id}-${number}`)) number += 1;
  return `${id}-${number}`;
}
