// One call by the generated types, which are checked before.
import createClient from "openapi-fetch";
import type { paths } from "./sensewright.js";

declare const process: { argv: string[] };

const client = createClient<paths>({ baseUrl: process.argv[2] });
const elements = [1e-4, 1.1e-4].map((resistance_ohm) => ({ resistance_ohm }));
const { data, error } = await client.POST("/api/v1/shunt/parallel", { body: { current_a: 900, elements } });
if (!data) throw new Error(JSON.stringify(error));
console.log("TypeScript:", data.engine, data.link, data.findings.length, "findings");
