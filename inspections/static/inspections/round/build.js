// Builds elements. Text is always set as text: nothing that a person typed is ever read as markup.

import { _ } from "../words.js";

const MARKS = {
  sound: '<circle cx="7" cy="7" r="6" fill="currentColor"/>',
  watch: '<path d="M7 1 13 13H1Z" fill="currentColor"/>',
  act: '<path d="M7 0 14 7 7 14 0 7Z" fill="currentColor"/>',
};

const GRADES = { sound: _("sound"), watch: _("watch"), act: _("act") };
const MONTHS = [
  _("Jan"),
  _("Feb"),
  _("Mar"),
  _("Apr"),
  _("May"),
  _("Jun"),
  _("Jul"),
  _("Aug"),
  _("Sep"),
  _("Oct"),
  _("Nov"),
  _("Dec"),
];

// h("p", { class: "soft" }, "text", child): false, null and undefined are left out; on... are listeners.
export function h(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else made.setAttribute(name, value);
  }
  made.append(...children.flat().filter((each) => each !== false && each !== null && each !== undefined));
  return made;
}

// The site's own words on safety, made by its own template.
export function fromSite(markup) {
  const holder = document.createElement("template");
  holder.innerHTML = markup;
  return holder.content;
}

export function mark(grade) {
  const made = h("span", { class: `mark ${grade}` });
  made.innerHTML = `<svg viewBox="0 0 14 14" aria-hidden="true">${MARKS[grade]}</svg>`;
  made.append(GRADES[grade] ?? grade);
  return made;
}

// The plant's zone, told by the pack: a phone that comes from elsewhere says the times of the site's pages all the
// same.
let zone;

export function useZone(name) {
  zone = name;
}

function partsOf(moment) {
  const options = {
    day: "numeric",
    month: "numeric",
    year: "numeric",
    hour: "2-digit",
    minute: "2-digit",
    hourCycle: "h23",
    timeZone: zone,
  };
  const parts = new Intl.DateTimeFormat("en-US", options).formatToParts(new Date(moment));
  return Object.fromEntries(parts.map(({ type, value }) => [type, value]));
}

export function clock(moment) {
  const [at, now] = [partsOf(moment), partsOf(Date.now())];
  const time = `${at.hour}:${at.minute}`;
  if (["day", "month", "year"].every((name) => at[name] === now[name])) return time;
  return _("%(day)s %(month)s %(time)s", { day: at.day, month: MONTHS[at.month - 1], time });
}

// A day as a date box holds it, 2026-12-03.
export function dayOf(moment) {
  return new Date(moment).toLocaleDateString("en-CA", { timeZone: zone });
}

export function today() {
  return dayOf(Date.now());
}

export function daysFromToday(days) {
  const day = new Date(`${today()}T00:00:00Z`);
  day.setUTCDate(day.getUTCDate() + days); // days, not hours: one of them may have 23 or 25
  return day.toISOString().slice(0, 10);
}

export function megabytes(bytes) {
  if (bytes > 1e9) return `${(bytes / 1e9).toFixed(1)} GB`;
  return bytes < 1e5 ? `${Math.max(1, Math.round(bytes / 1000))} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
}

// A key in the form that the site takes, also where the page came without https and the short way is missing.
export function newKey() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((each) => each.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
