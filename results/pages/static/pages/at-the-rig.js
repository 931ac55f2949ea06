/* At the rig: pulls are kept on the phone as they are entered, and sent as one session. */
"use strict";

const KEPT = "samespool.at-the-rig";
const SESSION_FIELDS = ["rig", "pulled_on", "unit", "state", "loading"];
/* Straight line has moved where its mean differs by this share and by twice its standard error;
   common practice, no source. */
const MOVED = 0.05;
const page = document.getElementById("rig");
const find = (id) => document.getElementById(id);
const say = page.dataset;
let session = kept() || blank();

/* ---- what is kept ---- */

function blank() {
  const now = new Date();
  const day = new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
  return { rig: "", pulled_on: day, unit: "", state: "dry", loading: "static", series: [], current: 0, key: newKey() };
}

function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return "rig-" + Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

function kept() {
  try {
    return JSON.parse(localStorage.getItem(KEPT));
  } catch {
    return null;
  }
}

/* A session that was changed is another upload, so it gets another key. */
function keep() {
  session.key = newKey();
  localStorage.setItem(KEPT, JSON.stringify(session));
}

/* ---- figures ---- */

/* A reading as it may be typed: 20.5, 20,5, 20 1/2, 20½, and with its unit behind it. */
const READING = /^(?:(\d*[.,]?\d+|\d+[.,])|(?:(\d+)[ -])? ?(\d+)\/(\d+))\s*([a-z]*)\.?$/i;

/* A fraction alone, as 15/16, is more often one of two readings. */
const FRACTION_ALONE = /^\s*\d+\s*\//;

function parts(text) {
  if (FRACTION_ALONE.test(text)) return null;
  const spelt = String(text).trim().replace(/[¼-¾⅓-⅞]/, (sign) => ` ${sign.normalize("NFKC").replace("⁄", "/")}`).trim();
  const [, plain, whole, above, below, unit] = READING.exec(spelt) || [];
  if (plain === undefined && above === undefined) return null;
  const value = plain === undefined ? Number(whole || 0) + above / below : Number(plain.replace(",", "."));
  return { value, unit };
}

function number(text) {
  const value = parts(text)?.value ?? NaN;
  return Number.isFinite(value) && value > 0 ? value : null;
}

/* What is wrong with a reading as typed; empty where nothing is. */
function wrongWith(reading) {
  if (number(reading) === null) return say.needs;
  const unit = parts(reading).unit.toLowerCase();
  const ours = session.unit.toLowerCase();
  const same = !unit || !ours || unit.replace(/s$/, "").replace(/f$/, "") === ours.replace(/f$/, "");
  return same ? "" : say.otherUnit.replace("[written]", reading).replace("[unit]", session.unit);
}

function readings(series) {
  const counts = series.kind === "straight" ? (pull) => pull.mode === "line" : (pull) => pull.mode !== "void";
  return series.pulls.filter(counts).map((pull) => number(pull.reading)).filter((value) => value !== null);
}

function figures(values) {
  const n = values.length;
  const mean = values.reduce((sum, value) => sum + value, 0) / n;
  const squares = values.reduce((sum, value) => sum + (value - mean) ** 2, 0);
  return { n, mean, cv: n > 1 ? Math.sqrt(squares / (n - 1)) / mean : null };
}

function newtons() {
  return Number(find("at-unit").selectedOptions[0].dataset.newtons);
}

/* Straight line of the same line and spool: other positions of today, then earlier days. */
function others(series) {
  const today = session.series
    .filter((other) => other !== series && other.kind === "straight" && other.line === series.line && other.spool === series.spool)
    .map((other) => ({ ...figures(readings(other)), when: say.before }));
  const revision = find("at-rig").selectedOptions[0].dataset.revisionId;
  const earlier = Array.from(document.querySelectorAll("#earlier tbody tr"), (row) => row.dataset)
    .filter((row) => row.revisionId === revision && row.state === session.state && row.line === series.line && row.spool === series.spool)
    .map((row) => ({ n: Number(row.pulls), mean: row.mean / newtons(), cv: row.sd / row.mean, when: row.day }));
  return today.concat(earlier.slice(0, 1)).filter((other) => other.n > 1);
}

function moved(series) {
  const now = figures(readings(series));
  if (series.kind !== "straight" || now.n < 2) return "";
  for (const then of others(series)) {
    const change = Math.log(now.mean / then.mean);
    const error = Math.sqrt(now.cv ** 2 / now.n + then.cv ** 2 / then.n);
    if (Math.abs(change) > Math.max(MOVED, 2 * error)) {
      return say.moved
        .replace("[now]", now.mean.toFixed(1))
        .replace("[then]", then.mean.toFixed(1))
        .replace("[when]", then.when)
        .replace("[change]", (100 * (now.mean / then.mean - 1)).toFixed(0));
    }
  }
  return "";
}

/* The weaker of the two lines, of those that were pulled straight today. */
function straightMean(series) {
  const means = [[series.main, series.mainSpool], [series.leader, series.leaderSpool]]
    .filter(([line]) => line)
    .map(([line, spool]) => session.series.filter((each) => each.kind === "straight" && each.line === line && each.spool === spool).flatMap(readings))
    .filter((values) => values.length)
    .map((values) => figures(values).mean);
  return means.length ? Math.min(...means) : null;
}

/* ---- what is shown ---- */

function name(series) {
  if (series.sample) return [series.sample, series.what, checked(series)].filter(Boolean).join(", ");
  if (series.kind === "straight") return [series.line, series.spool, say.straight, series.position].filter(Boolean).join(", ");
  return `${series.connection}: ${series.main} – ${series.leader || series.terminal}`;
}

/* How many were pulled, of a sample of a round out of how many joins under its code. */
function pulledOf(series) {
  return series.ties ? say.of.replace("[pulled]", series.pulls.length).replace("[wanted]", series.ties) : String(series.pulls.length);
}

function checked(series) {
  return series.foreign ? say.foreign : series.unchecked ? say.unchecked : "";
}

function element(tag, text, classes = "") {
  const made = document.createElement(tag);
  made.textContent = text;
  made.className = classes;
  return made;
}

function show() {
  for (const field of SESSION_FIELDS) page.querySelector(`#setup [name=${field}]`).value = session[field];
  find("unit").textContent = session.unit;
  find("series").replaceChildren(...session.series.map((series, index) => {
    const button = element("button", `${name(series)} (${pulledOf(series)})`, "quiet");
    button.type = "button";
    button.setAttribute("aria-pressed", String(index === session.current));
    button.addEventListener("click", () => { session.current = index; keep(); show(); find("reading").focus(); });
    return button;
  }));
  const series = session.series[session.current];
  find("pulling").hidden = !series;
  if (series) showSeries(series);
}

function showSeries(series) {
  find("now").textContent = name(series);
  for (const button of document.querySelectorAll("[data-mode]")) button.hidden = Boolean(button.dataset.of) && button.dataset.of !== series.kind;
  find("change").hidden = Boolean(series.sample);
  find("discard-row").hidden = series.kind !== "join";
  find("discarded").textContent = series.discarded;
  find("figures").textContent = summary(series);
  const warning = series.foreign ? say.notYours.replace("[code]", series.sample) : moved(series);
  if (find("warning").textContent !== warning) find("warning").textContent = warning;
  find("warning").hidden = !warning;
  find("pulls").replaceChildren(...series.pulls.map(pullRow).reverse());
}

function summary(series) {
  const { n, mean, cv } = figures(readings(series));
  const parts = [`${n} ${n === 1 ? say.pull : say.counted}`];
  if (n) parts.push(`${say.mean} ${mean.toFixed(1)} ${session.unit}`);
  if (cv !== null) parts.push(`${say.scatter} ${(100 * cv).toFixed(1)}%`);
  const straight = series.kind === "join" && n ? straightMean(series) : null;
  if (straight) parts.push(`${(100 * mean / straight).toFixed(0)}% ${say.ratio}`);
  return parts.join(" · ");
}

function pullRow(pull, index, pulls) {
  const words = document.querySelector(`[data-mode="${pull.mode}"]${pull.place ? `[data-place="${pull.place}"]` : ""}`).textContent;
  const row = element("li", "");
  row.value = index + 1;
  const back = element("button", "×", "quiet");
  back.type = "button";
  back.setAttribute("aria-label", `${say.remove} ${index + 1}`);
  back.addEventListener("click", () => { keptTraces.drop(pull.trace); pulls.splice(index, 1); keep(); show(); });
  const recorded = element("span", "");
  recorded.dataset.trace = pull.trace || "";
  recorded.textContent = recordedAs(pull.trace);
  const ended = element("span", words);
  ended.append(recorded);
  row.append(element("b", pull.reading || say.lost), ended, back);
  return row;
}

/* What became of the recording of a pull: said only once it is so. */
function recordedAs(key) {
  if (!key) return "";
  return `, ${{ kept: say.recorded, keeping: say.keeping, lost: say.unrecorded }[keptTraces.state(key) || "keeping"]}`;
}

keptTraces.whenChanged((key, state) => {
  const shown = find("pulls").querySelector(`[data-trace="${key}"]`);
  if (shown) shown.textContent = recordedAs(key);
  if (state === "lost") tell(say.unkept);
});

function traces() {
  return session.series.flatMap((series) => series.pulls).map((pull) => pull.trace).filter(Boolean);
}

/* ---- what is entered ---- */

for (const field of page.querySelectorAll("#setup [name]")) {
  field.addEventListener("change", () => {
    session[field.name] = field.value;
    if (field.name === "rig" && !session.unit) session.unit = field.selectedOptions[0].dataset.unit || "";
    keep();
    show();
  });
}

for (const form of page.querySelectorAll("form")) form.addEventListener("submit", (event) => event.preventDefault());

function add(id, made) {
  const form = find(id)?.querySelector("form");
  if (!form) return;
  form.addEventListener("submit", async () => {
    const entered = Object.fromEntries(Array.from(new FormData(form), ([key, value]) => [key, value.trim()]));
    const error = form.querySelector(".error");
    error.textContent = problem(entered, made.kind);
    if (entered.sample && !error.textContent) {
      await freshCodes();
      /* What was entered twice while the service was asked is still entered once. */
      error.textContent = problem(entered, made.kind) || foreign(entered.sample);
    }
    error.hidden = !error.textContent;
    if (error.textContent || askedAboutLine(form)) return;
    const meant = { ...entered, doubled: entered.doubled === "on" };
    if (!changed(form, meant)) put({ ...made, ...meant });
    find(id).open = false;
    find("reading").focus();
  });
}

function put(made) {
  if (made.sample) beside(made);
  session.current = session.series.push({ ...made, pulls: [], discarded: 0 }) - 1;
  keep();
  show();
}

/* ---- codes of rounds ---- */

/* One's codes of which results are awaited, asked again; `asked` is false where there is no answer. */
async function freshCodes() {
  asked = false;
  if (!navigator.onLine) return;
  try {
    const answer = await fetch(`${say.home}?codes=now`, { cache: "no-store" });
    if (!answer.ok || answer.redirected) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("codes");
    if (!fresh) return;
    find("codes").replaceWith(document.adoptNode(fresh));
    asked = true;
  } catch (failure) {
    if (!(failure instanceof TypeError)) throw failure;
  }
}

let asked = false;

function ownCode(written) {
  return Array.from(document.querySelectorAll("#codes option")).find((each) => each.value === code(written));
}

/* Why a code can't be pulled, where the page can know it: under a wrong label joins are lost. */
function foreign(written) {
  return asked && !ownCode(written) ? say.notYours.replace("[code]", code(written)) : "";
}

const AGAIN_MS = 3000;

/* Codes that were entered without a network are looked up once there is one. */
async function checkCodes() {
  const waiting = session.series.filter((series) => series.unchecked);
  if (!waiting.length) return;
  await freshCodes();
  if (!asked) {
    /* A network that has just come back may not answer the first time. */
    if (navigator.onLine) setTimeout(checkCodes, AGAIN_MS);
    return;
  }
  for (const series of waiting) {
    series.foreign = !ownCode(series.sample);
    series.unchecked = false;
    if (!series.foreign) beside(series);
  }
  keep();
  show();
}

/* A sample of a round: its code as the label has it, and every spool of the round straight. */
function beside(made) {
  made.sample = code(made.sample);
  const known = ownCode(made.sample);
  made.unchecked = !known;
  if (!known) return;
  made.what = known.dataset.what;
  made.ties = Number(known.dataset.ties);
  if (!session.series.length) session.state = known.dataset.state;
  for (const lot of JSON.parse(known.dataset.lots)) {
    const there = session.series.some((each) => each.kind === "straight" && each.line === lot.line && each.spool === lot.spool);
    if (!there) session.series.push({ kind: "straight", ...lot, position: "before", pulls: [], discarded: 0 });
  }
}

function code(written) {
  const letters = written.toUpperCase().replace(/[^0-9A-Z]/g, "");
  return letters.length === 8 ? `${letters.slice(0, 4)}-${letters.slice(4)}` : written.trim();
}

function problem(entered, kind) {
  const same = (other) => kind === "straight" && other !== changing && other.kind === kind && ["line", "spool", "position"].every((key) => other[key] === entered[key]);
  if (entered.sample && session.series.some((other) => other.sample === code(entered.sample))) return say.sameCode;
  return session.series.some(same) ? say.same : "";
}

add("add-straight", { kind: "straight" });
add("add-join", { kind: "join" });
add("add-sample", { kind: "join" });

for (const button of document.querySelectorAll("[data-mode]")) {
  button.addEventListener("click", () => {
    const reading = find("reading").value.trim() || (button.dataset.mode === "void" ? "" : live.peak());
    const error = find("reading-error");
    error.textContent = button.dataset.mode === "void" && !reading ? "" : wrongWith(reading);
    error.hidden = !error.textContent;
    find("reading").focus();
    if (!error.hidden) return;
    const pull = { reading, mode: button.dataset.mode, place: button.dataset.place || "" };
    const asked = doubt(reading, pull.mode);
    find("wild").hidden = !asked;
    if (!asked) return addPull(pull);
    find("wild").querySelector("p").textContent = asked;
    find("wild-keep").onclick = () => addPull(pull);
    find("wild-keep").focus();
    return undefined;
  });
}

function addPull(pull) {
  session.series[session.current].pulls.push({ ...pull, trace: live.take() });
  find("reading").value = "";
  find("wild").hidden = true;
  keep();
  show();
  find("reading").focus();
  live.next();
}

find("wild-correct").addEventListener("click", () => { find("wild").hidden = true; find("reading").select(); });

find("discard").addEventListener("click", () => { session.series[session.current].discarded += 1; keep(); show(); });
find("drop").addEventListener("click", () => { startOver(); find("outcome").replaceChildren(); });

function startOver() {
  session = blank();
  keep();
  show();
  live.dropAll();
}

/* ---- without a network ---- */

function network() {
  find("network").textContent = navigator.onLine ? find("network").dataset.online : find("network").dataset.offline;
}

async function keepPage() {
  await navigator.serviceWorker.register(say.worker);
  const assets = Array.from(document.querySelectorAll("head script[src], head link[rel=stylesheet], head link[rel=icon]"), (each) => each.src || each.href);
  const store = await caches.open("at-the-rig");
  await store.addAll([say.home, ...assets]);
  page.dataset.kept = "yes";
}

addEventListener("online", () => { network(); checkCodes(); });
addEventListener("offline", network);
network();
show();
/* The address of a label leads here with its code, once. */
const labelled = new URLSearchParams(location.search).get("sample");
if (labelled) {
  if (!problem({ sample: labelled }, "join")) put({ kind: "join", sample: labelled });
  else session.current = session.series.findIndex((each) => each.sample === code(labelled));
  checkCodes();
  history.replaceState(null, "", location.pathname);
  show();
}
find("setup").open = !session.rig || !session.series.length;
page.hidden = false;
keptTraces.look(traces());
checkCodes();
if ("serviceWorker" in navigator && navigator.onLine) keepPage();
