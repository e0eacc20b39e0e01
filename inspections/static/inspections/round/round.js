// The round on the phone: opens what is kept, brings what is new, sends what waits, and says at all times how that
// stands.

import { _, ngettext } from "../words.js";
import { actionPage } from "./action_page.js";
import { clock, dayOf, h, today, useZone } from "./build.js";
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
const app = {
  pack: null,
  entries: [],
  problem: "",
  words: "",
  isOffline: false,
  leave: null,
  store,
  addresses: ADDRESSES,
};
app.sync = makeSync({ store, addresses: ADDRESSES, tell: () => refresh() });
app.refresh = refresh;
app.send = () => app.sync.run({ now: true });
app.bring = bring;
app.contrast = (isOn) => { document.body.classList.toggle("contrast", isOn); };

start().catch((problem) => {
  bar.textContent = _("This phone's storage cannot be opened, so nothing can be kept on it.");
  main.replaceChildren(h("p", {},
    _("Use the pages of the site instead (%(problem)s).", { problem: problem.message }),
    " ",
    h("a", { href: "/" }, _("Today"))));
});

async function start() {
  const person = await store.fact("person");
  app.pack = (await store.packOf(person?.id)) ?? null;
  useZone(app.pack?.plant.zone);
  app.contrast((await store.fact("contrast")) ?? app.pack?.person.wants_contrast ?? false);
  await readEntries();
  store.askToStay();
  window.addEventListener("hashchange", show);
  window.addEventListener("online", () => {
    bring();
    app.sync.run({ now: app.sync.state.mode !== "busy" });
  });
  window.addEventListener("offline", sayState);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState !== "visible") return;
    app.sync.run();
    if (Date.now() - (app.broughtAt ?? 0) > BRING_AGAIN_MS) bring();
  });
  setInterval(sayState, 15000);
  await show();
  keepPages().then((isOffline) => {
    app.isOffline = isOffline;
    app.isAsked = true;
    document.body.dataset.pages = isOffline ? "kept" : "not kept";
    sayState();
  });
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
  useZone(app.pack?.plant.zone);
  document.body.dataset.pack = app.pack ? app.pack.made_at : "";
  sayState();
  if (!["stop", "action"].includes(route().name)) show(); // nobody's typing is disturbed by a newer pack
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
  if (["stop", "action"].includes(name) && id) return { name, id: Number(id) };
  if (name === "d" && id) return { name: "label", code: id };
  return { name: ["kept", "scan", "away"].includes(name) ? name : "list" };
}

let shown = 0;

async function show({ isQuiet = false } = {}) {
  const mine = (shown += 1);
  const at = route();
  const { hash } = location;
  if (!isQuiet) await app.leave?.();
  if (!isQuiet) app.leave = null;
  const page = await pageOf(at);
  if (mine !== shown) return;
  main.replaceChildren(...[page].flat());
  main.dataset.shown = hash; // the address runs ahead of the page while it is drawn
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
  if (at.name === "action") return actionPage(app, at.id);
  return listPage(app);
}

function labelPage(code) {
  const found = app.pack?.labels[code.toUpperCase()];
  const stop = found
    && app.pack.legs.flatMap((leg) => leg.stops).find((each) => each.installation === found.installation);
  if (stop) {
    location.replace(`#/stop/${stop.installation}`);
    return h("p", {}, _("Opening %(tag)s device %(device)s …", stop));
  }
  return h("section", { class: "panel" },
    h("h1", {},
      found
      ? _("%(tag)s device %(device)s", found)
      : _("No device has the label %(code)s", { code: code.toUpperCase() })),
    h("p", {},
      found
      ? _("No check is due here today by what this phone knows.")
      : _("Read the six signs again, or open the round anew with a signal.")),
    found && h("p", {},
      h("a", { class: "button big", href: `#/action/${found.installation}` }, _("Raise an action here"))),
    found && h("p", {},
      h("a", { class: "button big", href: `/installations/${found.installation}/visit/` },
        _("See its page on the site (needs a signal)"))),
    h("p", { class: "two" },
      h("a", { class: "button big", href: "#/scan" }, _("Another label")),
      h("a", { class: "button big", href: "#/" }, _("To the round"))));
}

function awayPage() {
  return h("section", { class: "panel" }, h("h1", {}, _("That page needs a signal")),
    h("p", {}, _("Your round and what you entered are on this phone.")),
    h("p", {}, h("a", { class: "button main big", href: "#/" }, _("To the round"))));
}

function noPack() {
  const words = {
    "": _("Bringing your round onto this phone …"),
    no_signal: _("No round is on this phone yet, and there is no signal. Open this page once where there is one."),
    sign_in: _("Sign in to bring your round onto this phone."),
    full: _("The phone has no room left for the round. Make room and open this page again."),
  };
  return h("section", { class: "panel" }, h("h1", {}, _("My round")), h("p", {}, words[app.problem] ?? app.words),
    app.problem === "sign_in" && h("p", {}, signIn(_("Sign in"))),
    app.problem === "no_signal" && h("p", {},
      h("button", { type: "button", class: "big", onclick: bring }, _("Try again"))));
}

function signIn(words) {
  return h("a", { class: "button main big", href: "/sign-in/?next=/round/" }, words);
}

// --- the line that always says how it stands -------------------------------------------------------------------------
function sayState() {
  const { mode, sending, person } = app.sync.state;
  const waiting = app.entries.filter((each) => each.state === "kept");
  const refused = app.entries.filter((each) => each.state === "refused");
  const aside = app.entries.filter((each) => each.state === "aside");
  const sent = app.entries.filter((each) => each.state === "sent" && dayOf(each.confirmed_at) === today());
  const others = person ? waiting.filter((each) => each.person.id !== person.id) : [];
  const parts = [];
  if (!navigator.onLine || mode === "no_signal") parts.push(_("No signal."));
  else if (mode === "sending" && sending) parts.push(_("Sending %(n)s of %(of)s …", sending));
  else if (mode === "trouble") {
    parts.push(_(
      "The site does not answer as it should; next try at %(at)s.", { at: clock(app.sync.state.nextTryAt) }
    ));
  } else if (mode === "busy") {
    parts.push(_("The site has much to do; next try at %(at)s.", { at: clock(app.sync.state.nextTryAt) }));
  }
  if (waiting.length) {
    parts.push(_(
      "%(what)s kept on this phone since %(at)s.", {
        what: counted(waiting),
        at: clock(Math.min(...waiting.map((each) => Date.parse(each.made_at)))),
      }
    ));
  } else if (sent.length && !refused.length && !aside.length) {
    parts.push(_("Nothing waits; %(what)s sent today.", { what: counted(sent) }));
  }
  if (others.length) {
    parts.push(ngettext(
      "%(n)s was written by %(who)s and goes when they sign in.",
      "%(n)s were written by %(who)s and go when they sign in.",
      others.length, { who: [...new Set(others.map((each) => each.person.name))].join(", ") }
    ));
  }
  if (refused.length) parts.push(_("Refused: %(what)s. Look.", { what: counted(refused) }));
  if (aside.length) parts.push(_("Set aside: %(what)s. Look.", { what: counted(aside) }));
  if (app.isAsked && !app.isOffline) {
    parts.push(_("This browser cannot open the round with no signal (that needs https); what you type is kept."));
  }
  if (!waiting.length && !sent.length && !refused.length && !aside.length) {
    parts.push(
      app.isOffline && app.pack
      ? _("The round is on this phone; nothing waits to be sent.")
      : _("Nothing waits to be sent.")
    );
  }
  const needsSignIn = navigator.onLine && (mode === "sign_in" || app.problem === "sign_in");
  const words = parts.join(" ");
  bar.dataset.mode = mode;
  const key = `${words}|${needsSignIn}`;
  if (bar.dataset.words === key) return; // said already; a screen reader need not hear it again
  bar.dataset.words = key;
  bar.replaceChildren(
    sign(),
    h("span", {},
      words,
      needsSignIn && h("b", {},
        " ",
        _("Sign in to send; nothing is lost."),
        " ",
        h("a", { href: "/sign-in/?next=/round/" }, _("Sign in")))),
    h("a", { class: "look", href: "#/kept" }, _("What is kept")));
}

function counted(entries) {
  const actions = entries.filter((each) => each.kind === "action").length;
  const visits = entries.length - actions;
  const parts = [];
  if (visits) parts.push(ngettext("%(n)s visit", "%(n)s visits", visits));
  if (actions) parts.push(ngettext("%(n)s action", "%(n)s actions", actions));
  return parts.join(", ");
}

function sign() {
  const isOff = !navigator.onLine || app.sync.state.mode === "no_signal";
  const holder = h("span", { class: "sign", "aria-hidden": "true" });
  const stroke = isOff ? '<path d="M2 12 14 4" stroke="currentColor" stroke-width="2"/>' : "";
  const waves = "M3 9a7 7 0 0 1 10 0M6 12a3 3 0 0 1 4 0";
  const drawn = `${stroke}<path d="${waves}" fill="none" stroke="currentColor" stroke-width="1.6"/>`;
  holder.innerHTML = `<svg width="16" height="16" viewBox="0 0 16 16">${drawn}</svg>`;
  return holder;
}
