// Engraving: "Engraved" brings the read-back into the same page, and a wrong one is refused at once, without a connection
// too. Numbers come from those in hand; one that this browser has registered, or still waits to send, is not shown again.
"use strict";

import { errorS, instantText, nowMs } from "/static/station-clock.js";
import { freshKey } from "/static/queue-forms.js";
import { everyWaiting } from "/static/queue-store.js";

const USED = "pourbook-used-numbers";
const MOST_USED = 300;

const shown = document.getElementById("number");
const step = document.getElementById("step-engraved");
const read = document.getElementById("step-read");

if (shown) begin();

async function begin() {
  const queued = (await everyWaiting().catch(() => [])).map((item) => new URLSearchParams(item.body).get("serial"));
  const taken = new Set([...used(), ...queued.filter(Boolean)]);
  if (read.dataset.refilled) again();
  else if (taken.has(shown.dataset.serial)) next(taken);
  step.addEventListener("submit", engraved);
  read.addEventListener("submit", compare);
  read.addEventListener("queue:kept", kept);
  read.addEventListener("queue:done", (event) => remember(event.detail.said && read.elements.serial.value));
  document.getElementById("step-back").addEventListener("click", back);
  document.addEventListener("queue:sent-late", () => { if (read.hidden) window.location.reload(); });
  countDown();
  onlyHere();
  if (!read.hidden && !read.elements.at.value) stamp();
}

// The tap: its instant is that of the record; then the number is read back.
function engraved(event) {
  event.preventDefault();
  event.stopPropagation();
  read.elements.way.value = event.submitter?.value === "done" ? "done" : "";
  stamp();
  step.hidden = true;
  read.hidden = false;
  read.elements.read.focus();
}

// The form of a refused record: it is about a ball that bears its number already.
function again() {
  const serial = read.elements.serial.value;
  shown.textContent = serial;
  shown.dataset.serial = serial;
  step.hidden = true;
  read.hidden = false;
  read.elements.read.focus();
}

function stamp() {
  read.elements.at.value = instantText(nowMs());
  const error = errorS();
  if (error === null) return;
  let field = read.elements.clock_error_s;
  if (!field) {
    field = document.createElement("input");
    field.type = "hidden";
    field.name = "clock_error_s";
    read.append(field);
  }
  field.value = String(error);
}

function back(event) {
  event.preventDefault();
  read.hidden = true;
  step.hidden = false;
  step.querySelector("button:enabled")?.focus();
}

// As the service does: without spaces and hyphens, in capitals; of a label's address, the number in it.
function plain(text) {
  const address = /^https?:\/\/.*\/21\/([^/?#]+)/i.exec(text.trim());
  if (address) return decodeURIComponent(address[1]);
  return text.replace(/[\s-]/g, "").replace(/[a-z]/g, (letter) => letter.toUpperCase());
}

function compare(event) {
  for (const old of read.querySelectorAll("[data-compared]")) old.remove();
  const wanted = read.elements.serial.value;
  const found = plain(read.elements.read.value);
  if (found === wanted) return;
  event.preventDefault();
  event.stopPropagation();
  const told = document.getElementById("comparison-template").content.firstElementChild.cloneNode(true);
  const row = (name) => told.querySelector(`[data-row=${name}]`);
  const head = told.querySelector("thead tr");
  const words = row("same").dataset;
  const list = told.querySelector("[data-differences]");
  for (let place = 0; place < Math.max(wanted.length, found.length); place += 1) {
    const [one, other] = [wanted[place] || "–", found[place] || "–"];
    const differs = one !== other;
    const number = document.createElement("th");
    number.scope = "col";
    number.textContent = String(place + 1);
    head.append(number);
    row("shown").append(cell(one, false));
    row("read").append(cell(other, differs));
    row("same").append(compared(differs, differs ? words.differs : words.same));
    if (differs) list.append(difference(list.dataset.words, { place: place + 1, shown: one, read: other }));
  }
  read.prepend(told);
  read.elements.read.select();
  read.elements.read.focus();
}

function compared(differs, word) {
  const one = cell("", differs);
  const sign = document.createElement("span");
  sign.setAttribute("aria-hidden", "true");
  sign.textContent = differs ? "≠" : "=";
  const words = document.createElement("span");
  words.className = "out-of-sight";
  words.textContent = word;
  one.append(sign, words);
  return one;
}

function difference(words, said) {
  const nothing = document.getElementById("comparison-template").dataset.nothing;
  const one = document.createElement("li");
  one.textContent = words.replace(/\{(\w+)\}/g, (_, name) => (said[name] === "–" ? nothing : String(said[name])));
  return one;
}

function cell(text, differs) {
  const one = document.createElement("td");
  one.textContent = text;
  if (differs) one.className = "differs";
  return one;
}

// Registered without a connection: the next number, for the next ball.
function kept(event) {
  event.preventDefault();
  const serial = read.elements.serial.value;
  remember(serial);
  const note = document.getElementById("queue-kept-note").content.firstElementChild.cloneNode(true);
  note.dataset.queueNote = "";
  for (const old of document.querySelectorAll("[data-queue-note]")) old.remove();
  shown.before(note);
  const unit = read.elements.unit;
  if (unit && unit.value) unit.querySelector(`option[value="${CSS.escape(unit.value)}"]`)?.remove();
  const place = read.elements.place;
  if (place && place.value) place.value = String(Number(place.value) + 1);
  const left = document.getElementById("left");
  left.dataset.leftCount = String(Number(left.dataset.leftCount) - 1);
  left.textContent = left.dataset.leftCount;
  next(new Set(used()));
}

function next(taken) {
  const number = [...document.querySelectorAll("[data-number]")].find((one) => !taken.has(one.dataset.number));
  read.hidden = true;
  read.elements.read.value = "";
  read.elements.at.value = "";
  read.elements.key.value = freshKey();
  step.hidden = !number;
  document.getElementById("no-number").hidden = Boolean(number);
  shown.hidden = !number;
  if (!number) return;
  const serial = number.dataset.number;
  number.remove();
  shown.textContent = serial;
  shown.dataset.serial = serial;
  step.elements.engraved.value = serial;
  read.elements.serial.value = serial;
  read.dataset.what = read.dataset.whatForm.replace("#", serial);
  step.querySelector("button:enabled")?.focus();
}

function used() {
  try {
    return JSON.parse(localStorage.getItem(USED)) || [];
  } catch {
    return [];
  }
}

function remember(serial) {
  if (!serial) return;
  const all = [...used().filter((one) => one !== serial), serial].slice(-MOST_USED);
  localStorage.setItem(USED, JSON.stringify(all));
}

// What the plan forbids until an instant: counted down, and looked at again when it has come.
function countDown() {
  const forbidden = document.querySelector("[data-until]");
  if (!forbidden) return;
  const until = Number(forbidden.dataset.until);
  const words = forbidden.querySelector("[data-left]");
  const tick = () => {
    const left = Math.ceil((until - nowMs()) / 1000);
    if (left <= 0) {
      window.location.reload();
      return;
    }
    const two = (number) => String(number).padStart(2, "0");
    words.textContent = `${Math.floor(left / 3600)}:${two(Math.floor(left / 60) % 60)}:${two(left % 60)}`;
    setTimeout(tick, 1000);
  };
  if (until > nowMs()) tick();
}

// One window of a browser engraves a lot: two would be shown the same number. The other waits until this one is closed.
function onlyHere() {
  if (!navigator.locks) return;
  const buttons = [...step.querySelectorAll("button:enabled"), ...read.querySelectorAll("button:enabled")];
  const told = document.getElementById("another-tab");
  const waits = setTimeout(() => {
    told.hidden = false;
    for (const button of buttons) button.disabled = true;
  }, 1000);
  navigator.locks.request(`pourbook-engraving ${read.elements.lot.value}`, () => {
    clearTimeout(waits);
    // The other window may have registered the number that is shown here.
    if (!told.hidden) window.location.reload();
    return new Promise(() => {});
  });
}
