// Forms of a station page as the queue leaves them: renewed for the next record, refused in words, filled again.
"use strict";

const REFILL = "pourbook-refill";

// A key as the service makes them; it names one record for ever.
export function freshKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return "page-" + [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

// The form's record is kept: the form is ready for the next one.
export function renewed(form) {
  form.reset();
  form.querySelector("input[name=key]").value = freshKey();
  noteOf(form, "queue-kept-note", {});
  form.querySelector("input:not([type=hidden]), select, textarea")?.focus();
}

// The service refused it: said above the form, which stays as it was typed, with a key for the corrected one.
export function showRefusal(form, answer) {
  form.querySelector("input[name=key]").value = freshKey();
  noteOf(form, "queue-refused-note", answer);
}

// Open the form of a refused record again, with what was typed in it.
export function refill(item) {
  sessionStorage.setItem(REFILL, JSON.stringify({ n: item.n, action: item.action, body: item.body }));
  window.location.assign(item.page);
}

function noteOf(form, template, said) {
  for (const old of document.querySelectorAll("[data-queue-note]")) old.remove();
  const note = document.getElementById(template).content.firstElementChild.cloneNode(true);
  note.dataset.queueNote = "";
  for (const place of note.querySelectorAll("[data-say]")) {
    const text = said[place.dataset.say] || "";
    place.textContent = text;
    if (!text) place.closest("p").hidden = true;
  }
  form.before(note);
  if (note.hasAttribute("data-focus")) note.focus();
}

function fill(form, fields) {
  for (const [name, value] of fields) {
    const found = form.elements.namedItem(name);
    // What a page itself puts into a form is right as it is now; of that only what the record is about comes back.
    if (found?.type === "hidden" && !found.hasAttribute("data-refill")) continue;
    const one = found instanceof RadioNodeList ? null : found;
    if (one?.type === "checkbox") one.checked = one.value === value;
    else if (found) found.value = value;
  }
}

const asked = sessionStorage.getItem(REFILL);
if (asked) {
  sessionStorage.removeItem(REFILL);
  const { action, body } = JSON.parse(asked);
  const form = [...document.querySelectorAll("form[data-queue]")].find((one) => one.getAttribute("action") === action);
  if (form) {
    fill(form, new URLSearchParams(body));
    form.dataset.refilled = "yes";
    form.scrollIntoView({ block: "center" });
  }
}
