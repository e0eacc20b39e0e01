// What is kept on this phone: each visit with its state, since when, why it was refused and what to do.

import { clock, count, h, megabytes } from "./build.js";

const WORDS = { kept: "kept on this phone", sent: "sent", refused: "refused" };

export async function keptPage(app) {
  const rows = [...app.entries].reverse();
  const room = await app.store.room();
  const open = await app.store.drafts();
  const photos = [];
  for (const owner of [...rows.filter((each) => each.state !== "sent").map((each) => each.key), ...open.map((each) => each.key), ...rows.filter((each) => each.state === "sent").map((each) => each.key)]) {
    photos.push(...(await app.store.photosOf(owner)));
  }
  const waiting = rows.filter((each) => each.state === "kept").length;
  return [
    h("header", { class: "stop-head" }, h("a", { class: "back", href: "#/", "aria-label": "Back to the round" }, "←"),
      h("div", {}, h("h1", {}, "What is kept on this phone"), h("p", { class: "soft" }, `${waiting} to send, ${rows.filter((each) => each.state === "refused").length} refused, ${rows.filter((each) => each.state === "sent").length} sent`))),
    h("p", {}, "Nothing that you entered leaves this phone before the site has it."),
    h("button", { type: "button", class: "main big", id: "send", onclick: () => app.send() }, "Send now"),
    rows.length ? h("ul", { class: "entries" }, rows.map((row) => entryLine(app, row))) : h("p", { class: "empty" }, "Nothing yet. A visit that you close out appears here."),
    photos.length > 0 && h("section", { class: "panel" }, h("h2", {}, count(photos.length, "photo is on this phone", "photos are on this phone")),
      h("ul", { class: "photos" }, photos.map((photo) => photoLine(app, photo)))),
    room && h("p", { class: "soft" }, `This site uses ${megabytes(room.usage)} of the ${megabytes(room.quota)} that the phone gives it.`),
  ].filter(Boolean);
}

function entryLine(app, entry) {
  const isRefused = entry.state === "refused";
  return h("li", { class: `panel entry ${entry.state}`, "data-key": entry.key },
    h("h2", {}, h("span", { class: "tag" }, entry.words.tag), ` device ${entry.words.device}: `, h("span", { class: "state" }, WORDS[entry.state])),
    h("p", {}, `${entry.words.checks}. Closed out ${clock(entry.made_at)} by ${entry.person.name}`,
      entry.state === "sent" ? `, confirmed ${clock(entry.confirmed_at)}.` : entry.photos.length ? `, ${count(entry.photos.length, "photo", "photos")}.` : "."),
    entry.state === "kept" && entry.tries > 0 && h("p", { class: "soft" }, `Tried ${count(entry.tries, "time", "times")}, last ${clock(entry.tried_at)}.`),
    isRefused && h("p", { class: "error" }, entry.reason),
    isRefused && h("p", {}, "It stays here until the site takes it. Open it, change what is named, and close out again; or show it to a planner."),
    isRefused && h("p", { class: "two" },
      h("button", { type: "button", class: "big", onclick: () => reopen(app, entry) }, "Open and change"),
      h("button", { type: "button", class: "big", onclick: () => again(app, entry) }, "Send as it is")),
    entry.answer?.twice?.map((each) => h("p", { class: "says warning" }, each.message, " ", h("a", { href: each.url }, "See both (needs a signal)"))),
    entry.answer?.url && h("p", {}, h("a", { href: entry.answer.url }, "The visit in the book")));
}

async function again(app, entry) {
  await app.store.changeEntry(entry.key, { state: "kept", reason: "" });
  await app.refresh();
  app.send();
}

async function reopen(app, entry) {
  await app.store.keepDraft({ id: `${entry.person.id}:${entry.installation}`, person: entry.person.id, installation: entry.installation, values: entry.values, key: entry.key, faults: entry.faults ?? {}, reason: entry.reason, at: Date.now() });
  location.hash = `#/stop/${entry.installation}`;
}

function photoLine(app, photo) {
  const isSent = photo.state === "sent";
  let isSure = false;
  return h("li", {}, `${megabytes(photo.bytes.byteLength)}, taken ${clock(photo.at)}: `, h("b", {}, WORDS[photo.state]), photo.reason ? ` (${photo.reason})` : "", " ",
    h("button", {
      type: "button",
      class: "big",
      onclick: async (event) => {
        if (!isSent && !isSure) {
          isSure = true;
          event.target.textContent = "The site does not have it. Drop it for good";
          return;
        }
        await app.store.dropPhoto(photo.key);
        app.refresh();
      },
    }, "Drop this photo"));
}
