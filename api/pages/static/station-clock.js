// The station's clock: how far the device's own clock is from the service's, and how surely that is known.
//
// Measured against the service: the answer was made between the question and its arrival, so the middle of the two is
// wrong by half the way at most. While the page lives, time goes on by the browser's steady clock; after that, by the
// device's clock and the difference that was measured last. Since then it may have gone wrong by one part in ten thousand
// (common practice, no source: a quartz clock keeps twice that well).  Where the two part, the device has slept, and the
// steady clock with it, or its own clock was set: its own is taken, and what they differ by counts as error.
"use strict";

const KEPT = "pourbook-clock";
const DRIFT = 1e-4;
const PARTED_MS = 1000;

let anchor = null;

// What stands for the service's time now, POSIX milliseconds; the device's own where nothing was ever measured.
export function nowMs() {
  const kept = remembered();
  const byDevice = Date.now() + (kept ? kept.offset : 0);
  if (!anchor) return byDevice;
  const bySteady = anchor.ms + (performance.now() - anchor.steady);
  return Math.abs(bySteady - byDevice) > PARTED_MS ? byDevice : bySteady;
}

// How far off that may be, in whole seconds rounded up; null where it was never measured.
export function errorS() {
  const kept = remembered();
  if (!kept) return null;
  const now = nowMs();
  const since = Math.max(0, now - kept.at);
  const parted = anchor ? Math.abs(anchor.ms + (performance.now() - anchor.steady) - now) : 0;
  return Math.min(86400, Math.ceil((kept.error + since * DRIFT + parted) / 1000));
}

// Take over one measurement: `before` and `after` by the steady clock, around an answer that said `serverMs`.
export function measured(serverMs, before, after) {
  const middle = (before + after) / 2;
  anchor = { ms: serverMs, steady: middle };
  const offset = serverMs - (Date.now() - (performance.now() - middle));
  try {
    localStorage.setItem(KEPT, JSON.stringify({ offset, error: (after - before) / 2, at: serverMs }));
  } catch {
    // No room to remember it: the next page measures again.
  }
}

// An instant as records have it: YYYY-MM-DDTHH:MM:SS.mmm+HH:MM, with the offset of the place.
export function instantText(ms) {
  const moment = new Date(ms);
  const offset = -moment.getTimezoneOffset();
  const local = new Date(ms + offset * 60000).toISOString().slice(0, 23);
  const size = Math.abs(offset);
  const two = (number) => String(number).padStart(2, "0");
  return `${local}${offset < 0 ? "-" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}

function remembered() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEPT));
    return kept && Number.isFinite(kept.offset) && Number.isFinite(kept.error) && Number.isFinite(kept.at) ? kept : null;
  } catch {
    return null;
  }
}
