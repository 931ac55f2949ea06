/* While a session is worked out its progress is looked up; without this "Look again" does. */
"use strict";

const progress = document.getElementById("progress");
const timer = setInterval(async () => {
  const answer = await fetch(location.href).catch(() => null);
  if (!answer?.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const found = page.getElementById("progress");
  if (!found) return;
  progress.replaceChildren(...found.childNodes);
  if (!("unfinished" in found.dataset)) clearInterval(timer);
}, 2000);
