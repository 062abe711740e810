// Station pages without a connection: the last one seen of each address, and the files that they load.
//
// The network comes first, always. What it gave is kept; only where it gives nothing (or a gateway says so) is the kept
// copy shown. An address is kept by what it is about (lot, unit, serial): notes of what was just done are left out.
"use strict";

const KEPT = "pourbook-stations";
const ABOUT = ["lot", "unit", "serial", "stage"];
const MOST = 60;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const asked = event.request;
  const address = new URL(asked.url);
  if (asked.method !== "GET" || address.origin !== self.location.origin) return;
  if (asked.mode === "navigate" && isStation(address)) event.respondWith(networkFirst(asked, nameOf(address)));
  else if (address.pathname.startsWith("/static/")) event.respondWith(networkFirst(asked, address.pathname));
});

// Pages that will be wanted next, as the page at hand says.
self.addEventListener("message", (event) => {
  const wanted = (event.data && event.data.keep) || [];
  event.waitUntil(Promise.all(wanted.slice(0, 10).map(async (text) => {
    const address = new URL(text, self.location.origin);
    if (address.origin !== self.location.origin || !isStation(address)) return;
    try {
      const answer = await fetch(address, { headers: { accept: "text/html" }, redirect: "manual" });
      await put(nameOf(address), answer);
    } catch {
      // It will be kept when it is looked at.
    }
  })));
});

function isStation(address) {
  return address.pathname === "/station" || address.pathname.startsWith("/station/");
}

function nameOf(address) {
  const about = new URLSearchParams();
  for (const name of ABOUT) {
    const value = address.searchParams.get(name);
    if (value) about.set(name, value);
  }
  const text = about.toString();
  return address.pathname + (text ? `?${text}` : "");
}

async function networkFirst(asked, name) {
  let answer = null;
  try {
    answer = await fetch(asked);
  } catch {
    // No connection: the kept copy, if there is one.
  }
  if (answer && ![502, 503, 504].includes(answer.status)) {
    await put(name, answer);
    return answer;
  }
  const kept = await (await caches.open(KEPT)).match(name);
  return kept || answer || notSeen();
}

async function put(name, answer) {
  const html = (answer.headers.get("content-type") || "").startsWith("text/html");
  if (answer.status !== 200 || answer.type !== "basic" || answer.redirected) return;
  if (!html && !name.startsWith("/static/")) return;
  const cache = await caches.open(KEPT);
  await cache.put(name, answer.clone());
  const names = await cache.keys();
  const pages = names.filter((one) => !new URL(one.url).pathname.startsWith("/static/"));
  for (const old of pages.slice(0, Math.max(0, pages.length - MOST))) await cache.delete(old);
}

function notSeen() {
  const words = `<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>No connection</title>
<link rel="stylesheet" href="/static/pages.css"></head><body><main id="main"><h1>No connection</h1>
<p>This page was not opened on this device before, so it cannot be shown now. What was recorded is kept and will be sent.</p>
<p lang="de">Diese Seite wurde auf diesem Gerät noch nicht geöffnet und kann jetzt nicht gezeigt werden. Was erfasst wurde,
ist aufbewahrt und wird gesendet.</p>
<p><a class="button" href="/station">Stations · Stationen</a></p></main></body></html>`;
  return new Response(words, { status: 503, headers: { "content-type": "text/html; charset=utf-8" } });
}
