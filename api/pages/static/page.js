// Every page works without this. With it: what was refused or done takes the focus, and a form is sent once.
"use strict";

document.querySelector("[data-focus]")?.focus();

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
});

// Back from the browser's memory: the form may be sent again.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
  }
});
