// Station pages work without this. With it: clocks count, a step opens when its time has come, a pour begins without
// asking the service, and cautions that were read on this device are folded.
"use strict";

import { instantText, nowMs } from "/static/station-clock.js";

const TICK_MS = 1000;
const SEEN = "pourbook-caution ";

// Hours, minutes and seconds that are left, the same in every language.
function leftText(ms) {
  const seconds = Math.max(0, Math.ceil(ms / 1000));
  const two = (number) => String(number).padStart(2, "0");
  return `${Math.floor(seconds / 3600)}:${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}`;
}

// The page says what the service's time was when it was made; the browser's steady clock goes on from there.
const loaded = performance.now();
const leftOf = (clock) => Number(clock.dataset.until) - Number(clock.dataset.now) - (performance.now() - loaded);

let asking = false;

// The part of the page around a clock that ran out, as the service shows it now.
async function renew(part) {
  if (asking) return;
  asking = true;
  try {
    const answer = await fetch(window.location.href, { headers: { accept: "text/html" } });
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById(part.id);
    if (answer.ok && fresh) {
      for (const clock of fresh.querySelectorAll("[data-until]")) {
        clock.dataset.now = String(Number(clock.dataset.now) - (performance.now() - loaded));
      }
      part.replaceWith(document.adoptNode(fresh));
    }
  } catch {
    // No answer: the clock stays at nothing left, and the link beside it asks again.
  } finally {
    asking = false;
  }
}

function tick() {
  for (const clock of document.querySelectorAll(".left[data-until]")) {
    const left = leftOf(clock);
    clock.textContent = leftText(left);
    if (left > 0 || clock.dataset.over) continue;
    clock.dataset.over = "yes";
    const part = clock.closest("[data-fresh]");
    if (part) renew(part);
    else open();
  }
}

// A pour whose clocks have all run out may be entered; the book is asked again when it is.
function open() {
  const running = [...document.querySelectorAll(".left[data-until]")].some((clock) => leftOf(clock) > 0);
  if (running) return;
  for (const button of document.querySelectorAll("button[data-enter], button[data-start]")) {
    button.disabled = false;
    button.removeAttribute("aria-disabled");
    button.removeAttribute("aria-describedby");
  }
}

if (document.querySelector(".left[data-until]")) tick();
setInterval(tick, TICK_MS);

// A pour begins: the instant is kept in the form, and the clock of the mould runs.
document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-start]");
  if (!button) return;
  event.preventDefault();
  const form = button.form;
  const now = nowMs();
  form.querySelector("[data-began]").value = instantText(now);
  const poured = form.querySelector("[data-poured]");
  poured.hidden = false;
  poured.querySelector("[data-poured-at]").textContent = new Date(now).toLocaleTimeString(document.documentElement.lang);
  const demould = Number(form.querySelector("select[name=model]").selectedOptions[0]?.dataset.demouldS || 0) * 1000;
  form.querySelector("#demould")?.remove();
  const local = form.querySelector("#demould-local");
  local.hidden = demould === 0;
  const clock = local.querySelector(".left");
  delete clock.dataset.over;
  const enter = form.querySelector("[data-enter]");
  if (demould === 0) return;
  clock.dataset.now = "0";
  clock.dataset.until = String(demould + (performance.now() - loaded));
  enter.disabled = true;
  enter.setAttribute("aria-disabled", "true");
  enter.setAttribute("aria-describedby", "demould-local");
  tick();
});

// Cautions stay on the page; after the first look on this device they are folded.
for (const caution of document.querySelectorAll(".cautions .caution")) {
  const name = SEEN + caution.querySelector("summary").textContent.trim();
  try {
    if (localStorage.getItem(name)) caution.open = false;
    else localStorage.setItem(name, "yes");
  } catch {
    break;
  }
}
