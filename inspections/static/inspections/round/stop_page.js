// One stop: what is read here, what it was the last time, the grade while it is typed, and closing out. What is typed
// is kept with every key press; closing out moves it to the queue in the same step. Field names are those of the site's
// own form, which reads the entry and grades and asks again.

import { Boxes, forget, openWords } from "../doubt.js";
import { makeGrading } from "../grading.js";
import { makeSay } from "../reasons.js";
import { follow, suggest } from "../suggested.js";
import { _, ngettext } from "../words.js";
import { actionFields } from "./action_page.js";
import { clock, fromSite, h, mark, megabytes, newKey, today } from "./build.js";
import { entryOf } from "./list_page.js";

// How a thing that is in order is answered; own kinds of check say it by the grades of their answers.
const MARK = "_mark";
const IN_ORDER = { pivot: "free", drive_state: "round", off_state: "round" };
const FOUND = "as_found";
const LEFT = "as_left";

export async function stopPage(app, installation) {
  const { pack } = app;
  const legs = pack.legs.filter((leg) => leg.stops.some((stop) => stop.installation === installation));
  const stops = legs.flatMap((leg) => leg.stops).filter((stop) => stop.installation === installation);
  if (!stops.length) return gone();
  const id = `${pack.person.id}:${installation}`;
  const draft = (await app.store.draftOf(id)) ?? {
    id,
    person: pack.person.id,
    installation,
    key: newKey(),
    values: {},
    at: Date.now(),
  };
  const isAgain = app.entries.some((each) => each.key === draft.key);
  // A check stands once, and one that was entered already is not asked for again.
  const seen = new Set();
  const checks = stops.flatMap((stop) => stop.checks).filter((check) => {
    const entry = entryOf(app, check.task, installation);
    const isOpen = !seen.has(check.task) && (!entry || entry.key === draft.key);
    seen.add(check.task);
    return isOpen;
  });
  const more = stops.flatMap((stop) => stop.more ?? []).filter((check) => {
    const entry = entryOf(app, check.task, installation);
    return !entry || entry.key === draft.key;
  });
  const photos = await app.store.photosOf(draft.key);
  const order = pack.legs.flatMap((leg) => leg.stops.map((each) => each.installation));
  const place = { nth: new Set(order.slice(0, order.indexOf(installation) + 1)).size, of: new Set(order).size };
  return new StopPage(
    app, { stop: stops[0], care: legs[0].care, checks, more, draft, photos, place, isAgain }
  ).elements();
}

function gone() {
  return h("section", { class: "panel" },
    h("h1", {}, _("Nothing is due at this device")),
    h("p", {}, _("The round on this phone does not hold it any more; what you entered is kept.")),
    h("p", {}, h("a", { class: "button main big", href: "#/" }, _("To the round"))));
}

class StopPage {
  constructor(app, given) {
    Object.assign(this, { app, ...given });
    const { rules, system } = app.pack;
    this.grading = makeGrading(rules.grading);
    this.system = system;
    const say = makeSay({ ...rules, system });
    this.say = say;
    this.boxes = new Boxes({ rules, grading: this.grading, say, system });
    this.parts = new Map();
    this.saving = null;
  }

  elements() {
    const { stop, place, checks, more, draft } = this;
    const head = h("header", { class: "stop-head" },
      h("a", { class: "back", href: "#/", "aria-label": _("Back to the round") }, "←"),
      h("div", {},
        h("h1", {}, h("span", { class: "tag" }, stop.tag), _(" device %(device)s", stop)),
        h("p", { class: "soft" }, _("%(place)s. Stop %(nth)s of %(of)s", { place: stop.place, ...place }))));
    const isDone = !checks.length && h("section", { class: "panel" },
      h("h2", {}, _("Everything here is entered")),
      h("p", {}, h("a", { class: "button main big", href: "#/" }, _("To the round"))));
    this.chosen = h("div", { class: "checks chosen" });
    this.offers = new Map();
    this.says = h("div", { class: "says error", role: "alert", tabindex: "-1", hidden: true });
    this.fullBar = h("div", { class: "says warning", role: "alert", hidden: true });
    this.form = h("form", { class: "phone-form", novalidate: true, autocomplete: "off" },
      this.lockout(),
      checks.length > 0
      && h("button", { type: "button", class: "big", id: "in-order", onclick: () => this.allInOrder() },
        _("All as it should be")),
      checks.map((check) => this.section(check)),
      this.chosen,
      more.length > 0 && this.offer(),
      this.noteAndPhotos(),
      this.action(),
      this.fullBar,
      this.says,
      h("div", { class: "foot" }, this.raise(), h("button", { class: "main", id: "close-out" }, _("Close out visit"))));
    this.form.addEventListener("input", (event) => this.changed(event));
    this.form.addEventListener("change", (event) => this.changed(event));
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.closeOut();
    });
    this.onHide = () => this.saveNow();
    document.addEventListener("visibilitychange", this.onHide);
    window.addEventListener("pagehide", this.onHide);
    this.app.leave = async () => {
      document.removeEventListener("visibilitychange", this.onHide);
      window.removeEventListener("pagehide", this.onHide);
      await this.saveNow();
    };
    for (const check of more.filter((each) => draft.more?.includes(each.task))) this.choose(check);
    this.fill(draft.values);
    this.refresh();
    if (draft.reason) {
      this.complain(
        [
          { words: draft.reason },
          ...Object.entries(draft.faults ?? {}).map(([name, words]) => ({ name, words: words.join(" ") }))
        ],
        _("The site refused this visit")
      );
    }
    return [head, fromSite(this.care), isDone, this.form].filter(Boolean);
  }

  lockout() {
    this.lockoutWords = h("span", { role: "status" });
    this.lockoutPart = h("section", { class: "care lockout" },
      h("label", { class: "tick" },
        h("input", { type: "checkbox", name: "lockout_confirmed" }),
        h("b", {}, _("The belt is locked out, tagged and tried, by the site's procedure"))),
      h("input", { type: "hidden", name: "lockout_at" }),
      h("p", { class: "soft" },
        _("Recorded with your name and the time. It is a record; it locks nothing."),
        " ",
        this.lockoutWords),
      h("div", { class: "field" },
        h("label", { for: "permit" }, _("Permit reference"), " ", h("span", { class: "soft" }, _("(if there is one)"))),
        h("input", { id: "permit", name: "permit_reference", maxlength: "60" })));
    return this.lockoutPart;
  }

  // --- another check of the person's own choice ----------------------------------------------------------------------
  offer() {
    const list = h("div", { class: "offers" });
    for (const check of this.more) {
      const button = h("button", {
          type: "button",
          class: "big",
          onclick: () => {
            this.choose(check).querySelector("h2").scrollIntoView({ block: "start" });
            this.changed({ target: this.form });
          }
        },
        check.kind, " ", h("span", { class: "when" }, check.due));
      this.offers.set(check.task, button);
      list.append(button);
    }
    return h("details", { class: "panel", id: "more" }, h("summary", {}, _("Another check while I am here")), list);
  }

  choose(check) {
    const section = this.section(check);
    const undo = h("button", {
      type: "button",
      class: "big",
      onclick: () => {
        this.parts.delete(check.task);
        section.remove();
        this.offers.get(check.task).hidden = false;
        this.changed({ target: this.form });
      }
    }, _("Not this one after all"));
    section.append(h("p", { class: "two" }, undo));
    this.chosen.append(section);
    this.offers.get(check.task).hidden = true;
    return section;
  }

  section(check) {
    const graded = h("p", { class: "graded", role: "status" });
    const isPairs = check.is_pairs;
    const rows = check.readings.flatMap((each) => (
      each.form === "choice"
      ? [this.answer(check, each, FOUND), each.asks_as_left && this.answer(check, each, LEFT)]
      : [
        this.number(check, each, FOUND, isPairs),
        isPairs && each.asks_as_left && this.number(check, each, LEFT, isPairs),
      ]
    ));
    const lefts = isPairs ? [] : check.readings.filter((each) => each.asks_as_left && each.form === "number");
    // Nobody asked for a check of one's own choice: where it cannot be done there is nothing to tell.
    const undone = h("details", { class: "undone", hidden: check.task < 0 }, h("summary", {}, _("Could not do it")),
      h("p", { class: "soft" },
        _("This is never held against anybody: the planners are told and the check stays open.")),
      h("div", { class: "choice reasons", role: "radiogroup", "aria-label": _("Reason") }, [
        ["", _("none")], ...this.app.pack.reasons
      ].map(([value, label]) => this.option(`t${check.task}-reason`, value, label, value === ""))),
      h("div", { class: "field" },
        h("label", { for: `remark${check.task}` }, _("Note")),
        h("input", { id: `remark${check.task}`, name: `t${check.task}-remark`, maxlength: "500" })));
    const changedPart = lefts.length
      ? h("details", { class: "changed" },
        h("summary", {}, _("A part was changed or set: readings as left")),
        h("div", { class: "readings" }, lefts.map((each) => this.number(check, each, LEFT, false))))
      : null;
    const heading = `check${check.task}`;
    const element = h("section", { class: "check panel", "data-task": check.task, "aria-labelledby": heading },
      h("h2", { id: heading }, check.kind, " ", h("span", { class: "soft when" }, check.due)),
      check.asked && h("p", { class: "soft" }, check.asked),
      check.tried && h("p", {}, check.tried),
      check.n_acts > 1 && h("p", {},
        mark("act"),
        " ",
        _("at the last %(n)s times running: look for the cause.", { n: check.n_acts })),
      check.method && h("details", { class: "method" },
        h("summary", {}, _("How it is done")),
        h("p", {}, check.method)),
      isPairs && this.tool(check),
      h("div", { class: `readings ${check.rule}` },
        rows.length
        ? rows.filter(Boolean)
        : h("p", { class: "soft" }, _("The device model names nothing to read here."))),
      graded, changedPart, undone);
    this.parts.set(check.task, { check, element, graded, undone, changedPart });
    return element;
  }

  // How torques are read and with which wrench; a pack from before they were asked for holds neither.
  tool(check) {
    const { methods = [] } = this.app.pack;
    if (!methods.length) return null;
    const method = `t${check.task}-method`;
    const fasteners = check.readings.filter((each) => each.form === "number");
    return h("div", { class: "tool" },
      h("fieldset", { class: "answer" },
        h("legend", {}, _("How it is read as found")),
        h("div", { class: "choice reasons" },
          methods.map(([value, label]) => this.option(method, value, label)),
          this.option(method, "", _("not said"), true))),
      this.wrench(`t${check.task}-instrument`, _("Torque wrench"), _("not named: 4 % assumed")),
      fasteners.length > 1
      && h("details", { class: "method" }, h("summary", {}, _("Another wrench for some fasteners")),
        fasteners.map((each) => this.wrench(`t${check.task}-${each.code}-instrument`, each.label, _("the same")))),
      h("div", { class: "field tool-reason", hidden: true },
        h("label", { for: `reason${check.task}` }, _("Out of calibration: why it is used all the same")),
        h("input", { id: `reason${check.task}`, name: `t${check.task}-tool_reason`, maxlength: "120" })));
  }

  wrench(name, label, empty) {
    return h("div", { class: "field" }, h("label", { for: name }, label),
      h("select", { id: name, name, class: "wrench" },
        h("option", { value: "" }, empty),
        (this.app.pack.tools ?? []).map((each) => h("option", { value: String(each.id) },
          each.state ? _("%(number)s, %(state)s", each) : each.name))),
      h("span", { class: "hint tool-words", role: "status" }));
  }

  // The deviation by a fastener's code; says beside each select what holds of its wrench, and asks why for one out of
  // date.
  toolsOf(part) {
    const { check, element } = part;
    const tools = new Map();
    part.doubtful = [];
    for (const select of element.querySelectorAll("select.wrench")) {
      const tool = (this.app.pack.tools ?? []).find((each) => String(each.id) === select.value);
      const isLate = Boolean(tool) && (tool.due_on === undefined ? Boolean(tool.doubt) : tool.due_on < today());
      const deviation = tool && _("Permissible deviation %(pct)s %.", { pct: tool.deviation_pct });
      setText(
        select.parentElement.querySelector(".tool-words"),
        tool ? (isLate ? `${deviation} ${_("Out of calibration: take another one, or say why.")}` : deviation) : ""
      );
      if (isLate) part.doubtful.push(tool);
      tools.set(select.name, tool);
    }
    const reason = element.querySelector(".tool-reason");
    if (reason) reason.hidden = !part.doubtful.length;
    const common = tools.get(`t${check.task}-instrument`);
    return (code) => (tools.get(`t${check.task}-${code}-instrument`) ?? common)?.deviation_pct;
  }

  number(check, each, stage, isPairs) {
    const name = `t${check.task}-${each.code}-${stage}`;
    const isLeft = stage === LEFT;
    const label = isPairs
      ? (isLeft ? _("%(what)s left", { what: each.label }) : _("%(what)s found", { what: each.label }))
      : isLeft
      ? _("%(what)s, as left", { what: each.label })
      : each.label;
    const hint = [each.limit_words, each.last && _("last %(last)s", each)].filter(Boolean).join(" · ");
    const before = isLeft
      ? []
      : [each.earlier && _("before: %(earlier)s", each), each.set, each.forecast].filter(Boolean);
    return h("div", { class: `reading${isLeft ? " left" : ""}`, "data-name": name, "data-code": each.code },
      h("label", { for: name }, label),
      h(
        "input", {
          id: name,
          name,
          inputmode: this.system === "metric" && !each.signed && each.quantity ? "decimal" : "text",
          "aria-describedby": `${name}-hint`,
        }
      ),
      h("span", { class: "hint", id: `${name}-hint` },
        h("span", { class: "echo", "aria-live": "polite" }),
        h("span", { class: "unit" }, each.unit),
        !isLeft && hint ? ` · ${hint}` : "",
        before.map((words) => h("span", { class: "before" }, words))),
      h("div", { class: "sure", hidden: true, "data-name": `${name}-sure` },
        h("span", { class: "question", role: "status" }),
        h("span", { class: "ways" }),
        h("input", { type: "hidden", name: `${name}-sure` })));
  }

  answer(check, each, stage) {
    const name = `t${check.task}-${each.code}-${stage}`;
    return h("fieldset", { class: "answer", "data-name": name, "data-code": each.code },
      h("legend", {},
        stage === LEFT ? _("%(what)s, as left", { what: each.label }) : each.label,
        stage === FOUND
        && [each.last && _("last %(last)s", each), each.set]
        .filter(Boolean)
        .map((words) => h("span", { class: "hint" }, " ", words))),
      h("div", { class: "choice" },
        each.options.map(([value, label]) => this.option(name, value, label)),
        this.option(name, "", _("not looked at"), true)));
  }

  option(name, value, label, isEmpty = false) {
    return h("label", { class: "option", "data-empty": isEmpty },
      h("input", { type: "radio", name, value, checked: isEmpty }),
      h("span", {}, label));
  }

  noteAndPhotos() {
    this.photoList = h("ul", { class: "photos" });
    const camera = h(
      "input", {
        type: "file",
        id: "camera",
        accept: "image/*",
        capture: "environment",
        onchange: (event) => this.addPhotos(event),
      }
    );
    const files = h(
      "input", {
        type: "file",
        id: "files",
        accept: "image/jpeg,image/png,image/webp",
        multiple: true,
        onchange: (event) => this.addPhotos(event),
      }
    );
    this.showPhotos();
    return h("section", { class: "panel" },
      h("h2", {}, _("Note and photos")),
      h("p", { class: "soft" }, this.stop.photos),
      h("div", { class: "field" },
        h("label", { for: "note" }, _("Note")),
        h("textarea", { id: "note", name: "note", rows: "3", maxlength: "4000" })),
      h("div", { class: "field" }, h("label", { for: "camera" }, _("Take a photo")), camera),
      h("div", { class: "field" }, h("label", { for: "files" }, _("Photos from this device")), files),
      this.photoList);
  }

  action() {
    this.actionPart = h("details", { class: "panel", id: "action" }, h("summary", {}, _("Raise an action")),
      h("p", { class: "soft" },
        _("For whatever you see, with or without a check. A finding that says act needs one, or a reason why not.")),
      this.openActions(),
      actionFields(this.app.pack),
      h("input", { type: "hidden", name: "action_suggested" }),
      h("div", { class: "field" },
        h("label", { for: "no-action" }, _("Or why no action is needed")),
        h("input", { id: "no-action", name: "no_action_reason", maxlength: "300" })));
    return this.actionPart;
  }

  // Where one is open at the device: add to it, or raise another knowingly. A pack from before knows of none.
  openActions() {
    const rows = this.stop.open_actions ?? [];
    if (!rows.length) return null;
    return h("fieldset", { class: "answer", id: "action-choice" },
      h("legend", {}, ngettext("One is open here", "%(n)s are open here", rows.length)),
      h("div", { class: "choice wide" },
        rows.map((each) => this.option("action_choice", String(each.id), _("Add to: %(words)s", each))),
        this.option("action_choice", "another", _("Raise another one beside it")),
        this.option("action_choice", "", _("not said"), true)));
  }

  // Of the actions that are open here one for the same finding, or with the same words.
  alike(title) {
    const kinds = this.acts.map((check) => check.kind_id);
    const same = title.trim().toLowerCase();
    return (this.stop.open_actions ?? []).find((each) => each.kinds.some((kind) =>
      kinds.includes(kind)) || each.title.trim().toLowerCase() === same);
  }

  raise() {
    this.raiseButton = h("button", {
      type: "button",
      class: "button",
      id: "raise",
      hidden: true,
      onclick: () => {
        suggest(this.form, this.raiseButton.dataset.title);
        this.actionPart.open = true;
        this.changed({ target: this.form.elements.action_title });
      }
    });
    return this.raiseButton;
  }

  // --- what was typed ------------------------------------------------------------------------------------------------
  values() {
    const values = {};
    for (const each of this.form.elements) {
      if (!each.name || each.type === "file") continue;
      // nobody is an answer too
      if (each.type === "checkbox") {
        if (each.checked) values[each.name] = "on";
      } else if (each.type === "radio") {
        if (each.checked && each.value) values[each.name] = each.value;
      } else if (each.value || each.name === "action_owner") {
        values[each.name] = each.value;
      }
    }
    return values;
  }

  fill(values) {
    for (const [name, value] of Object.entries(values)) {
      const control = this.form.elements.namedItem(name);
      if (!control) continue;
      if (control.type === "checkbox") control.checked = value === "on";
      else control.value = value; // of several radio buttons the one with this value
      control.closest?.("details")?.setAttribute("open", "");
    }
    for (const { undone } of this.parts.values())
      if (undone.querySelector("[data-empty] input:not(:checked)")) undone.open = true;
    this.sayLockout();
  }

  changed(event) {
    const holder = event.target.closest?.(".reading");
    if (holder && !event.target.closest(".sure")) forget(holder);
    if (event.target.name === "lockout_confirmed") {
      this.form.elements.lockout_at.value = event.target.checked ? new Date().toISOString() : "";
      this.sayLockout();
    }
    this.refresh();
    clearTimeout(this.saving);
    this.saving = setTimeout(() => this.saveNow(), 150);
  }

  sayLockout() {
    const at = this.form.elements.lockout_at?.value;
    this.lockoutWords.textContent = at ? _("Ticked at %(at)s.", { at: clock(at) }) : "";
  }

  // Keeps the draft. Closing out first waits for a saving that is under way, so that none comes after it.
  saveNow() {
    clearTimeout(this.saving);
    if (this.isClosed || !this.form) return this.saved ?? Promise.resolve();
    const values = this.values();
    const proposed = ["action_due_on", "action_owner"];
    const isBlank = !Object.keys(values).some((name) => !proposed.includes(name)) && !this.photos.length;
    if (isBlank && !this.wasSaved) return Promise.resolve();
    this.wasSaved = true;
    const more = this.more.map((check) => check.task).filter((task) => this.parts.has(task));
    this.draft = { ...this.draft, values, more, isStrict: this.draft.isStrict, at: Date.now() };
    this.saved = this.app.store.keepDraft(this.draft).catch((problem) => this.sayFull(problem.message));
    return this.saved;
  }

  // --- grades and questions ------------------------------------------------------------------------------------------
  refresh() {
    const acts = [];
    for (const part of this.parts.values()) {
      const finding = this.findingOf(part);
      this.showFinding(part.graded, finding);
      if (finding?.grade === "act") acts.push(part.check);
    }
    this.lockoutPart.hidden = ![...this.parts.values()].some(({ check }) => check.needs_lockout);
    const words = acts.length ? acts[0].suggested : "";
    follow(this.form, words);
    const title = this.form.elements.action_title.value;
    this.acts = acts;
    this.raiseButton.hidden = !words || Boolean(title);
    this.raiseButton.dataset.title = words;
    this.raiseButton.textContent = words
      ? _("Raise an action: %(title)s", { title: `${words.charAt(0).toLowerCase()}${words.slice(1)}` })
      : "";
  }

  findingOf(part) {
    const { check, element } = part;
    const values = {
      [FOUND]: {},
      [LEFT]: {}
    };
    part.faults = [];
    part.filled = false;
    const open = [];
    for (const each of check.readings) {
      for (const stage of [FOUND, LEFT]) {
        const name = `t${check.task}-${each.code}-${stage}`;
        const holder = element.querySelector(`[data-name="${name}"]`);
        if (!holder) continue;
        if (each.form === "choice") {
          const chosen = holder.querySelector("input:checked")?.value;
          if (chosen) {
            values[stage][each.code] = chosen;
            part.filled = true;
          }
          continue;
        }
        const { value, isOpen, words } = this.boxes.read(holder, each, stage);
        if (isOpen) {
          open.push(each.label);
          part.faults.push({
            name,
            words: _(
              "%(what)s: %(question)s Press what it is, or type it again.", {
                what: each.label,
                question: words,
              }
            ),
          });
        } else if (value !== null) values[stage][each.code] = value;
        if (holder.querySelector("input").value.trim()) part.filled = true;
      }
    }
    part.values = values;
    part.reason = element.querySelector(`[name="t${check.task}-reason"]:checked`)?.value ?? "";
    const deviation = this.toolsOf(part);
    const why = element.querySelector(`[name="t${check.task}-tool_reason"]`);
    if (part.filled && part.doubtful.length && !why?.value.trim()) {
      faultsOfTools(part, `t${check.task}-tool_reason`);
    }
    if (open.length) return { grade: null, words: openWords(open) };
    try {
      const found = this.grading.find(check, values[FOUND], values[LEFT], deviation);
      return found && { grade: found.grade, words: this.say(found.reason) };
    } catch {
      return null; // the site says what is wrong with it
    }
  }

  showFinding(place, finding) {
    const words = finding ? `${finding.grade ?? ""}|${finding.words}` : "";
    if (place.dataset.words === words) return; // said already; a screen reader need not hear it again
    place.dataset.words = words;
    place.replaceChildren(...(
      finding
      ? [finding.grade && mark(finding.grade), h("span", { class: "reason" }, finding.words)].filter(Boolean)
      : []
    ));
  }

  // Everything that is seen gets the answer of a thing in order; what is measured must still be measured.
  allInOrder() {
    for (const { check, element, undone } of this.parts.values()) {
      if (undone.querySelector("[data-empty] input:not(:checked)")) continue;
      for (const each of check.readings) {
        if (each.form !== "choice") continue;
        const grades = each.limits.grades ?? {};
        const value = IN_ORDER[each.code]
          ?? (each.code.endsWith(MARK) ? "in_line" : undefined)
          ?? each.options.map(([one]) => one).find((one) => grades[one] === "sound");
        const button = value && element.querySelector(
          `[data-name="t${check.task}-${each.code}-${FOUND}"] input[value="${CSS.escape(value)}"]`
        );
        if (button) button.checked = true;
      }
    }
    this.draft.isStrict = true;
    this.changed({ target: this.form });
    const [first] = this.missing();
    if (first) this.form.elements.namedItem(first.name).focus();
  }

  // Readings that the kind of check needs: those that it requires; after "all as it should be" everything that is
  // measured.
  missing() {
    const found = [];
    for (const { check, values, reason, element } of this.parts.values()) {
      if (reason) continue;
      const method = `t${check.task}-method`;
      const isAsked = element.querySelector(`[name="${method}"]`)
        && check.readings.some((each) => each.form === "number" && values[FOUND][each.code] !== undefined);
      if (isAsked && !element.querySelector(`[name="${method}"]:checked`)?.value) {
        found.push({
          name: method,
          words: _("%(kind)s: say how the torques were read; two methods do not compare.", check),
        });
      }
      const isTouched = Object.keys(values[FOUND]).length + Object.keys(values[LEFT]).length > 0;
      for (const each of check.readings) {
        const isMeasured = this.draft.isStrict && each.form === "number" && check.is_measured;
        if (!(isMeasured || (each.required && (isTouched || this.draft.isStrict)))) continue;
        if (values[FOUND][each.code] === undefined) {
          found.push({
            name: `t${check.task}-${each.code}-${FOUND}`,
            words: _("%(kind)s: %(what)s is missing.", { kind: check.kind, what: each.label }),
          });
        }
      }
    }
    return found;
  }

  // --- closing out ---------------------------------------------------------------------------------------------------
  faults() {
    this.refresh();
    const parts = [...this.parts.values()];
    const faults = parts.flatMap((part) => (part.reason ? [] : part.faults));
    const named = new Set(faults.map((each) => each.name));
    faults.push(...this.missing().filter((each) => !named.has(each.name)));
    for (const { check, filled, reason } of parts) {
      if (filled && reason) {
        faults.push({
          name: `t${check.task}-reason`,
          words: _("%(kind)s: give either readings or the reason why it could not be done.", check),
        });
      }
    }
    const done = parts.filter((part) => part.filled && !part.reason);
    if (!done.length && !parts.some((part) => part.reason) && !this.isActionAlone()) {
      faults.push({
        words: parts.length
          ? _("Fill in at least one check, or say that it could not be done.")
          : _("Choose a check, or raise an action.")
      });
    }
    if (done.some((part) => part.check.needs_lockout) && !this.form.elements.lockout_confirmed.checked) {
      faults.push({
        name: "lockout_confirmed",
        words: _("These checks need lockout. Confirm it, or say that the check could not be done."),
      });
    }
    const { action_title: title, action_due_on: due, no_action_reason: why } = this.form.elements;
    // An open action for another check of the device does not stand for this finding.
    if (this.acts.some((check) => !check.has_action) && !title.value.trim() && !why.value.trim()) {
      faults.push({
        name: "action_title",
        words: _("A finding says act: raise an action, or say why none is needed."),
      });
    }
    const alike = title.value.trim() && this.alike(title.value);
    if (alike && !this.form.elements.action_choice.value) {
      faults.push({
        name: "action_choice",
        words: _("An action for this is open here already: %(words)s. Add to it, or raise another knowingly.", alike),
      });
    }
    if (title.value.trim() && !due.value) {
      faults.push({ name: "action_due_on", words: _("Give the day by which it is to be done.") });
    }
    return faults;
  }

  // Something was seen and is to be put right, with no check filled in beside it.
  isActionAlone() {
    const parts = [...this.parts.values()];
    return Boolean(this.form.elements.action_title.value.trim()) && !parts.some((part) => part.filled || part.reason);
  }

  async closeOut() {
    const faults = this.faults();
    const { person } = this.app.sync.state;
    if (person && person.id !== this.app.pack.person.id) {
      faults.push({
        words: _(
          "This is the round of %(mine)s, and %(other)s is signed in. Open the round anew, or sign in as %(mine)s.", {
            mine: this.app.pack.person.name,
            other: person.name,
          }
        )
      });
    }
    if (faults.length) { this.complain(faults, _("Not closed out yet; what you typed is kept")); return; }
    if (this.isClosed) return;
    await this.saveNow();
    this.isClosed = true;
    const values = this.values();
    const done = [...this.parts.values()].filter((part) => part.filled || part.reason).map((part) => part.check);
    const made = new Date().toISOString();
    const { pack, store } = this.app;
    const entry = {
      key: this.draft.key,
      kind: this.isActionAlone() ? "action" : "visit",
      state: "kept",
      person: { id: pack.person.id, name: pack.person.name },
      installation: this.stop.installation,
      made_at: made,
      system: this.system,
      tasks: done.map((check) => check.task),
      values,
      more: this.draft.more ?? [],
      fields: { ...values, task: done.map((check) => String(check.task)), visited_at: made },
      photos: this.photos.map((photo) => photo.key),
      words: {
        tag: this.stop.tag,
        device: this.stop.device,
        checks: done.map((check) => check.kind).join(", ") || values.action_title || "",
      },
      reason: "",
      tries: 0,
    };
    try {
      await store.keepEntry(entry, this.draft.id);
    } catch (problem) {
      this.isClosed = false;
      this.sayFull(problem.message);
      return;
    }
    await this.app.refresh();
    location.hash = "#/";
    this.app.send();
  }

  complain(faults, title) {
    const items = faults.map(({ name, words }) => h("li", {},
      name ? h("a", {
        href: "#",
        onclick: (event) => {
          event.preventDefault();
          this.goTo(name);
        }
      }, words) : words));
    this.says.replaceChildren(h("b", {}, `${title}:`), h("ul", {}, items));
    this.says.hidden = false;
    this.says.focus?.();
    this.says.scrollIntoView?.({ block: "center" });
  }

  goTo(name) {
    const control = this.form.elements.namedItem(name);
    const element = control instanceof RadioNodeList ? control[0] : control;
    for (let at = element?.closest("details"); at; at = at.parentElement.closest("details")) at.open = true;
    element?.scrollIntoView({ block: "center" });
    element?.focus();
  }

  // --- photos --------------------------------------------------------------------------------------------------------
  async addPhotos(event) {
    const files = [...event.target.files];
    event.target.value = "";
    for (const file of files) {
      const bytes = await file.arrayBuffer();
      const photo = {
        key: newKey(),
        owner: this.draft.key,
        state: "kept",
        type: file.type || "image/jpeg",
        bytes,
        sha256: await digestOf(bytes),
        at: Date.now(),
      };
      try {
        await this.app.store.keepPhoto(photo);
        this.photos.push(photo);
        this.fullBar.hidden = true;
      } catch (problem) {
        this.sayFull(`${problem.message} ${_("This photo could not be kept.")}`);
      }
    }
    this.showPhotos();
    await this.saveNow();
  }

  showPhotos() {
    for (const address of this.addresses ?? []) URL.revokeObjectURL(address);
    this.addresses = [];
    this.photoList.replaceChildren(...this.photos.map((photo) => {
      const address = URL.createObjectURL(new Blob([photo.bytes], { type: photo.type }));
      this.addresses.push(address);
      return h("li", {},
        h("img", { src: address, alt: _("Photo taken %(at)s", { at: clock(photo.at) }), class: "photo" }),
        " ",
        _("%(size)s, kept on this phone", { size: megabytes(photo.bytes.byteLength) }),
        " ",
        h("button", { type: "button", class: "big", onclick: () => this.dropPhoto(photo) }, _("Drop it")));
    }));
  }

  async dropPhoto(photo) {
    await this.app.store.dropPhoto(photo.key);
    this.photos = this.photos.filter((each) => each.key !== photo.key);
    this.showPhotos();
    await this.saveNow();
  }

  sayFull(words) {
    const waiting = this.app.entries.filter((each) => each.state === "kept").length;
    this.fullBar.replaceChildren(h("b", {}, words),
      h("p", {}, _("What you typed is kept. Photos take the most room: send what waits, or drop photos.")),
      h("p", { class: "two" },
        h("button", { type: "button", class: "big", onclick: () => this.app.send() },
          waiting ? ngettext("Send %(n)s visit now", "Send %(n)s visits now", waiting) : _("Send now")),
        h("a", { class: "button big", href: "#/kept" }, _("See and drop photos"))));
    this.fullBar.hidden = false;
    this.fullBar.scrollIntoView?.({ block: "center" });
  }
}

function faultsOfTools(part, name) {
  const tools = [...new Set(part.doubtful.map((tool) => tool.name))].join(", ");
  part.faults.push({
    name,
    words: _("%(tools)s is out of calibration: take another one, or say why it is used all the same.", { tools }),
  });
}

async function digestOf(bytes) {
  if (!crypto.subtle) return ""; // without https the length alone must do
  return [...new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))]
    .map((each) => each.toString(16).padStart(2, "0"))
    .join("");
}

function setText(place, words) {
  if (place.textContent !== words) place.textContent = words;
}
