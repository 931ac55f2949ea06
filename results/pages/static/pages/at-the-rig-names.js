/* At the rig: a line that the catalogue doesn't have is asked about as it is entered, and what is
   pulled can be renamed afterwards. */
"use strict";

const NEAR_LINES = 3;
/* Likeness from which a name may be meant, of 1; common practice, no source. */
const LIKE = 0.35;
const takenAsNew = new Set();

function foldedName(name) {
  return name.normalize("NFKC").toLowerCase().replace(/\s+/g, "");
}

/* Dice's coefficient of the pairs of letters of two names (Dice 1945). */
function likeness(one, other) {
  const pairs = (name) => Array.from({ length: Math.max(name.length - 1, 0) }, (_, at) => name.slice(at, at + 2));
  const [left, right] = [pairs(foldedName(one)), pairs(foldedName(other))];
  const shared = left.filter((pair) => right.includes(pair)).length;
  return left.length + right.length ? (2 * shared) / (left.length + right.length) : 0;
}

function catalogueLines() {
  return Array.from(document.querySelectorAll("#lines option"), (each) => each.value);
}

/* Only where the page has the whole catalogue can it say that a line is not in it. */
function isUnknown(line) {
  if (!line || find("lines").dataset.whole !== "yes") return false;
  return !catalogueLines().some((each) => foldedName(each) === foldedName(line));
}

function nearLines(line) {
  const scored = catalogueLines().map((name) => [likeness(line, name), name]).filter(([score]) => score >= LIKE);
  return scored.sort(([one], [other]) => other - one).slice(0, NEAR_LINES).map(([, name]) => name);
}

/* The first field of a form with a line that is asked about; none where all are known. */
function unknownField(form) {
  const fields = Array.from(form.querySelectorAll("input[list=lines]"));
  return fields.find((field) => isUnknown(field.value.trim()) && !takenAsNew.has(foldedName(field.value)));
}

/* Asks in the form whether a line is new or misspelt; whether it asked. */
function askedAboutLine(form) {
  const asking = form.querySelector(".near");
  const field = unknownField(form);
  asking.hidden = !field;
  if (!field) return false;
  const take = (text, what) => {
    const button = element("button", text, "quiet");
    button.type = "button";
    button.addEventListener("click", () => { what(); form.requestSubmit(); });
    return button;
  };
  const line = field.value.trim();
  const near = nearLines(line).map((name) => take(name, () => { field.value = name; }));
  const sentence = (near.length ? say.unknownLine : say.unknownAlone).replace("[line]", line);
  const buttons = element("p", "", "buttons");
  buttons.append(...near, take(say.isNew, () => takenAsNew.add(foldedName(line))));
  asking.replaceChildren(element("p", sentence), buttons);
  return true;
}

/* A line that is renamed and was unknown is renamed wherever it stands. */
function renameLines(from, to) {
  if (!isUnknown(from) || from === to) return;
  for (const series of session.series) {
    for (const key of ["line", "main", "leader"]) if (series[key] === from) series[key] = to;
  }
}

/* The series that is being changed, and the part of the page it is changed in. */
let changing = null;
let changedIn = null;

/* The form that a series was entered in, filled with what it says. */
function change() {
  const series = session.series[session.current];
  const part = find(series.kind === "straight" ? "add-straight" : "add-join");
  const form = part.querySelector("form");
  for (const field of form.querySelectorAll("[name]")) {
    if (field.type === "checkbox") field.checked = Boolean(series[field.name]);
    else field.value = series[field.name] || "";
  }
  changing = series;
  changedIn = part;
  form.querySelector("button:not([type])").textContent = say.change;
  part.open = true;
  form.querySelector("[name]").focus();
}

/* What was entered replaces what the series said that is being changed here; whether one is. */
function changed(form, entered) {
  const series = changing;
  if (!series || !changedIn.contains(form) || !session.series.includes(series)) return false;
  for (const key of ["line", "main", "leader"]) if (series[key]) renameLines(series[key], entered[key] || series[key]);
  Object.assign(series, entered);
  session.current = session.series.indexOf(series);
  keep();
  show();
  return true;
}

/* Closed, the form is for adding again. */
for (const part of document.querySelectorAll("#add-straight, #add-join")) {
  part.addEventListener("toggle", () => {
    if (part.open || part !== changedIn) return;
    changing = null;
    changedIn = null;
    part.querySelector("form button:not([type])").textContent = say.add;
  });
}

find("change").addEventListener("click", change);
