// An action raised by hand at any device whose label is known, with no check beside it: kept and sent as a visit is.

import { _ } from "../words.js";
import { daysFromToday, h, newKey } from "./build.js";

const DAYS = 7; // the usual time for corrective work, as on the site

export async function actionPage(app, installation) {
  const { pack } = app;
  const found = Object.values(pack.labels).find((each) => each.installation === installation);
  if (!found) {
    return h("section", { class: "panel" },
      h("h1", {}, _("This phone does not know that device")),
      h("p", {}, h("a", { class: "button main big", href: "#/" }, _("To the round"))));
  }
  const id = `${pack.person.id}:action:${installation}`;
  const draft = (await app.store.draftOf(id)) ?? {
    id,
    person: pack.person.id,
    installation,
    key: newKey(),
    values: {},
    at: Date.now(),
  };
  const says = h("div", { class: "says error", role: "alert", tabindex: "-1", hidden: !draft.reason },
    draft.reason ?? "");
  const form = h("form", { class: "phone-form", novalidate: true, autocomplete: "off" },
    h("section", { class: "panel" }, actionFields(pack)),
    says,
    h("div", { class: "foot" }, h("button", { class: "main", id: "raise-action" }, _("Raise the action"))));
  for (const [name, value] of Object.entries(draft.values))
    if (form.elements[name]) form.elements[name].value = value;
  const values = () => Object.fromEntries(new FormData(form));
  let isClosed = false;
  let saved = Promise.resolve();
  const complain = (words) => {
    says.textContent = words;
    says.hidden = false;
    says.focus();
  };
  const keep = () => {
    if (isClosed || !values().action_title.trim()) return saved;
    saved = app.store.keepDraft({
      ...draft,
      values: values(),
      at: Date.now(),
    }).catch((problem) => complain(problem.message));
    return saved;
  };
  form.addEventListener("input", keep);
  app.leave = keep;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const given = values();
    const { person } = app.sync.state;
    if (!given.action_title.trim()) { complain(_("Say what is to be done.")); return; }
    if (!given.action_due_on) { complain(_("Give the day by which it is to be done.")); return; }
    if (person && person.id !== pack.person.id) {
      complain(_(
        "This is the round of %(mine)s, and %(other)s is signed in. Open the round anew, or sign in as %(mine)s.", {
          mine: pack.person.name,
          other: person.name,
        }
      ));
      return;
    }
    if (isClosed) return;
    await keep();
    isClosed = true;
    const entry = {
      key: draft.key,
      kind: "action",
      state: "kept",
      person: { id: pack.person.id, name: pack.person.name },
      installation,
      made_at: new Date().toISOString(),
      system: pack.system,
      tasks: [],
      values: given,
      fields: given,
      photos: [],
      words: { tag: found.tag, device: found.device, checks: given.action_title },
      reason: "",
      tries: 0,
    };
    try {
      await app.store.keepEntry(entry, id);
    } catch (problem) {
      isClosed = false;
      complain(problem.message);
      return;
    }
    await app.refresh();
    location.hash = "#/kept";
    app.send();
  });
  return [
    h("header", { class: "stop-head" },
      h("a", { class: "back", href: "#/", "aria-label": _("Back to the round") }, "←"),
      h("div", {},
        h("h1", {}, _("Raise an action")),
        h("p", { class: "soft" }, h("span", { class: "tag" }, found.tag), _(" device %(device)s", found)))),
    form,
  ];
}

// What is to be done, by when, by whom: the same three fields here and at a stop. The planner is proposed where there
// is one.
export function actionFields(pack) {
  return [
    h("div", { class: "field" },
      h("label", { for: "action-title" }, _("What is to be done")),
      h("input", { id: "action-title", name: "action_title", maxlength: "200" })),
    h("div", { class: "pair" },
      h("div", { class: "field" },
        h("label", { for: "action-due" }, _("Due")),
        h("input", { type: "date", id: "action-due", name: "action_due_on", value: daysFromToday(DAYS) })),
      h("div", { class: "field" },
        h("label", { for: "action-owner" }, _("Owner")),
        h("select", { id: "action-owner", name: "action_owner" },
          h("option", { value: "" }, _("nobody yet")),
          pack.owners.map(([pk, name]) => h("option", { value: pk, selected: pk === pack.owner }, name))))),
  ];
}
