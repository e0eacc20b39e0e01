// The round: what it asks, what to bring, and the stops in their order, each with how far it is.

import { _, ngettext } from "../words.js";
import { fromSite, h, mark, today } from "./build.js";

export async function listPage(app) {
  const { pack } = app;
  const begun = new Set((await app.store.drafts()).filter((each) =>
    each.person === pack.person.id).map((each) => each.installation));
  const isOpen = (stop, check) => !entryOf(app, check.task, stop.installation);
  const openOf = (those) => those.flatMap((stop) => stop.checks.filter((check) => isOpen(stop, check)));
  // What waits is the published round, where there is one, as on the start page; what else is open is counted apart.
  const stopsOf = (legs) => legs.flatMap((leg) => leg.stops);
  const stops = stopsOf(pack.has_round ? pack.legs.filter((leg) => leg.is_of_round) : pack.legs);
  const others = pack.has_round ? openOf(stopsOf(pack.legs.filter((leg) => !leg.is_of_round))).length : 0;
  const checks = openOf(stops);
  const left = new Set(stops.filter((stop) => stop.checks.some((check) =>
    isOpen(stop, check))).map((stop) => stop.installation));
  const late = checks.filter((check) => check.is_late).length;
  const told = {
    checks: ngettext("%(n)s check waits", "%(n)s checks wait", checks.length),
    devices: ngettext("%(n)s device", "%(n)s devices", left.size),
    late,
  };
  const waiting = late
    ? _("%(checks)s at %(devices)s, %(late)s of them late.", told)
    : _("%(checks)s at %(devices)s.", told);
  const words = checks.length
    ? waiting
    : stops.length
    ? _("Every check of the round is entered.")
    : _("No check waits for you today.");
  const isOld = pack.today !== today();
  return [
    h("header", { class: "round-head" },
      h("h1", {}, _("My round, %(day)s", { day: pack.today_words })),
      h("p", { class: "lede" },
        words,
        " ",
        others > 0 && [
          ngettext(
            "%(n)s more check is open, not on your round.",
            "%(n)s more checks are open, not on your round.",
            others
          ),
          " ",
        ],
        h("span", { class: "soft" },
          _("Round of %(who)s, %(plant)s.", { who: pack.person.name, plant: pack.plant.name }))),
      isOld && h("p", { class: "says warning" },
        _("This is the round of %(day)s. Open it with a signal to bring today's.", { day: pack.today_words }))),
    fromSite(pack.care),
    h("p", { class: "two" },
      h("a", { class: "button big", href: "#/scan" }, _("Scan a label")),
      h("a", { class: "button big", href: "#/kept" }, _("What is kept"))),
    ...pack.legs.map((leg) => legOf(app, leg, begun)),
    h("details", { class: "panel" },
      h("summary", {}, _("What to bring")),
      h("ul", {}, pack.bring.map((each) => h("li", {}, each)))),
    pack.actions.length > 0
    && h("details", { class: "panel" },
      h("summary", {}, ngettext("%(n)s action is yours", "%(n)s actions are yours", pack.actions.length)),
      h("ul", {},
        pack.actions.map((each) => h("li", {},
          h("b", {}, each.title),
          " ",
          each.is_late ? _("%(place)s, due %(due)s, late", each) : _("%(place)s, due %(due)s", each))))),
    h("label", { class: "tick panel" }, contrastBox(app), h("span", {}, _("Sunlight contrast"))),
    h("p", {}, h("a", { class: "button big", href: "/" }, _("Other pages (need a signal)"))),
  ].filter(Boolean);
}

// The entry that holds a check of the pack. A pack that was brought after the site had the entry knows better: what it
// still asks for is open again, or could not be done and was planned anew.
export function entryOf(app, task, installation) {
  const isOlder = (each) => each.state === "sent" && (app.pack.brought_at ?? 0) > each.confirmed_at;
  return app.entries.find((each) =>
    each.installation === installation
    && each.tasks.includes(task)
    && each.person.id === app.pack.person.id
    && !isOlder(each));
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
    h("h2", {},
      h("span", { class: "tag" }, leg.tag),
      ` ${leg.area}`,
      leg.is_of_round && h("span", { class: "soft" }, " ", _("by the round"))),
    h("p", {},
      leg.needs_lockout && h("b", {}, _("Needs lockout."), " "),
      leg.words,
      " ",
      h("span", { class: "soft" }, _("About %(n)s min of checks.", { n: leg.minutes }))),
    h("ol", { class: "stops" },
      leg.stops.map((stop) => h("li", {}, h("a", { class: "stop-link", href: `#/stop/${stop.installation}` },
        h("span", {}, h("b", {}, _("Device %(device)s", stop)), " ", h("span", { class: "soft" }, stop.place)),
        stop.checks.map((check) => checkLine(app, stop, check)),
        begun.has(stop.installation) && h("span", { class: "state" }, _("begun, not closed out yet")))))));
}

const STATES = {
  kept: _("kept on this phone"),
  sent: _("sent"),
  refused: _("refused: look at what is kept"),
  aside: _("set aside: look at what is kept"),
};

function checkLine(app, stop, check) {
  const entry = entryOf(app, check.task, stop.installation);
  return h("span", { class: "check-line" }, `${check.kind}: `,
    entry ? h("b", { class: "state" }, STATES[entry.state]) : h(check.is_late ? "b" : "span", {}, check.due),
    !entry && check.last_grade && [", ", _("last time"), " ", mark(check.last_grade)],
    !entry && !check.needs_lockout && [", ", _("belt may run")],
    !entry && check.tried && [", ", check.tried]);
}
