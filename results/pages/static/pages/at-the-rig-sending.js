/* At the rig: what was entered becomes one session, with the traces of its pulls, and is sent.
   Everything goes as it was typed: what it means is read, or asked about, by the service alone. */
"use strict";

async function pulled(series) {
  return Promise.all(series.pulls.map(async ({ reading, mode, place, trace }) => {
    const recorded = trace ? await keptTraces.get(trace) : undefined;
    return { ...(reading && { reading }), failure_mode: mode, place, ...(recorded && { trace: { unit: session.unit, ...recorded } }) };
  }));
}

function pulledOfKind(kind) {
  return session.series.filter((series) => series.kind === kind && series.pulls.length);
}

/* What a session has to have and this one lacks, in words. */
function missing() {
  return [
    !session.rig && say.aRig,
    !session.unit && say.aUnit,
    !pulledOfKind("straight").length && say.aStraight,
    !pulledOfKind("join").length && say.aJoin,
  ].filter(Boolean);
}

/* Samples of a round of which fewer were pulled than lie under their code. */
function fewer() {
  return session.series.filter((series) => series.ties > series.pulls.length).map((series) => `${series.sample}: ${say.pulled.replace("[of]", pulledOf(series))}`);
}

async function document_() {
  const revision = Number(find("at-rig").selectedOptions[0].dataset.revision);
  const straight = pulledOfKind("straight");
  const joins = pulledOfKind("join");
  const entered = Object.fromEntries(SESSION_FIELDS.map((field) => [field, session[field]]));
  return {
    ...entered,
    revision,
    baselines: await Promise.all(straight.map(async (series) => ({ line: series.line, spool: series.spool, position: series.position, pulls: await pulled(series) }))),
    pull_sets: await Promise.all(joins.map(async (series, index) => (series.sample ? ofARound(series) : {
      label: `${index + 1}, ${series.connection}`.slice(0, 60),
      connection: series.connection,
      doubled: series.doubled,
      main: { line: series.main, spool: series.mainSpool },
      leader: series.leader || series.leaderSpool ? { line: series.leader, spool: series.leaderSpool } : null,
      terminal: series.terminal,
      parameters: series.parameters,
      discarded_ties: series.discarded,
      pulls: await pulled(series),
    }))),
  };
}

/* What a code of a round stands for is filled in by the service. */
async function ofARound(series) {
  return { sample: series.sample, discarded_ties: series.discarded, pulls: await pulled(series) };
}

/* The page may have come from the phone's keep, so the token is read from a fresh one. */
async function token() {
  const answer = await fetch(say.home, { cache: "no-store" });
  if (answer.redirected) throw new Error(say.signedOut);
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  return fresh.querySelector("#token").value;
}

/* Pulls whose recording can't be found: where there are more than was known, sending waits. */
function lost() {
  return traces().filter((key) => keptTraces.state(key) === "lost").length;
}

async function send(dryRun) {
  if (!dryRun && live.isUnnamed()) return tell(say.unnamed);
  if (find("reading").value.trim()) return tell(say.unsaved);
  const lostBefore = lost();
  const lacking = missing();
  if (lacking.length) return tell(say.incomplete.replace("[what]", lacking.join("; ")));
  const body = await document_();
  if (lost() > lostBefore) return tell(say.unkept);
  let answer;
  try {
    answer = await fetch(say.send + (dryRun ? "?dry_run=true" : ""), {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-CSRFToken": await token(), ...(!dryRun && { "Idempotency-Key": session.key }) },
      body: JSON.stringify(body),
    });
  } catch (failure) {
    return tell(failure instanceof TypeError ? say.unsent : failure.message);
  }
  const said = await answer.json();
  if (!answer.ok) {
    tell(said.detail, (said.findings || []).map(inWords));
    if (said.wait_at) offerToWait(said.wait_at, body);
    return undefined;
  }
  if (dryRun) return tell(say.ready, fewer().concat(said.sets.map(cameOut), said.warnings.map(inWords)));
  startOver();
  location.assign(said.job ? `${say.job}${said.job.id}/` : `${say.round}${said.round}/?sent=now`);
  return tell(say.sent);
}

/* The catalogue lacks a name: the session is kept by the service until a moderator has decided. */
function offerToWait(address, body) {
  const button = element("button", say.propose);
  button.type = "button";
  button.addEventListener("click", async () => {
    try {
      const answer = await fetch(address, { method: "POST", headers: { "Content-Type": "application/json", "X-CSRFToken": await token() }, body: JSON.stringify(body) });
      const said = await answer.json();
      if (!answer.ok) return tell(said.detail);
      startOver();
      location.assign(`${say.waiting}${said.key}/`);
    } catch (failure) {
      tell(failure instanceof TypeError ? say.unsent : failure.message);
    }
    return undefined;
  });
  find("outcome").append(button);
}

/* A finding by what stands on this page: the series and the pull, in place of a place in a document. */
function inWords({ row, field, found, expected }) {
  const [, part, index, pull] = /^(baselines|pull_sets)\[(\d+)\](?:\.pulls\[(\d+)\])?/.exec(row) || [];
  const kind = { baselines: "straight", pull_sets: "join" }[part];
  const series = session.series.filter((each) => each.kind === kind && each.pulls.length)[index];
  const place = [series && name(series), pull && `${say.pull} ${Number(pull) + 1}`, field.replaceAll("_", " ")].filter(Boolean).join(", ");
  return `${place}: ${say.found} ${found}, ${say.expected} ${expected}`;
}

function cameOut(set) {
  return set.efficiency === null ? `${set.label}: ${set.why_not}` : `${set.label}: ${(100 * set.efficiency).toFixed(1)}%`;
}

function tell(sentence, rows = []) {
  const list = element("ul", "");
  list.append(...rows.map((row) => element("li", row)));
  find("outcome").replaceChildren(element("p", sentence), list);
}

find("check").addEventListener("click", () => send(true));
find("send").addEventListener("click", () => send(false));
