// Checks a receipt in the browser: leaf hash, inclusion proof (RFC 9162, 2.1.3.2), signed note with Ed25519 (C2SP).
"use strict";

const SIGNATURE_KIND = 1;

function bytesOf(base64) {
  if (!/^(?:[A-Za-z0-9+/]{4})*(?:[A-Za-z0-9+/]{2}==|[A-Za-z0-9+/]{3}=)?$/.test(base64)) {
    throw new Error("base64");
  }
  return Uint8Array.from(atob(base64), (sign) => sign.charCodeAt(0));
}

function joined(...parts) {
  const whole = new Uint8Array(parts.reduce((length, part) => length + part.length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}

const hexOf = (bytes) => [...bytes].map((one) => one.toString(16).padStart(2, "0")).join("");
const fromHex = (hex) => Uint8Array.from(hex.match(/../g), (pair) => parseInt(pair, 16));
const sha256 = async (bytes) => new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
const text = new TextEncoder();

/** The parts of a receipt; throws on another form. */
function parseReceipt(receipt) {
  const cut = receipt.indexOf("\n\n");
  const lines = receipt.slice(0, cut).split("\n");
  if (cut < 0 || lines.shift() !== "c2sp.org/tlog-proof@v1") throw new Error("form");
  if (lines[0]?.startsWith("extra ")) lines.shift();
  const index = /^index (0|[1-9]\d*)$/.exec(lines.shift() ?? "");
  if (!index) throw new Error("index");
  const proof = lines.map(bytesOf);
  if (proof.some((hash) => hash.length !== 32)) throw new Error("hash");
  return { index: BigInt(index[1]), proof, ...parseNote(receipt.slice(cut + 2)) };
}

/** The signed text of a checkpoint, what it states, and its signature lines. */
function parseNote(note) {
  const cut = note.lastIndexOf("\n\n");
  const signed = note.slice(0, cut + 1);
  const [origin, size, root] = signed.split("\n");
  if (cut < 0 || !/^(0|[1-9]\d*)$/.test(size ?? "")) throw new Error("note");
  const signatures = note.slice(cut + 2).split("\n").filter(Boolean).map((one) => {
    const parts = /^\u2014 ([^ +]+) (\S+)$/.exec(one);
    if (!parts) throw new Error("signature");
    const raw = bytesOf(parts[2]);
    return { name: parts[1], id: hexOf(raw.slice(0, 4)), signature: raw.slice(4) };
  });
  return { signed, origin, size: BigInt(size), root: bytesOf(root), signatures };
}

/** A C2SP verifier key line; throws where it is none, or its id is not the key's. */
async function parseKey(line) {
  const parts = /^([^ +]+)\+([0-9a-f]{8})\+(\S+)$/.exec(line.trim());
  if (!parts) throw new Error("key");
  const typed = bytesOf(parts[3]);
  const id = (await sha256(joined(text.encode(`${parts[1]}\n`), typed))).slice(0, 4);
  if (typed.length !== 33 || typed[0] !== SIGNATURE_KIND || hexOf(id) !== parts[2]) throw new Error("key");
  return { name: parts[1], id: parts[2], key: typed.slice(1) };
}

/** Whether the proof leads from the leaf to the root. */
async function isIncluded(leaf, { index, size, proof, root }) {
  if (index >= size) return false;
  let [fn, sn, hash] = [index, size - 1n, leaf];
  const node = (left, right) => sha256(joined(Uint8Array.of(1), left, right));
  for (const one of proof) {
    if (sn === 0n) return false;
    if (fn & 1n || fn === sn) {
      hash = await node(one, hash);
      while (!(fn & 1n) && fn !== 0n) [fn, sn] = [fn >> 1n, sn >> 1n];
    } else {
      hash = await node(hash, one);
    }
    [fn, sn] = [fn >> 1n, sn >> 1n];
  }
  return sn === 0n && hexOf(hash) === hexOf(root);
}

/** "ok", "bad" or "not" (this browser has no Ed25519): whether one of the keys, named as the book, signed the checkpoint. */
async function signatureOutcome(found, keys) {
  for (const key of keys) {
    const own = found.signatures.filter((one) => one.name === key.name && one.id === key.id && key.name === found.origin);
    for (const { signature } of own) {
      let known;
      try {
        known = await crypto.subtle.importKey("raw", key.key, { name: "Ed25519" }, false, ["verify"]);
      } catch {
        return "not";
      }
      const good = await crypto.subtle.verify({ name: "Ed25519" }, known, signature, text.encode(found.signed));
      return good ? "ok" : "bad";
    }
  }
  return "bad";
}

async function checkReceipt(part, typedKey) {
  const results = [];
  const say = (word, mark, more = "") => results.push({ word, mark, more });
  const done = (outcome) => ({ results, outcome });
  if (!globalThis.crypto?.subtle) return done("no-crypto");
  let leaf = fromHex(part.dataset.hash);
  if (part.dataset.entry) {
    const answer = await fetch(part.dataset.entry);
    const entry = new Uint8Array(await answer.arrayBuffer());
    const hash = await sha256(joined(Uint8Array.of(0), entry));
    const same = answer.ok && hexOf(hash) === part.dataset.hash;
    say(same ? "entry-ok" : "entry-bad", same ? "ok" : "bad");
    leaf = hash;
  } else {
    say("entry-not", "not");
  }
  let found;
  try {
    found = parseReceipt(part.querySelector("[data-receipt]").textContent);
  } catch {
    say("receipt-bad", "bad");
    return done("all-bad");
  }
  const included = await isIncluded(leaf, found);
  say(included ? "proof-ok" : "proof-bad", included ? "ok" : "bad");
  const shown = [...part.querySelectorAll("[data-key]")].map((one) => one.textContent);
  let keys;
  try {
    keys = await Promise.all((typedKey ? [typedKey] : shown).map(parseKey));
  } catch {
    say("key-bad", "bad");
    return done("all-bad");
  }
  const signed = await signatureOutcome(found, keys);
  say(`signature-${signed}`, signed, found.origin);
  say(typedKey ? "key-given" : "key-ours", typedKey ? "ok" : "not");
  const others = found.signatures.filter((one) => !keys.some((key) => key.id === one.id && key.name === one.name));
  say(others.length ? "witness-some" : "witness-none", "not", others.map((one) => one.name).join(", "));
  if (results.some((one) => one.mark === "bad")) return done("all-bad");
  return done(part.dataset.entry && signed === "ok" ? "all-ok" : "in-part");
}

for (const part of document.querySelectorAll("[data-proof]")) {
  const start = part.querySelector("[data-start]");
  const given = part.querySelector("[data-given]");
  const list = part.querySelector("[data-results]");
  const outcome = part.querySelector("[data-outcome]");
  const words = Object.fromEntries(
    [...part.querySelectorAll("[data-words] [data-word]")].map((one) => [one.dataset.word, one.textContent]),
  );
  const marks = { ok: "✓", bad: "✗", not: "–" };
  start.hidden = given.hidden = false;
  start.addEventListener("click", async () => {
    part.setAttribute("aria-busy", "true");
    let said;
    try {
      said = await checkReceipt(part, given.querySelector("input").value.trim());
    } catch {
      said = { results: [{ word: "receipt-bad", mark: "bad", more: "" }], outcome: "all-bad" };
    }
    list.replaceChildren(
      ...said.results.map(({ word, mark, more }) => {
        const line = document.createElement("li");
        line.className = mark;
        line.dataset.said = word;
        line.textContent = `${marks[mark]} ${words[word]}${more ? ` ${more}` : ""}`;
        return line;
      }),
    );
    outcome.textContent = words[said.outcome];
    outcome.dataset.said = said.outcome;
    outcome.className = `outcome ${said.outcome}`;
    part.setAttribute("aria-busy", "false");
  });
}
