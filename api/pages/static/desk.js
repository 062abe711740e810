// The desk and containment. Without this every part has a link, and every form can be sent.
"use strict";

const FAILED = Symbol("failed");

// A part that takes a while: fetched when the page is there, put in its place, and said to be there.
async function fetchPart(place, address) {
  const newest = (place.newest = Symbol("asked"));
  place.setAttribute("aria-busy", "true");
  const answer = await fetch(address, { headers: { accept: "text/html" } }).catch(() => FAILED);
  const text = answer === FAILED ? "" : await answer.text();
  if (place.newest !== newest) return;
  const read = new DOMParser().parseFromString(text, "text/html");
  const whole = read.querySelector("main");
  const told = document.createElement("p");
  told.setAttribute("role", "status");
  if (answer === FAILED || answer.redirected || (whole && answer.ok) || (!whole && !answer.ok)) {
    told.textContent = place.dataset.failed;
    told.className = "refused";
    place.replaceChildren(told);
  } else {
    told.textContent = place.dataset.here;
    told.className = "out-of-sight";
    for (const heading of whole ? whole.querySelectorAll("h1") : []) heading.outerHTML = `<p><strong>${heading.innerHTML}</strong></p>`;
    place.replaceChildren(told, ...(whole ?? read.body).childNodes);
  }
  place.setAttribute("aria-busy", "false");
}

for (const place of document.querySelectorAll("[data-later]")) {
  fetchPart(place, place.dataset.later);
}

// What the terms say depends on what is typed: asked anew when one of these fields is left.
const answer = document.querySelector("[data-answers]");
if (answer) {
  const form = document.getElementById(answer.dataset.answers);
  form.addEventListener("change", (event) => {
    if (!["mode", "bought_on", "market"].includes(event.target.name)) return;
    const asked = new URLSearchParams({ part: "yes" });
    for (const name of ["unit", "serial", "bought_on", "market", "mode"]) asked.set(name, form.elements[name].value);
    if (asked.get("unit") || asked.get("serial")) fetchPart(answer.querySelector("[data-later]") ?? answer, `${form.action}?${asked}`);
  });
}

// Answers of a consignee: how many of each, and that they add up.
const tally = document.querySelector("[data-tally]");
if (tally) {
  const form = tally.closest("form");
  const count = () => {
    const said = {};
    for (const choice of form.querySelectorAll("select[data-ball]")) said[choice.value] = (said[choice.value] ?? 0) + 1;
    for (const place of tally.querySelectorAll("[data-of]")) place.textContent = said[place.dataset.of] ?? 0;
  };
  form.addEventListener("change", count);
  count();
}

// A file is tried without leaving the page, so that it need not be chosen again to be taken over.
const trial = document.querySelector("[data-trial]");
if (trial) {
  const form = trial.closest("form");
  const place = document.getElementById(trial.dataset.trial);
  form.addEventListener("submit", async (event) => {
    if (event.submitter !== trial) return;
    event.preventDefault();
    // It was not sent (page.js): the other button still may.
    setTimeout(() => delete form.dataset.sent);
    place.setAttribute("aria-busy", "true");
    place.textContent = trial.dataset.wait;
    const body = new FormData(form, trial);
    const reply = await fetch(form.action, { method: "POST", body, headers: { accept: "text/html" } }).catch(() => FAILED);
    const read = new DOMParser().parseFromString(reply === FAILED ? "" : await reply.text(), "text/html");
    const found = read.getElementById(place.id) ?? read.querySelector(".refused");
    if (found) place.replaceChildren(...(found.id ? found.childNodes : [found]));
    else place.textContent = trial.dataset.failed;
    place.setAttribute("aria-busy", "false");
    place.focus();
  });
}

// A form that can be sent in several ways, one of them a file: it may be sent again.
for (const form of document.querySelectorAll("form[data-many]")) {
  form.addEventListener("submit", () => setTimeout(() => delete form.dataset.sent, 1000));
}

// An import at work: look again until it is done.
const atWork = document.querySelector("[data-at-work]");
if (atWork) setTimeout(() => location.reload(), 2000);
