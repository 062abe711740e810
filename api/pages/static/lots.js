// What a page leaves to be counted is fetched once the page is there; without this it is a link.
"use strict";

for (const part of document.querySelectorAll("[data-fetch]")) {
  const wait = part.querySelector("[data-wait]");
  part.setAttribute("aria-busy", "true");
  wait.hidden = false;
  fetch(part.dataset.fetch, { headers: { accept: "text/html" } })
    .then((answer) => (answer.ok && !answer.redirected ? answer.text() : Promise.reject(answer.status)))
    .then((text) => {
      const made = document.createElement("template");
      made.innerHTML = text;
      part.replaceChildren(made.content);
    })
    .catch(() => {
      wait.hidden = true;
    })
    .finally(() => part.setAttribute("aria-busy", "false"));
}
