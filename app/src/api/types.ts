/** The answers and requests of the jobs, made from the Python types at build time. */
import type { components } from "./schema";

type Schemas = components["schemas"];

/** An answer or a request by its Python name, as `Of<"Plan">`. */
export type Of<Name extends keyof Schemas> = Schemas[Name];

/** What every answer comes in. */
export interface Envelope<Result> {
  schema: string;
  version: string;
  model_version: number;
  request_sha256: string;
  seed: number;
  inputs: Record<string, { id: string; revision: string; file: string | null }>;
  assumptions: { key: string; value: number | string; unit: string; source: string }[];
  warnings: { code: string; text: string; zone_id: string | null }[];
  cautions: string[];
  files: string[];
  result: Result;
}
