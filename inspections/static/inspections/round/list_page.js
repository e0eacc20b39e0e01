// The round: what it asks, what to bring, and the stops in their order, each with how far it is.

import { count, fromSite, h, mark } from "./build.js";

export async function listPage(app) {
  const { pack } = app;
  const begun = new Set((await app.store.drafts()).filter((each) => each.person === pack.person.id).map((each) => each.installation));
  const stops = pack.legs.flatMap((leg) => leg.stops);
  const checks = stops.flatMap((stop) => stop.checks).filter((check) => !entryOf(app, check.task));
  const left = new Set(stops.filter((stop) => stop.checks.some((check) => !entryOf(app, check.task))).map((stop) => stop.installation));
  const late = checks.filter((check) => check.is_late).length;
  const words = checks.length
    ? `${count(checks.length, "check waits", "checks wait")} at ${count(left.size, "device", "devices")}${late ? `, ${late} of them late` : ""}.`
    : stops.length ? "Every check of the round is entered." : "No check waits for you today.";
  const isOld = pack.today !== new Date().toLocaleDateString("en-CA", { timeZone: pack.plant.zone });
  return [
    h("header", { class: "round-head" },
      h("h1", {}, `My round, ${pack.today_words}`),
      h("p", { class: "lede" }, words, " ", h("span", { class: "soft" }, `Round of ${pack.person.name}, ${pack.plant.name}.`)),
      isOld && h("p", { class: "says warning" }, `This is the round of ${pack.today_words}. Open it with a signal to bring today's.`)),
    fromSite(pack.care),
    h("p", { class: "two" }, h("a", { class: "button big", href: "#/scan" }, "Scan a label"), h("a", { class: "button big", href: "#/kept" }, "What is kept")),
    ...pack.legs.map((leg) => legOf(app, leg, begun)),
    h("details", { class: "panel" }, h("summary", {}, "What to bring"), h("ul", {}, pack.bring.map((each) => h("li", {}, each)))),
    pack.actions.length > 0 && h("details", { class: "panel" }, h("summary", {}, count(pack.actions.length, "action is yours", "actions are yours")),
      h("ul", {}, pack.actions.map((each) => h("li", {}, h("b", {}, each.title), ` ${each.place}, due ${each.due}${each.is_late ? ", late" : ""}`)))),
    h("label", { class: "tick panel" }, contrastBox(app), h("span", {}, "Sunlight contrast")),
    h("p", {}, h("a", { class: "button big", href: "/" }, "Other pages (need a signal)")),
  ].filter(Boolean);
}

export function entryOf(app, task) {
  return app.entries.find((each) => each.tasks.includes(task) && each.person.id === app.pack.person.id);
}

function contrastBox(app) {
  return h("input", {
    type: "checkbox",
    checked: document.body.classList.contains("contrast"),
    onchange: (event) => {
      app.contrast(event.target.checked);
      app.store.keepFact("contrast", event.target.checked);
    },
  });
}

function legOf(app, leg, begun) {
  return h("section", { class: "panel leg" },
    h("h2", {}, h("span", { class: "tag" }, leg.tag), ` ${leg.area}`, leg.is_of_round && h("span", { class: "soft" }, " by the round")),
    h("p", {}, leg.needs_lockout && h("b", {}, "Lockout needed. "), leg.words, " ", h("span", { class: "soft" }, `About ${leg.minutes} min of checks.`)),
    h("ol", { class: "stops" }, leg.stops.map((stop) => h("li", {}, h("a", { class: "stop-link", href: `#/stop/${stop.installation}` },
      h("span", {}, h("b", {}, `Device ${stop.device}`), " ", h("span", { class: "soft" }, stop.place)),
      stop.checks.map((check) => checkLine(app, check)),
      begun.has(stop.installation) && h("span", { class: "state" }, "begun, not closed out yet"))))));
}

const STATES = { kept: "kept on this phone", sent: "sent", refused: "refused: look at what is kept" };

function checkLine(app, check) {
  const entry = entryOf(app, check.task);
  return h("span", { class: "check-line" }, `${check.kind}: `,
    entry ? h("b", { class: "state" }, STATES[entry.state]) : h(check.is_late ? "b" : "span", {}, check.due),
    !entry && check.last_grade && [", last time ", mark(check.last_grade)],
    !entry && !check.needs_lockout && ", belt may run");
}
