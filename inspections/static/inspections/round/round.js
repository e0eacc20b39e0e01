// The round on the phone: opens what is kept, brings what is new, sends what waits, and says at all times how that stands.

import { clock, count, h } from "./build.js";
import { ADDRESSES, fetchPack, keepPages } from "./keep.js";
import { keptPage } from "./kept_page.js";
import { listPage } from "./list_page.js";
import { scanPage } from "./scan_page.js";
import { stopPage } from "./stop_page.js";
import * as store from "./store.js";
import { makeSync } from "./sync.js";

const BRING_AGAIN_MS = 5 * 60_000;
const main = document.getElementById("main");
const bar = document.getElementById("kept");
const app = { pack: null, entries: [], problem: "", words: "", isOffline: false, leave: null, store, addresses: ADDRESSES };
app.sync = makeSync({ store, addresses: ADDRESSES, tell: () => refresh() });
app.refresh = refresh;
app.send = () => app.sync.run({ now: true });
app.bring = bring;
app.contrast = (isOn) => { document.body.classList.toggle("contrast", isOn); };

start().catch((problem) => {
  bar.textContent = "This phone's storage cannot be opened, so nothing can be kept on it.";
  main.replaceChildren(h("p", {}, `Use the pages of the site instead (${problem.message}). `, h("a", { href: "/" }, "Today")));
});

async function start() {
  const person = await store.fact("person");
  app.pack = (await store.packOf(person?.id)) ?? null;
  app.contrast((await store.fact("contrast")) ?? app.pack?.person.wants_contrast ?? false);
  await readEntries();
  store.askToStay();
  window.addEventListener("hashchange", show);
  window.addEventListener("online", () => { bring(); app.send(); });
  window.addEventListener("offline", sayState);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState !== "visible") return;
    app.sync.run();
    if (Date.now() - (app.broughtAt ?? 0) > BRING_AGAIN_MS) bring();
  });
  setInterval(sayState, 15000);
  await show();
  keepPages().then((isOffline) => { app.isOffline = isOffline; app.isAsked = true; document.body.dataset.pages = isOffline ? "kept" : "not kept"; sayState(); });
  bring();
  app.sync.run();
}

async function bring() {
  let brought;
  app.broughtAt = Date.now();
  try {
    brought = await fetchPack();
  } catch (problem) {
    brought = { problem: "full", words: problem.message };
  }
  app.problem = brought.problem ?? "";
  app.words = brought.words ?? "";
  if (brought.pack) app.pack = brought.pack;
  document.body.dataset.pack = app.pack ? app.pack.made_at : "";
  sayState();
  if (route().name !== "stop") show(); // nobody's typing is disturbed by a newer pack
  else if (brought.pack && !main.querySelector("form")) show();
}

async function readEntries() {
  app.entries = await store.entries();
}

async function refresh() {
  await readEntries();
  sayState();
  if (["list", "kept"].includes(route().name)) show({ isQuiet: true });
}

function route() {
  const [name, id] = location.hash.replace(/^#\/?/, "").split("/");
  if (name === "stop" && id) return { name, id: Number(id) };
  if (name === "d" && id) return { name: "label", code: id };
  return { name: ["kept", "scan", "away"].includes(name) ? name : "list" };
}

let shown = 0;

async function show({ isQuiet = false } = {}) {
  const mine = (shown += 1);
  const at = route();
  if (!isQuiet) await app.leave?.();
  if (!isQuiet) app.leave = null;
  const page = await pageOf(at);
  if (mine !== shown) return;
  main.replaceChildren(...[page].flat());
  sayState();
  if (!isQuiet) {
    window.scrollTo(0, 0);
    main.focus({ preventScroll: true });
  }
}

function pageOf(at) {
  if (at.name === "kept") return keptPage(app);
  if (at.name === "scan") return scanPage(app);
  if (at.name === "label") return labelPage(at.code);
  if (at.name === "away") return awayPage();
  if (!app.pack) return noPack();
  if (at.name === "stop") return stopPage(app, at.id);
  return listPage(app);
}

function labelPage(code) {
  const found = app.pack?.labels[code.toUpperCase()];
  const stop = found && app.pack.legs.flatMap((leg) => leg.stops).find((each) => each.installation === found.installation);
  if (stop) {
    location.replace(`#/stop/${stop.installation}`);
    return h("p", {}, `Opening ${stop.tag} device ${stop.device} …`);
  }
  return h("section", { class: "panel" },
    h("h1", {}, found ? `${found.tag} device ${found.device}` : `No device has the label ${code.toUpperCase()}`),
    h("p", {}, found ? "No check is due here today by what this phone knows." : "Read the six signs again, or open the round anew with a signal."),
    found && h("p", {}, h("a", { class: "button", href: `/installations/${found.installation}/visit/` }, "See its page on the site (needs a signal)")),
    h("p", {}, h("a", { class: "button", href: "#/scan" }, "Another label"), " ", h("a", { class: "button", href: "#/" }, "To the round")));
}

function awayPage() {
  return h("section", { class: "panel" }, h("h1", {}, "That page needs a signal"),
    h("p", {}, "Your round and what you entered are on this phone."), h("p", {}, h("a", { class: "button main", href: "#/" }, "To the round")));
}

function noPack() {
  const words = {
    "": "Bringing your round onto this phone …",
    no_signal: "No round is on this phone yet, and there is no signal. Open this page once where there is one.",
    sign_in: "Sign in to bring your round onto this phone.",
    full: "The phone has no room left for the round. Make room and open this page again.",
  };
  return h("section", { class: "panel" }, h("h1", {}, "My round"), h("p", {}, words[app.problem] ?? app.words),
    app.problem === "sign_in" && h("p", {}, signIn("Sign in")),
    app.problem === "no_signal" && h("p", {}, h("button", { type: "button", onclick: bring }, "Try again")));
}

function signIn(words) {
  return h("a", { class: "button main", href: "/sign-in/?next=/round/" }, words);
}

// --- the line that always says how it stands --------------------------------------------------------------------------
function sayState() {
  const { mode, sending, person } = app.sync.state;
  const waiting = app.entries.filter((each) => each.state === "kept");
  const refused = app.entries.filter((each) => each.state === "refused");
  const isToday = (moment) => new Date(moment).toDateString() === new Date().toDateString();
  const sent = app.entries.filter((each) => each.state === "sent" && isToday(each.confirmed_at));
  const others = person ? waiting.filter((each) => each.person.id !== person.id) : [];
  const parts = [];
  if (!navigator.onLine || mode === "no_signal") parts.push("No signal.");
  else if (mode === "sending" && sending) parts.push(`Sending ${sending.n} of ${sending.of} …`);
  else if (mode === "trouble") parts.push(`The site does not answer as it should; next try at ${clock(app.sync.state.nextTryAt)}.`);
  if (waiting.length) {
    parts.push(`${count(waiting.length, "visit", "visits")} kept on this phone since ${clock(Math.min(...waiting.map((each) => Date.parse(each.made_at))))}.`);
  } else if (sent.length && !refused.length) parts.push(`Nothing waits; ${count(sent.length, "visit", "visits")} sent today.`);
  if (others.length) parts.push(`${count(others.length, "was", "were")} written by ${[...new Set(others.map((each) => each.person.name))].join(", ")} and go when they sign in.`);
  if (refused.length) parts.push(`${count(refused.length, "visit was", "visits were")} refused: look.`);
  if (app.isAsked && !app.isOffline) parts.push("This browser cannot open the round with no signal (that needs https); what you type is kept.");
  if (!waiting.length && !sent.length && !refused.length) parts.push(app.isOffline && app.pack ? "The round is on this phone; nothing waits to be sent." : "Nothing waits to be sent.");
  const needsSignIn = navigator.onLine && (mode === "sign_in" || app.problem === "sign_in");
  const words = parts.join(" ");
  bar.dataset.mode = mode;
  const key = `${words}|${needsSignIn}`;
  if (bar.dataset.words === key) return; // said already; a screen reader need not hear it again
  bar.dataset.words = key;
  bar.replaceChildren(
    sign(),
    h("span", {}, words, needsSignIn && h("b", {}, " Sign in to send; nothing is lost. ", h("a", { href: "/sign-in/?next=/round/" }, "Sign in"))),
    h("a", { class: "look", href: "#/kept" }, "What is kept"));
}

function sign() {
  const isOff = !navigator.onLine || app.sync.state.mode === "no_signal";
  const holder = h("span", { class: "sign", "aria-hidden": "true" });
  holder.innerHTML = `<svg width="16" height="16" viewBox="0 0 16 16">${isOff ? '<path d="M2 12 14 4" stroke="currentColor" stroke-width="2"/>' : ""}<path d="M3 9a7 7 0 0 1 10 0M6 12a3 3 0 0 1 4 0" fill="none" stroke="currentColor" stroke-width="1.6"/></svg>`;
  return holder;
}
