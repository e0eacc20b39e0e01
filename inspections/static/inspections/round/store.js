// What the phone keeps, in IndexedDB: packs (one a person), drafts (what is being typed), entries (visits that were
// closed out) and photos. An entry is kept until the site has confirmed it; then it becomes one line of what was sent.
// Where the phone has no room left, text goes to localStorage, which has room of its own.

import { _ } from "../words.js";

const NAME = "driftbook-round";
const VERSION = 1;
const LAST_RESORT = "driftbook-round";
const SENT_FOR_DAYS = 14;

export class StorageFull extends Error {}

let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      const base = request.result;
      base.createObjectStore("packs", { keyPath: "person.id" });
      base.createObjectStore("drafts", { keyPath: "id" });
      base.createObjectStore("entries", { keyPath: "key" });
      base.createObjectStore("photos", { keyPath: "key" }).createIndex("owner", "owner");
      base.createObjectStore("facts", { keyPath: "name" });
    };
    request.onsuccess = () => {
      request.result.onversionchange = () => {
        request.result.close();
        opened = null;
      };
      request.result.onclose = () => { opened = null; };
      resolve(request.result);
    };
    request.onerror = () => {
      opened = null;
      reject(asProblem(request.error));
    };
  });
  return opened;
}

function asProblem(error) {
  return error?.name === "QuotaExceededError"
    ? new StorageFull(_("The phone has no room left."))
    : error ?? new Error(_("The phone's storage failed."));
}

// One transaction: `work` asks with get, all and put; it is done when the phone has written, not before.
async function within(names, mode, work) {
  const base = await open();
  return new Promise((resolve, reject) => {
    const transaction = base.transaction(names, mode, { durability: "strict" });
    const answer = (request) => new Promise((good, bad) => {
      request.onsuccess = () => good(request.result);
      request.onerror = () => bad(asProblem(request.error));
    });
    const at = (name) => transaction.objectStore(name);
    let result;
    transaction.oncomplete = () => resolve(result);
    transaction.onabort = () => reject(asProblem(transaction.error));
    Promise.resolve(work({
      get: (name, key) => answer(at(name).get(key)),
      all: (name) => answer(at(name).getAll()),
      owned: (owner) => answer(at("photos").index("owner").getAll(owner)),
      put: (name, row) => answer(at(name).put(row)),
      drop: (name, key) => answer(at(name).delete(key)),
    })).then((value) => { result = value; }, (problem) => {
      try { transaction.abort(); } catch { /* it ended by itself */ }
      // A step that broke off tells only that it did; why stands at the transaction.
      reject(asProblem(transaction.error?.name === "QuotaExceededError" ? transaction.error : problem));
    });
  });
}

const read = (names, work) => within(names, "readonly", work);
const write = (names, work) => within(names, "readwrite", work);

// --- facts: who was here last, the number of the last entry ----------------------------------------------------------
export async function fact(name) {
  return (await read(["facts"], (t) => t.get("facts", name)))?.value;
}

export function keepFact(name, value) {
  return write(["facts"], (t) => t.put("facts", { name, value }));
}

// --- packs -----------------------------------------------------------------------------------------------------------
export function keepPack(pack) {
  return write(["packs", "facts"], async (t) => {
    await t.put("packs", pack);
    await t.put("facts", { name: "person", value: pack.person });
  });
}

export async function packOf(personId) {
  return personId === undefined ? undefined : read(["packs"], (t) => t.get("packs", personId));
}

// --- drafts ----------------------------------------------------------------------------------------------------------
export async function keepDraft(draft) {
  try {
    await write(["drafts"], (t) => t.put("drafts", draft));
    forgetText("draft", draft.id);
  } catch (problem) {
    if (!(problem instanceof StorageFull)) throw problem;
    keepText("draft", draft.id, draft);
  }
}

export async function draftOf(id) {
  return textOf("draft", id) ?? read(["drafts"], (t) => t.get("drafts", id));
}

export async function drafts() {
  const rows = await read(["drafts"], (t) => t.all("drafts"));
  const texts = textsOf("draft");
  return [...rows.filter((row) => !texts.some((each) => each.id === row.id)), ...texts];
}

export async function dropDraft(id) {
  forgetText("draft", id);
  await write(["drafts"], (t) => t.drop("drafts", id));
}

// --- entries ---------------------------------------------------------------------------------------------------------
// The draft goes in the same step in which the entry comes: a phone that dies between them loses neither.
export async function keepEntry(entry, draftId) {
  try {
    await write(["entries", "drafts", "facts"], async (t) => {
      const last = (await t.get("facts", "last entry"))?.value ?? 0;
      const before = await t.get("entries", entry.key);
      const order = before?.order ?? Math.max(last, ...textsOf("entry").map((each) => each.order)) + 1;
      await t.put("facts", { name: "last entry", value: Math.max(last, order) });
      await t.put("entries", { ...entry, order });
      await t.drop("drafts", draftId);
    });
  } catch (problem) {
    if (!(problem instanceof StorageFull)) throw problem;
    const order = Math.max(0, ...(await entries()).map((each) => each.order)) + 1;
    keepText("entry", entry.key, { ...entry, order });
    await write(["drafts"], (t) => t.drop("drafts", draftId));
  }
  forgetText("draft", draftId);
}

export async function entries() {
  const rows = await read(["entries"], (t) => t.all("entries"));
  const texts = textsOf("entry"); // newer than a row with the same key
  return [
    ...rows.filter((row) => !texts.some((each) => each.key === row.key)),
    ...texts
  ].sort((a, b) => a.order - b.order);
}

export async function changeEntry(key, changes) {
  const text = textOf("entry", key);
  if (text) {
    try {
      await write(["entries"], (t) => t.put("entries", { ...text, ...changes }));
      forgetText("entry", key);
    } catch (problem) {
      if (!(problem instanceof StorageFull)) throw problem;
      keepText("entry", key, { ...text, ...changes });
    }
    return;
  }
  let changed;
  try {
    await write(["entries"], async (t) => {
      const row = await t.get("entries", key);
      changed = row && { ...row, ...changes };
      if (changed) await t.put("entries", changed);
    });
  } catch (problem) {
    if (!(problem instanceof StorageFull)) throw problem;
    keepText("entry", key, changed);
  }
}

// The site has it: what was typed and the photos' bytes may go, a line of what was sent stays for two weeks. Photos go
// first, so that a phone with no room left gets some.
export async function entryIsSent(entry, answer, sentPhotos, at) {
  const { fields, values, ...line } = entry;
  const sent = { ...line, state: "sent", confirmed_at: at, answer, reason: "" };
  await write(["photos"], async (t) => {
    for (const key of sentPhotos) await t.drop("photos", key);
  });
  try {
    await write(["entries"], async (t) => {
      await t.put("entries", sent);
      for (const row of await t.all("entries")) {
        if (row.state === "sent" && at - row.confirmed_at > SENT_FOR_DAYS * 864e5) await t.drop("entries", row.key);
      }
    });
    forgetText("entry", entry.key);
  } catch (problem) {
    if (!(problem instanceof StorageFull)) throw problem;
    keepText("entry", entry.key, sent);
    await write(["entries"], (t) => t.drop("entries", entry.key));
  }
}

// --- photos ----------------------------------------------------------------------------------------------------------
export function keepPhoto(photo) {
  return write(["photos"], (t) => t.put("photos", photo));
}

export function photo(key) {
  return read(["photos"], (t) => t.get("photos", key));
}

export function photosOf(owner) {
  return read(["photos"], (t) => t.owned(owner));
}

export async function changePhoto(key, changes) {
  try {
    await write(["photos"], async (t) => {
      const row = await t.get("photos", key);
      if (row) await t.put("photos", { ...row, ...changes });
    });
  } catch (problem) {
    // With no room left the note is missing, never the photo: sent once more it counts once.
    if (!(problem instanceof StorageFull)) throw problem;
  }
}

// Only a person drops a photo that the site does not have.
export function dropPhoto(key) {
  return write(["photos"], (t) => t.drop("photos", key));
}

// --- room ------------------------------------------------------------------------------------------------------------
export async function room() {
  if (!navigator.storage?.estimate) return null;
  const { usage, quota } = await navigator.storage.estimate();
  return { usage, quota };
}

// Asks the browser not to clear this site's storage when the phone runs short of room.
export async function askToStay() {
  try {
    return (await navigator.storage?.persist?.()) ?? false;
  } catch {
    return false;
  }
}

function keepText(kind, id, value) {
  try {
    localStorage.setItem(`${LAST_RESORT}:${kind}:${id}`, JSON.stringify(value));
  } catch {
    throw new StorageFull(_("The phone has no room left, not even for text."));
  }
}

function textOf(kind, id) {
  const text = localStorage.getItem(`${LAST_RESORT}:${kind}:${id}`);
  return text ? JSON.parse(text) : undefined;
}

function textsOf(kind) {
  return Object.keys(localStorage)
    .filter((name) => name.startsWith(`${LAST_RESORT}:${kind}:`))
    .map((name) => JSON.parse(localStorage.getItem(name)));
}

function forgetText(kind, id) {
  localStorage.removeItem(`${LAST_RESORT}:${kind}:${id}`);
}
