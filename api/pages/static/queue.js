// What is recorded at a station goes through a list in this browser: it is kept first, then sent, in order, each once.
//
// A form with the mark data-queue is taken over when it is sent. Its fields (without the form token) are kept under its
// idempotency key, then sent as those very bytes until the service has answered; so a lost answer costs nothing and
// enters nothing twice. What the service refuses stays in the list until somebody corrects it or sets it aside.
// A list belongs to an account: what one account recorded is never sent in the name of another.
//
// Pages hear of it on the form: "queue:done" (it stands), "queue:kept" (it waits), "queue:refused"; a listener that
// calls preventDefault does what follows itself.
"use strict";

import { errorS, instantText, measured, nowMs } from "/static/station-clock.js";
import { everySent, everyWaiting, keep, markRefused, markSent, setAside } from "/static/queue-store.js";
import { freshKey, refill, renewed, showRefusal } from "/static/queue-forms.js";
import { showList } from "/static/queue-list.js";

const HERE = "/station/here";
const NO_ANSWER_MS = 15000;
const FIRST_MS = 2000;
const TURN_MS = 3000;
const PAUSES_S = [2, 4, 8, 15, 30, 60];

const place = document.getElementById("queue");
const me = { account: place.dataset.account, token: place.dataset.formToken };
const tapped = new Map(); // key to the form of this page that waits for its answer
const talk = "BroadcastChannel" in window ? new BroadcastChannel("pourbook-queue") : null;

let standing = "here"; // or "away", or "signed-out"
let failures = 0;
let timer = 0;
let turn = Promise.resolve();

// Ask who is signed in here and what time it is. "away" without an answer, "signed-out" without an account.
async function look() {
  const before = performance.now();
  let answer;
  try {
    answer = await fetch(HERE, {
      cache: "no-store", redirect: "manual", headers: { "x-queued": "1" }, signal: AbortSignal.timeout(NO_ANSWER_MS),
    });
  } catch {
    return "away";
  }
  const after = performance.now();
  if (answer.type === "opaqueredirect" || answer.status === 401 || answer.status === 403) return "signed-out";
  if (!answer.ok) return "away";
  const said = await answer.json();
  measured(said.now_ms, before, after);
  if (said.account !== me.account) return "signed-out";
  me.token = said.form_token;
  for (const field of document.querySelectorAll("input[name=form_token]")) field.value = me.token;
  return "here";
}

// Send one. What came of it: {to: "done" | "refused" | "away" | "signed-out", ...}.
async function send(item) {
  let answer;
  try {
    answer = await fetch(item.action, {
      method: "POST", body: item.body, redirect: "manual", signal: AbortSignal.timeout(NO_ANSWER_MS),
      headers: {
        "content-type": "application/x-www-form-urlencoded;charset=UTF-8", "accept": "application/json",
        "x-queued": "1", "x-form-token": me.token,
      },
    });
  } catch {
    return { to: "away" };
  }
  if ([429, 502, 503, 504].includes(answer.status)) return { to: "away" };
  if (answer.type === "opaqueredirect" || answer.status === 401) return { to: "signed-out" };
  let said = null;
  try {
    said = await answer.json();
  } catch {
    if (answer.ok) return { to: "away" }; // cut off in the middle: it is asked again
  }
  if (said && said.ok === true) return { to: "done", ...said };
  if (answer.status === 403 && !(said && said.ok === false)) return { to: "signed-out" };
  const problem = (said && (said.problem || said)) || {};
  return { to: "refused", said: problem.detail || String(answer.status), mend: problem.mend || "", code: problem.code || "" };
}

// Send what waits, in order. One tab at a time does it, where the browser can tell (Web Locks; else the key protects).
// Who recorded something is not left without a word while another tab, or an earlier question, is without an answer.
function sendAll() {
  const waits = setTimeout(async () => {
    tellKept();
    await show();
  }, TURN_MS);
  const work = () => {
    clearTimeout(waits);
    return sendInOrder();
  };
  turn = turn.then(() => alone(work)).catch((error) => console.error("queue:", error)).finally(() => clearTimeout(waits));
  return turn;
}

async function alone(work) {
  return navigator.locks ? navigator.locks.request(`pourbook-queue ${me.account}`, work) : work();
}

async function sendInOrder() {
  const mine = (await everyWaiting()).filter((item) => item.account === me.account && !item.refused);
  if (standing !== "here") standing = await look();
  let late = false;
  for (const item of mine) {
    if (standing !== "here") break;
    let answer = await send(item);
    if (answer.to === "signed-out" && (standing = await look()) === "here") answer = await send(item);
    if (answer.to === "done") {
      const waited = !tapped.has(item.key);
      await markSent(item, answer, { at: nowMs(), late: waited });
      late ||= waited;
      tell(item.key, answer);
    } else if (answer.to === "refused") {
      if (tapped.has(item.key)) await setAside(item.n);
      else await markRefused(item, { said: answer.said, mend: answer.mend, code: answer.code });
      tell(item.key, answer);
    } else {
      standing = answer.to;
    }
  }
  await missed();
  await settle();
  if (late) document.dispatchEvent(new CustomEvent("queue:sent-late"));
}

// Forms of this page whose record another tab sent.
async function missed() {
  if (!tapped.size) return;
  const sent = new Map((await everySent()).map((one) => [one.key, one]));
  for (const key of [...tapped.keys()]) if (sent.has(key)) tell(key, { to: "done", ...sent.get(key) });
}

// Tell the page's own form what became of it, once.
function tell(key, answer) {
  const form = tapped.get(key);
  if (!form) return;
  tapped.delete(key);
  delete form.dataset.sent;
  const heard = new CustomEvent(`queue:${answer.to}`, { bubbles: true, cancelable: true, detail: { key, ...answer } });
  if (!form.dispatchEvent(heard)) return;
  if (answer.to === "done") window.location.assign(answer.next || window.location.href);
  else if (answer.to === "refused") showRefusal(form, answer);
  else renewed(form);
}

// What this page recorded and waits is kept: its forms are free for the next.
function tellKept() {
  for (const key of [...tapped.keys()]) tell(key, { to: "kept" });
}

// What could not be sent stays and is tried again, at growing pauses.
async function settle() {
  tellKept();
  failures = standing === "here" ? 0 : failures + 1;
  clearTimeout(timer);
  if (standing === "away") timer = setTimeout(sendAll, 1000 * PAUSES_S[Math.min(failures, PAUSES_S.length) - 1]);
  await show();
  talk?.postMessage("changed");
}

async function show() {
  const waiting = await everyWaiting();
  const sent = (await everySent()).filter((one) => one.account === me.account && one.late);
  showList(place, { waiting, sent, standing, account: me.account });
}

const first = look();

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (event.defaultPrevented || !form.hasAttribute("data-queue") || event.submitter?.hasAttribute("formaction")) return;
  event.preventDefault();
  const fields = new URLSearchParams(new FormData(form, event.submitter));
  fields.delete("form_token");
  const tap = performance.now();
  // A device that was never measured may be wrong by months: what this page asks first is waited for, if not for long.
  if (errorS() === null) await Promise.race([first, new Promise((done) => setTimeout(done, FIRST_MS))]);
  const at = nowMs() - (performance.now() - tap);
  if (!fields.get("at")) fields.set("at", instantText(at));
  const error = errorS();
  if (error !== null && !fields.get("clock_error_s")) fields.set("clock_error_s", String(error));
  if (!fields.get("key")) fields.set("key", freshKey());
  const key = fields.get("key");
  const item = {
    key, account: me.account, body: fields.toString(),
    action: new URL(form.getAttribute("action") || "", window.location.href).pathname,
    what: form.dataset.what || document.title, since: at, page: window.location.pathname + window.location.search,
  };
  tapped.set(key, form);
  try {
    await keep(item);
  } catch (failure) {
    // Nothing can be kept in this browser: the form goes as it is, as without this script.
    console.error("queue:", failure);
    form.submit();
    return;
  }
  await sendAll();
});

place.addEventListener("click", async (event) => {
  const button = event.target.closest("button[data-do]");
  if (!button) return;
  const n = Number(button.closest("li")?.dataset.n);
  const item = (await everyWaiting()).find((one) => one.n === n);
  if (button.dataset.do === "send") {
    standing = await look();
    await sendAll();
  } else if (item && button.dataset.do === "again") {
    await markRefused(item, null);
    await sendAll();
  } else if (item && button.dataset.do === "correct") {
    refill(item);
  } else if (item && button.dataset.do === "aside") {
    await setAside(n);
    await show();
    talk?.postMessage("changed");
  }
});

talk?.addEventListener("message", async () => {
  await missed();
  await show();
});
window.addEventListener("online", () => {
  standing = "away";
  sendAll();
});
// Back at the device: it may have slept, and its clocks with it.
document.addEventListener("visibilitychange", async () => {
  if (document.visibilityState !== "visible") return;
  standing = await look();
  await sendAll();
});
window.addEventListener("offline", () => {
  standing = "away";
  show();
});

if ("serviceWorker" in navigator) {
  navigator.serviceWorker.register("/static/stations-worker.js", { scope: "/station" }).catch(() => {});
  // Who signs out here leaves no page behind that the next one could see.
  document.querySelector("form[action='/sign-out']")?.addEventListener("submit", () => caches.delete("pourbook-stations"));
}

standing = await first;
document.documentElement.dataset.station = standing;
await sendAll();
