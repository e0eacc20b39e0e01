// What is kept on this phone: each visit with its state, since when, why it was refused and what to do.

import { _, ngettext } from "../words.js";
import { clock, h, megabytes } from "./build.js";

const WORDS = { kept: _("kept on this phone"), sent: _("sent"), refused: _("refused"), aside: _("set aside") };

export async function keptPage(app) {
  const rows = [...app.entries].reverse();
  const room = await app.store.room();
  const open = await app.store.drafts();
  const photos = [];
  for (const owner of [
      ...rows.filter((each) => each.state !== "sent").map((each) => each.key),
      ...open.map((each) => each.key),
      ...rows.filter((each) => each.state === "sent").map((each) => each.key)
    ]) {
    photos.push(...(await app.store.photosOf(owner)));
  }
  const waiting = rows.filter((each) => each.state === "kept").length;
  const aside = rows.filter((each) => each.state === "aside").length;
  return [
    h("header", { class: "stop-head" },
      h("a", { class: "back", href: "#/", "aria-label": _("Back to the round") }, "←"),
      h("div", {},
        h("h1", {}, _("What is kept on this phone")),
        h("p", { class: "soft" },
          _(
            "%(waiting)s to send, %(refused)s refused, %(sent)s sent", {
              waiting,
              refused: rows.filter((each) => each.state === "refused").length,
              sent: rows.filter((each) => each.state === "sent").length,
            }
          ),
          aside > 0 && [", ", _("%(n)s set aside", { n: aside })]))),
    h("p", {}, _("Nothing that you entered leaves this phone before the site has it.")),
    h("button", { type: "button", class: "main big", id: "send", onclick: () => app.send() }, _("Send now")),
    rows.length
    ? h("ul", { class: "entries" }, rows.map((row) => entryLine(app, row)))
    : h("p", { class: "empty" }, _("Nothing yet. A visit that you close out appears here.")),
    photos.length > 0
    && h("section", { class: "panel" },
      h("h2", {}, ngettext("%(n)s photo is on this phone", "%(n)s photos are on this phone", photos.length)),
      h("ul", { class: "photos" }, photos.map((photo) => photoLine(app, photo)))),
    room && h("p", { class: "soft" },
      _(
        "This site uses %(used)s of the %(all)s that the phone gives it.", {
          used: megabytes(room.usage),
          all: megabytes(room.quota),
        }
      )),
  ].filter(Boolean);
}

function entryLine(app, entry) {
  const isRefused = entry.state === "refused";
  const isAside = entry.state === "aside";
  return h("li", { class: `panel entry ${entry.state}`, "data-key": entry.key },
    h("h2", {},
      h("span", { class: "tag" }, entry.words.tag),
      _(" device %(device)s: ", { device: entry.words.device }),
      h("span", { class: "state" }, WORDS[entry.state])),
    h("p", {},
      madeWords(entry),
      " ",
      entry.state === "sent"
      ? _("Confirmed %(at)s.", { at: clock(entry.confirmed_at) })
      : entry.photos.length
      ? ngettext("With %(n)s photo.", "With %(n)s photos.", entry.photos.length)
      : ""),
    entry.state === "kept" && entry.tries > 0 && h("p", { class: "soft" },
      ngettext(
        "Tried %(n)s time, last %(at)s.",
        "Tried %(n)s times, last %(at)s.",
        entry.tries, { at: clock(entry.tried_at) }
      )),
    isRefused && h("p", { class: "error" }, entry.reason),
    isRefused && h("p", {},
      _("It stays here until the site takes it. Open it, change what is named, and close out again; "
        + "or show it to a planner.")),
    isAside
    && h("p", { class: "error" },
      ngettext(
        "The site failed on it %(n)s time (answer %(answer)s).",
        "The site failed on it %(n)s times (answer %(answer)s).",
        entry.fault.n,
        entry.fault
      ),
      " ",
      entry.reason
      ? _("The planners could not be told: %(why)s Show them this phone.", { why: entry.reason })
      : _("A planner is told and has its text. It stays here with its photos.")),
    entry.aside_url && isAside && h("p", {},
      h("a", { href: entry.aside_url }, _("What the planner sees (needs a signal)"))),
    (isRefused || isAside) && h("p", { class: "two" },
      h("button", { type: "button", class: "big", onclick: () => reopen(app, entry) }, _("Open and change")),
      h("button", { type: "button", class: "big", onclick: () => again(app, entry) }, _("Send as it is"))),
    entry.answer?.twice?.map((each) => h("p", { class: "says warning" },
      each.message,
      " ",
      h("a", { href: each.url }, _("See both (needs a signal)")))),
    entry.answer?.url && h("p", {},
      h("a", { href: entry.answer.url },
        entry.kind === "action" ? _("The action in the book") : _("The visit in the book"))));
}

function madeWords(entry) {
  const told = { what: entry.words.checks, at: clock(entry.made_at), who: entry.person.name };
  return entry.kind === "action"
    ? _("%(what)s. Raised %(at)s by %(who)s.", told)
    : _("%(what)s. Closed out %(at)s by %(who)s.", told);
}

async function again(app, entry) {
  await app.store.changeEntry(entry.key, { state: "kept", reason: "", fault: null });
  await app.refresh();
  app.send();
}

async function reopen(app, entry) {
  const isOnRound = app.pack?.legs.some((leg) => leg.stops.some((stop) => stop.installation === entry.installation));
  if (entry.kind === "action" && !isOnRound) {
    await app.store.keepDraft({
      id: `${entry.person.id}:action:${entry.installation}`,
      person: entry.person.id,
      installation: entry.installation,
      values: entry.values,
      key: entry.key,
      reason: entry.reason,
      at: Date.now(),
    });
    location.hash = `#/action/${entry.installation}`;
    return;
  }
  await app.store.keepDraft({
    id: `${entry.person.id}:${entry.installation}`,
    person: entry.person.id,
    installation: entry.installation,
    values: entry.values,
    more: entry.more ?? [],
    key: entry.key,
    faults: entry.faults ?? {},
    reason: entry.reason,
    at: Date.now(),
  });
  location.hash = `#/stop/${entry.installation}`;
}

function photoLine(app, photo) {
  const isSent = photo.state === "sent";
  let isSure = false;
  return h("li", {},
    _("%(size)s, taken %(at)s: ", { size: megabytes(photo.bytes.byteLength), at: clock(photo.at) }),
    h("b", {}, WORDS[photo.state]),
    photo.reason ? ` (${photo.reason})` : "",
    " ",
    h("button", {
      type: "button",
      class: "big",
      onclick: async (event) => {
        if (!isSent && !isSure) {
          isSure = true;
          event.target.textContent = _("The site does not have it. Drop it for good");
          return;
        }
        await app.store.dropPhoto(photo.key);
        app.refresh();
      },
    }, _("Drop this photo")));
}
