// Readings by keyboard, by a gauge that types, or by hand: each Enter goes on to the next value that is missing, and the
// verdict comes from the service after each, written nowhere.
"use strict";

const form = document.getElementById("readings");
const verdict = document.getElementById("verdict");
const away = document.getElementById("verdict-away");
const fields = [...form.querySelectorAll("[data-value]:enabled")];

let latest = 0;
let running = null;

async function judge() {
  const mine = ++latest;
  running?.abort();
  running = new AbortController();
  verdict.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch("/station/inspection/verdict", {
      method: "POST", body: new URLSearchParams(new FormData(form)), redirect: "manual", signal: running.signal,
      headers: { "x-fragment": "1", "x-form-token": form.elements.form_token.value },
    });
    if (mine !== latest) return;
    if (answer.ok) show(await answer.text());
    away.hidden = answer.ok;
  } catch (error) {
    if (mine === latest && error.name !== "AbortError") away.hidden = false;
  } finally {
    if (mine === latest) verdict.removeAttribute("aria-busy");
  }
}

function show(text) {
  const part = new DOMParser().parseFromString(text, "text/html");
  verdict.replaceChildren(...part.body.childNodes);
  const wrong = new Map([...verdict.querySelectorAll("[data-wrong]")].map((one) => [one.dataset.wrong, one]));
  for (const field of fields) {
    const reading = field.closest(".reading");
    const bad = wrong.has(field.name) || wrong.has(`gauge.${reading.dataset.quantity}`);
    reading.classList.toggle("wrong", bad);
    if (bad) field.setAttribute("aria-invalid", "true");
    else field.removeAttribute("aria-invalid");
  }
}

function go(from) {
  const start = fields.indexOf(from) + 1;
  const order = [...fields.slice(start), ...fields.slice(0, start)];
  const missing = (field) => !field.value.trim() && field.closest("[data-needed]");
  const next = order.find(missing);
  (next || document.getElementById("enter-all")).focus();
}

// Several values of one quantity: what goes with several is shown once there are.
function several(field) {
  const many = field.value.split(";").filter((one) => one.trim()).length > 1;
  for (const one of field.closest(".reading").querySelectorAll("[data-several]")) {
    one.parentElement.hidden = !many;
  }
}

for (const field of fields) {
  field.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.isComposing) return;
    event.preventDefault();
    if (field.value.trim().endsWith(";")) field.value = field.value.trim().replace(/;+$/, "");
    const gauge = form.elements[`gauge.${field.closest(".reading").dataset.quantity}`];
    if (field.value.trim() && !gauge.value) gauge.focus();
    else if (field.value.trim()) go(field);
  });
  field.addEventListener("change", judge);
  field.addEventListener("input", () => several(field));
  const another = field.closest(".reading").querySelector("[data-another]");
  another.hidden = false;
  another.addEventListener("click", () => {
    if (field.value.trim()) field.value = `${field.value.trim().replace(/;+$/, "")}; `;
    field.focus();
    field.setSelectionRange(field.value.length, field.value.length);
  });
  several(field);
}

for (const one of form.querySelectorAll("select, #conditions input")) one.addEventListener("change", judge);
for (const one of form.querySelectorAll("#conditions input, input[data-several]")) {
  one.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    document.getElementById("enter-all").focus();
  });
}

form.addEventListener("queue:kept", () => {
  for (const field of fields) field.closest(".reading").removeAttribute("data-needed");
});
document.getElementById("judge").hidden = true;
if (!document.activeElement || document.activeElement === document.body) form.querySelector("[data-first]")?.focus();

// The next balls' pages are kept in this browser, for when the connection is lost between them.
const following = [...document.querySelectorAll("#following a")].map((link) => link.href);
if (following.length) navigator.serviceWorker?.ready.then((worker) => worker.active?.postMessage({ keep: following }));
