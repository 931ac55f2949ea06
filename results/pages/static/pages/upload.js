/* A file may be dropped on the form; without this the plain file field does the same. */
"use strict";

for (const form of document.querySelectorAll("form[data-drop]")) {
  const target = form.querySelector(".drop");
  const field = form.querySelector("input[type=file]");
  const over = (is) => target.classList.toggle("over", is);

  for (const kind of ["dragenter", "dragover"]) {
    target.addEventListener(kind, (event) => { event.preventDefault(); over(true); });
  }
  target.addEventListener("dragleave", () => over(false));
  target.addEventListener("drop", (event) => {
    event.preventDefault();
    over(false);
    if (event.dataTransfer.files.length === 1) {
      field.files = event.dataTransfer.files;
      form.requestSubmit();
    }
  });
  target.classList.add("ready");
}
