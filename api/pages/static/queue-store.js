// What waits in this browser to be sent, and what was sent late: IndexedDB, one list for each account of this host.
//
// "waiting": n (order), key (idempotency key, once for ever), account, action, body (the very bytes that are sent, without
// the form token), what, since (ms), page, refused (null, or what the service said).
// "sent": key, account, what, said, next, at (ms), late (it had to wait); the newest few, so that a label can be printed.
"use strict";

const NAME = "pourbook-stations";
const SENT_KEPT = 30;

let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      const waiting = asked.result.createObjectStore("waiting", { keyPath: "n", autoIncrement: true });
      waiting.createIndex("key", "key", { unique: true });
      asked.result.createObjectStore("sent", { keyPath: "key" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opened;
}

// Run `work` on the two stores; its value comes once everything stands on disk.
async function within(mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(["waiting", "sent"], mode, { durability: "strict" });
    let value;
    transaction.oncomplete = () => resolve(value);
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error);
    work(transaction.objectStore("waiting"), transaction.objectStore("sent"), (found) => { value = found; });
  });
}

// Keep one; false where its key is kept or was sent already.
export async function keep(item) {
  try {
    return await within("readwrite", (waiting, sent, give) => {
      const before = sent.get(item.key);
      before.onsuccess = () => {
        give(!before.result);
        if (!before.result) waiting.add({ ...item, refused: null });
      };
    });
  } catch (error) {
    if (error && error.name === "ConstraintError") return false;
    throw error;
  }
}

// Everything that waits, of every account, in order.
export function everyWaiting() {
  return within("readonly", (waiting, _sent, give) => {
    const all = waiting.getAll();
    all.onsuccess = () => give(all.result);
  });
}

// The newest that were sent, newest first.
export async function everySent() {
  const found = await within("readonly", (_waiting, sent, give) => {
    const all = sent.getAll();
    all.onsuccess = () => give(all.result);
  });
  return found.sort((one, other) => other.at - one.at);
}

// It stands in the book: it waits no more.
export function markSent(item, answer, { at, late }) {
  return within("readwrite", (waiting, sent) => {
    waiting.delete(item.n);
    const { key, account, what } = item;
    sent.put({ key, account, what, said: answer.said, next: answer.next, at, late });
    const all = sent.getAll();
    all.onsuccess = () => {
      const old = all.result.sort((one, other) => other.at - one.at).slice(SENT_KEPT);
      for (const one of old) sent.delete(one.key);
    };
  });
}

export function markRefused(item, refused) {
  return within("readwrite", (waiting) => {
    waiting.put({ ...item, refused });
  });
}

// Somebody has seen to it.
export function setAside(n) {
  return within("readwrite", (waiting) => {
    waiting.delete(n);
  });
}
