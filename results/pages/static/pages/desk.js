// The moderators' desk by keyboard. Without it every key's work is a link or a button as well.
"use strict";
const keys = document.querySelector(".keys");
const on = document.getElementById("keys-on");
const KEPT = "desk-keys";
on.checked = localStorage.getItem(KEPT) !== "off";
on.addEventListener("change", () => localStorage.setItem(KEPT, on.checked ? "on" : "off"));

const form = document.querySelector("form.decision");
const letters = JSON.parse(document.getElementById("letters")?.textContent || "{}");
const reason = form?.elements.reason;

// A letter that the moderator has not touched follows the decision; one that they wrote stays.
const untouched = () => !reason.value.trim() || Object.values(letters).some((each) => same(each, reason.value));
const same = (one, other) => one.replace(/\s+/g, " ").trim() === other.replace(/\s+/g, " ").trim();
form?.addEventListener("change", (event) => {
  if (event.target.name === "decision" && untouched()) reason.value = letters[event.target.value] || "";
});

function choose(decision) {
  const choice = form?.querySelector(`input[name=decision][value=${decision}]`);
  if (!choice) return;
  choice.checked = true;
  choice.dispatchEvent(new Event("change", { bubbles: true }));
  choice.scrollIntoView({ block: "center" });
  reason.focus();
}

const rows = [...document.querySelectorAll("#result_list tbody tr")];
// On a phone a case is a card: each of its figures says which column it stands in.
const headings = [...document.querySelectorAll("#result_list thead th")].map((each) => each.textContent.trim().toLowerCase());
rows.forEach((row) => [...row.cells].forEach((cell, place) => {
  if (place > 1) cell.dataset.of = headings[place];
}));
let at = -1;
function go(step) {
  if (!rows.length) return;
  rows[at]?.classList.remove("at");
  at = Math.min(Math.max(at + step, 0), rows.length - 1);
  rows[at].classList.add("at");
  rows[at].scrollIntoView({ block: "nearest" });
  rows[at].querySelector("th a")?.focus({ preventScroll: true });
}

const OF_A_CASE = {
  r: () => choose("release"), x: () => choose("reject"), h: () => choose("hold"), a: () => choose("ask"),
  d: () => document.getElementById("decide").scrollIntoView(),
  n: () => document.querySelector("a[rel=next]")?.click(),
  q: () => document.querySelectorAll(".breadcrumbs a")[1]?.click(),
};
const OF_THE_QUEUE = {
  j: () => go(1), k: () => go(-1),
  s: () => rows[at]?.querySelector(".action-select")?.click(),
  o: () => rows[at]?.querySelector("th a")?.click(),
};
const verbs = keys.dataset.of === "case" ? OF_A_CASE : OF_THE_QUEUE;
document.addEventListener("keydown", (event) => {
  if (event.key === "Enter" && event.ctrlKey && event.target === reason) {
    event.preventDefault();
    form.requestSubmit(form.querySelector("input[type=submit]"));
    return;
  }
  const writing = event.target.matches("textarea, select, input:not([type=checkbox], [type=radio])");
  if (!on.checked || writing || event.ctrlKey || event.altKey || event.metaKey) return;
  const verb = verbs[event.key];
  if (!verb) return;
  event.preventDefault();
  verb();
});
