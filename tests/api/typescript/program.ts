/** Signs in, registers a rig, uploads a session, waits, reads the pool and compares itself. */
import createClient from "openapi-fetch";
import type { components, paths } from "./schema.js";

type Upload = components["schemas"]["UploadedSessionDocument"];
type Job = components["schemas"]["JobDocument"];

const [address, name, password, rigs, upload] = process.argv.slice(2) as [
  string,
  string,
  string,
  string,
  string,
];
const revision: components["schemas"]["RigDocumentRequest"] = JSON.parse(rigs);
const session: Upload = JSON.parse(upload);

/** What an answer holds; a problem ends the program, by its findings. */
function known<Answer>(answer: { data?: Answer; error?: components["schemas"]["Problem"] }): Answer {
  if (answer.error !== undefined || answer.data === undefined) {
    throw new Error(JSON.stringify(answer.error));
  }
  return answer.data;
}

const basic = `Basic ${Buffer.from(`${name}:${password}`).toString("base64")}`;
const stranger = createClient<paths>({ baseUrl: address });
const { token } = known(
  await stranger.POST("/api/v1/tokens", { headers: { Authorization: basic } }),
);
const client = createClient<paths>({
  baseUrl: address,
  headers: { Authorization: `Token ${token}` },
});

const rig = known(await client.POST("/api/v1/rigs", { body: revision }));
const receipt = known(
  await client.POST("/api/v1/sessions", {
    body: session,
    headers: { "Content-Type": "application/json" },
  }),
);
if (!("job" in receipt)) {
  throw new Error("a dry run was not asked for");
}
const job = await finished(receipt.job.id);
const id = Number(job.pools[0].split("/").pop());
const pool = known(await client.GET("/api/v1/pools/{id}", { params: { path: { id } } }));
const compared = known(
  await client.GET("/api/v1/pools/{id}/comparison", { params: { path: { id } } }),
);
const missing = await client.GET("/api/v1/pools/{id}", { params: { path: { id: 0 } } });

console.log(
  JSON.stringify({
    revision: rig.revisions[0].number,
    testers: pool.current?.testers,
    interval: pool.current?.interval,
    own: compared.own.sets,
    others: compared.others.interval,
    missing: missing.error?.status,
  }),
);

async function finished(id: string): Promise<Job> {
  for (;;) {
    const job = known(await client.GET("/api/v1/jobs/{id}", { params: { path: { id } } }));
    if (job.state === "done" || job.state === "failed") {
      return job;
    }
    await new Promise((wake) => setTimeout(wake, 200));
  }
}
