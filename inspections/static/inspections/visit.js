// The close-out page while it is filled in: what was understood, the grade of each check, questions, the action it
// calls for. Nothing here decides anything: without it the page works the same, and the server grades and asks again.

import { Boxes, forget, openWords } from "./doubt.js";
import { makeGrading } from "./grading.js";
import { makeSay } from "./reasons.js";
import { follow, suggest } from "./suggested.js";
import { _ } from "./words.js";

const form = document.getElementById("visit");
const data = document.getElementById("visit-rules");
const MARKS = {
  sound: '<circle cx="7" cy="7" r="6" fill="currentColor"/>',
  watch: '<path d="M7 1 13 13H1Z" fill="currentColor"/>',
  act: '<path d="M7 0 14 7 7 14 0 7Z" fill="currentColor"/>',
};
if (form && data) start(JSON.parse(data.textContent));

function start(rules) {
  const grading = makeGrading(rules.grading);
  const { system } = form.dataset;
  const say = makeSay({ ...rules, system });
  const boxes = new Boxes({ rules, grading, say, system });
  const sections = new Map(rules.checks.map((check) => [String(check.task), check]));

  function refresh() {
    const acts = [];
    for (const section of form.querySelectorAll("section.check")) {
      const check = sections.get(section.dataset.task);
      const finding = refreshSection(section, check);
      if (finding?.grade === "act") acts.push(check);
    }
    offerAction(acts);
  }

  function refreshSection(section, check) {
    const values = { as_found: {}, as_left: {} };
    const open = [];
    for (const each of check.readings) {
      for (const stage of ["as_found", "as_left"]) {
        const name = `t${check.task}-${each.code}-${stage}`;
        if (each.form === "choice") {
          const chosen = section.querySelector(`[name="${name}"]:checked, select[name="${name}"]`);
          if (chosen?.value) values[stage][each.code] = chosen.value;
          continue;
        }
        const box = section.querySelector(`[name="${name}"]`);
        if (!box) continue;
        const { value, isOpen } = boxes.read(box.closest(".reading"), each, stage);
        if (isOpen) open.push(each.label);
        else if (value !== null) values[stage][each.code] = value;
      }
    }
    const tools = toolsOf(section, check);
    if (open.length) {
      show(section.querySelector(".graded"), { grade: null, words: openWords(open) });
      return null;
    }
    let finding = null;
    try {
      finding = grading.find(check, values.as_found, values.as_left, tools);
    } catch {
      finding = null; // the server says what is wrong with it
    }
    show(section.querySelector(".graded"), finding && { grade: finding.grade, words: say(finding.reason) });
    return finding;
  }

  // The deviation by a fastener's code; what speaks against a wrench stands beside its select.
  function toolsOf(section, check) {
    const named = new Map();
    for (const select of section.querySelectorAll(".tool select[name$='-instrument']")) {
      const tool = (rules.tools ?? []).find((each) => String(each.id) === select.value);
      const deviation = tool && _("Permissible deviation %(pct)s %.", { pct: tool.deviation_pct });
      setText(
        select.parentElement.querySelector(".tool-words"),
        tool ? `${deviation} ${tool.doubt ? _("Out of calibration: take another one, or say why.") : tool.state}` : ""
      );
      named.set(select.name, tool);
    }
    const common = named.get(`t${check.task}-instrument`);
    return (code) => (named.get(`t${check.task}-${code}-instrument`) ?? common)?.deviation_pct;
  }

  function offerAction(acts) {
    const raise = document.getElementById("raise");
    const title = form.elements.action_title;
    if (!raise || !title) return;
    const words = acts.length ? acts[0].suggested : "";
    follow(form, words);
    raise.hidden = !acts.length || Boolean(title.value);
    raise.dataset.title = words;
    setText(
      raise,
      words ? _("Raise an action: %(title)s", { title: `${words.charAt(0).toLowerCase()}${words.slice(1)}` }) : ""
    );
  }

  form.addEventListener("input", (event) => {
    const holder = event.target.closest(".reading");
    if (holder && !event.target.closest(".sure")) forget(holder);
    refresh();
  });
  form.addEventListener("change", refresh);
  document.getElementById("raise")?.addEventListener("click", (event) => {
    event.preventDefault(); // an address with #action would follow the visit to its page
    suggest(form, event.currentTarget.dataset.title);
    refresh();
    form.elements.action_due_on.focus();
  });

  const lockout = form.elements.lockout_confirmed;
  lockout?.addEventListener("change", () => {
    const now = new Date();
    form.elements.lockout_at.value = lockout.checked ? now.toISOString() : "";
    const options = { hour: "2-digit", minute: "2-digit", hourCycle: "h23", timeZone: form.dataset.zone };
    const at = new Intl.DateTimeFormat("en-GB", options).format(now); // by the plant's clock, as all times of the site
    setText(document.getElementById("lockout-words"), lockout.checked ? _("Ticked at %(at)s.", { at }) : "");
  });

  let isSent = false;
  form.addEventListener("submit", (event) => {
    if (isSent) event.preventDefault();
    isSent = true;
  });
  window.addEventListener("pageshow", () => {
    isSent = false;
    refresh();
  });
  document.getElementById("errors")?.focus();
  refresh();
}

function show(place, finding) {
  const words = finding ? `${finding.grade ?? ""}|${finding.words}` : "";
  if (place.dataset.words === words) return; // said already; a screen reader need not hear it again
  place.dataset.words = words;
  place.replaceChildren();
  if (!finding) return;
  place.dataset.grade = finding.grade ?? "";
  if (finding.grade) {
    const mark = document.createElement("span");
    mark.className = `mark ${finding.grade}`;
    mark.innerHTML = `<svg viewBox="0 0 14 14" aria-hidden="true">${MARKS[finding.grade]}</svg>`;
    mark.append(finding.grade);
    place.append(mark);
  }
  const reason = document.createElement("span");
  reason.className = "reason";
  reason.textContent = finding.words;
  place.append(reason);
}

function setText(place, words) {
  if (place && place.textContent !== words) place.textContent = words;
}
