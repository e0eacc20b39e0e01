// Sends what the phone keeps: entry by entry in the order in which they were closed out, photos before the entry that
// names them. Every entry and photo has a key of its own, so a sending that broke off is simply done again.
// Nothing is given up: only the site's own word makes an entry sent or refused; whatever else happens, it stays kept.
// An entry that the site fails over holds nothing up: the next ones are sent, and after some equal failures it is set
// aside. It stays on the phone whole, and its text goes to the site, unread, for the planners.

import { _ } from "../words.js";

const FIRST_WAIT_S = 5;
const LONGEST_WAIT_S = 300;
const LONGEST_BUSY_S = 3600;
const SET_ASIDE_AFTER = 5;
const KNOWN_CODES = new Set(["refused", "other_person", "photo_missing", "half"]);

class NoSignal extends Error {}
class SignIn extends Error {}

// The site has more to do than it can and says when to come back. Nothing was read, and no entry is at fault.
class Busy extends Error {
  constructor(seconds) {
    super(`busy for ${seconds} s`);
    this.seconds = seconds;
  }
}

// `answer` is the status of an answer that says nothing of the entry; `photo` the key of the photo it was the answer
// to.
class Trouble extends Error {
  constructor(message, answer = "") {
    super(message);
    this.answer = answer;
    this.photo = "";
  }
}

function isBusy(answer) {
  return answer.status === 429 || (answer.status === 503 && answer.headers.has("Retry-After"));
}

// Retry-After in seconds (RFC 9110, 10.2.3); a date or nonsense counts as the first wait.
function secondsOf(answer) {
  const given = answer.headers.get("Retry-After") ?? "";
  return /^\d{1,6}$/.test(given) ? Math.min(Number(given), LONGEST_BUSY_S) : FIRST_WAIT_S;
}

export function makeSync({ store, addresses, tell }) {
  const state = {
    mode: "idle",
    person: null,
    clockOffS: 0,
    nextTryAt: 0,
    notBefore: 0,
    tries: 0,
    trouble: "",
    sending: null,
  };
  let running = null;
  let timer = null;

  function run({ now = false } = {}) {
    if (now) state.tries = 0;
    else if (state.mode === "busy" && Date.now() < state.notBefore) return Promise.resolve(); // the timer is set
    clearTimeout(timer);
    running ??= alone(sendAll).catch(note).finally(() => {
      running = null;
      tell();
    });
    return running;
  }

  // Two windows of the same phone must not send at once; the key would hold, the order might not.
  function alone(work) {
    if (!navigator.locks) return work();
    return navigator.locks.request("driftbook-send", { ifAvailable: true }, (lock) => {
      if (!lock) { later(); return undefined; }
      return work();
    });
  }

  async function sendAll() {
    const who = await ask(addresses.who, { timeout: 20 });
    state.person = who.person;
    state.clockOffS = Math.round((Date.now() - Date.parse(who.now)) / 1000);
    const waiting = (await store.entries()).filter((each) => each.state === "kept" && each.person.id === who.person.id);
    let trouble = null;
    for (const [n, entry] of waiting.entries()) {
      state.mode = "sending";
      state.sending = { n: n + 1, of: waiting.length };
      tell();
      try {
        await sendEntry(entry, who.token);
        state.tries = 0;
      } catch (problem) {
        // none at all: the next ones wait too
        if (problem instanceof NoSignal) await ask(addresses.who, { timeout: 20 });
        else if (!(problem instanceof Trouble)) throw problem;
        trouble = problem;
        await noteTrouble(entry, problem, who.token);
      }
    }
    if (trouble && (await isWaiting(who.person))) throw trouble;
    state.mode = "idle";
    state.tries = 0;
    state.trouble = "";
  }

  async function isWaiting(person) {
    return (await store.entries()).some((each) => each.state === "kept" && each.person.id === person.id);
  }

  // Counts equal answers in a row, each with its part of the entry: another answer is another story and counts anew.
  async function noteTrouble(entry, { answer, photo }, token) {
    if (!answer) return;
    const { fault } = entry;
    const n = fault?.answer === answer && fault.photo === photo ? fault.n + 1 : 1;
    await store.changeEntry(entry.key, { fault: { answer, photo, n } });
    if (n < SET_ASIDE_AFTER) return;
    try {
      await (photo ? setPhotoAside(entry, photo, answer, n, token) : setAside(entry, answer, n, token));
    } catch (problem) {
      if (!(problem instanceof Trouble || problem instanceof NoSignal)) throw problem; // told at the next try
    }
    tell();
  }

  async function setAside(entry, answer, n, token) {
    const { fields, key, kind, installation, made_at, system, photos } = entry;
    const content = JSON.stringify({ kind, made_at, system, fields, photos });
    const told = await tellPlanners({
      key,
      kind,
      person: entry.person.id,
      installation,
      made_at,
      answer,
      tries: n,
      n_photos: photos.length,
      content,
    }, token);
    await store.changeEntry(
      key, {
        state: "aside",
        reason: told.message ?? "",
        aside_url: told.url ?? "",
        fault: { answer, photo: "", n },
      }
    );
  }

  // A photo that the site fails over stays on the phone; the entry goes without it, and the planners know.
  async function setPhotoAside(entry, key, answer, n, token) {
    const { installation, made_at } = entry;
    const photo = await store.photo(key);
    const content = JSON.stringify({ photo: key, entry: entry.key, bytes: photo?.bytes.byteLength, type: photo?.type });
    const told = await tellPlanners({
      key,
      kind: "photo",
      person: entry.person.id,
      installation,
      made_at,
      answer,
      tries: n,
      n_photos: 1,
      content,
    }, token);
    await store.changePhoto(
      key, { state: "refused", reason: told.message ?? _("the site failed on it; a planner is told") }
    );
    await store.changeEntry(entry.key, { fault: null });
  }

  async function tellPlanners(words, token) {
    const answer = await ask(
      addresses.aside, {
        method: "POST",
        token,
        body: JSON.stringify(words),
        type: "application/json",
        timeout: 60,
        mayRefuse: true,
      }
    );
    if (answer.code === "other_person") throw new SignIn(answer.message);
    if (!answer.code && !answer.url) throw new Trouble(_("the site answered %(status)s", { status: "" }));
    return answer;
  }

  async function sendEntry(entry, token) {
    await store.changeEntry(entry.key, { tried_at: Date.now(), tries: (entry.tries ?? 0) + 1 });
    const gone = new Set();
    for (let round = 0; round < 3; round += 1) {
      for (const key of entry.photos)
        if (!(await sendPhoto(key, entry, token))) gone.add(key);
      const { fields, key, kind, person, installation, made_at, system } = entry;
      const photos = entry.photos.filter((each) => !gone.has(each));
      const body = JSON.stringify({
        key,
        kind,
        person: person.id,
        installation,
        made_at,
        system,
        fields,
        photos,
        sent_at: new Date().toISOString(),
      });
      const answer = await ask(
        addresses.entries, {
          method: "POST",
          token,
          body,
          type: "application/json",
          timeout: 60,
          mayRefuse: true,
        }
      );
      if (answer.code === "photo_missing") {
        for (const each of answer.photos) await store.changePhoto(each, { state: "kept" });
        continue;
      }
      if (answer.code === "refused") {
        const { message, fields: faults = {}, suggested_action: suggested = "" } = answer;
        await store.changeEntry(key, { state: "refused", reason: message, faults, suggested, refused_at: Date.now() });
      } else if (answer.code === "other_person") {
        throw new SignIn(answer.message);
      } else if (!("visit" in answer)) {
        throw new Trouble(_("something else than the site answered"));
      } else {
        await store.entryIsSent({ ...entry, tries: (entry.tries ?? 0) + 1 }, answer, photos, Date.now());
      }
      tell();
      return;
    }
    throw new Trouble(_("photos do not arrive whole"));
  }

  // False where the site will never take this photo, or a person dropped it: the entry then goes without it.
  async function sendPhoto(key, entry, token) {
    const photo = await store.photo(key);
    if (!photo || photo.state === "refused") return false;
    if (photo.state === "sent") return true;
    const body = new FormData();
    body.append("key", key);
    body.append("installation", entry.installation);
    body.append("bytes", photo.bytes.byteLength);
    if (photo.sha256) body.append("sha256", photo.sha256);
    body.append("file", new Blob([photo.bytes], { type: photo.type }), "photo");
    const answer = await askFor(key, addresses.photos, { method: "POST", token, body, timeout: 180, mayRefuse: true });
    if (answer.code === "half") throw new Trouble(answer.message);
    if (answer.code === "refused") {
      await store.changePhoto(key, { state: "refused", reason: answer.message });
      return false;
    }
    if (!("photo" in answer)) throw new Trouble(_("something else than the site answered"));
    await store.changePhoto(key, { state: "sent" });
    return true;
  }

  async function askFor(photo, address, how) {
    try {
      return await ask(address, how);
    } catch (problem) {
      if (problem instanceof Trouble) problem.photo = photo;
      throw problem;
    }
  }

  async function ask(address, { method = "GET", token, body, type, timeout, mayRefuse = false }) {
    const headers = { Accept: "application/json" };
    if (token) headers["X-CSRFToken"] = token;
    if (type) headers["Content-Type"] = type;
    let answer;
    let said;
    try {
      answer = await fetch(
        address, {
          method,
          headers,
          body,
          credentials: "same-origin",
          cache: "no-store",
          redirect: "error",
          signal: AbortSignal.timeout(timeout * 1000),
        }
      );
      said = await answer.text();
    } catch (problem) {
      throw new NoSignal(problem.message);
    }
    if (isBusy(answer)) throw new Busy(secondsOf(answer));
    let words = null;
    try { words = JSON.parse(said); } catch { /* a proxy's page, or the site's page of an error */ }
    if (words?.code === "sign_in") throw new SignIn(words.message);
    if (answer.ok && words) return words;
    if (mayRefuse && KNOWN_CODES.has(words?.code)) return words;
    throw new Trouble(_("the site answered %(status)s", { status: answer.status }), String(answer.status));
  }

  function note(problem) {
    state.sending = null;
    if (problem instanceof SignIn) {
      state.mode = "sign_in";
      state.person = null;
      return;
    }
    if (problem instanceof Busy) {
      state.mode = "busy";
      state.trouble = "";
      later(problem.seconds);
      return;
    }
    state.mode = problem instanceof NoSignal ? "no_signal" : "trouble";
    state.trouble = problem instanceof NoSignal ? "" : problem.message;
    if (!(problem instanceof NoSignal || problem instanceof Trouble)) console.warn(problem);
    later();
  }

  // 5 s, 10 s, 20 s ... 5 min, each a little different on every phone, so that not all of them ask at once; never
  // before the time that the site named.
  function later(leastS = 0) {
    const own = Math.min(FIRST_WAIT_S * 2 ** state.tries, LONGEST_WAIT_S) * (0.8 + 0.4 * Math.random());
    const wait = Math.max(own, leastS * (1 + 0.2 * Math.random()));
    state.tries = Math.min(state.tries + 1, 12);
    state.notBefore = Date.now() + leastS * 1000;
    state.nextTryAt = Date.now() + wait * 1000;
    clearTimeout(timer);
    timer = setTimeout(run, wait * 1000);
  }

  return { state, run };
}
