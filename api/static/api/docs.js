// What the library's page keeps from a keyboard or a screen reader, put right as it is drawn.
"use strict";
function improve() {
  // Each operation is a button with a link in it; the button does the work of both.
  document.querySelectorAll("button a[href]").forEach((each) => { each.removeAttribute("href"); each.removeAttribute("tabindex"); });
  document.querySelectorAll("h3.opblock-tag").forEach((each) => each.setAttribute("aria-level", "2"));
  document.querySelectorAll("section.models h4").forEach((each) => each.setAttribute("aria-level", "2"));
  for (const [place, name] of [[".information-container", "About the API"], [".schemes-server-container", "Server and signing in"]]) {
    const found = document.querySelector(place);
    found?.setAttribute("role", "region");
    found?.setAttribute("aria-label", name);
  }
  document.getElementById("servers")?.setAttribute("aria-label", "Server");
}
new MutationObserver(improve).observe(document.getElementById("swagger-ui"), { childList: true, subtree: true });
improve();
