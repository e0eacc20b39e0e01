// One box for a number: what was understood, the question about what is hard to believe, and a button for each way to
// read it. A box that is in doubt has no value until a person has settled which it is.

import { makeTyping } from "./units.js";
import { _ } from "./words.js";

// The twin of inspections/calc/doubts.py.
export function makeWays({ typing, grading }) {
  return function waysOf(text, kind, system, plausible, options = {}) {
    const understood = typing.read(text, kind, system, options);
    if (understood.value === null) return understood.ways;
    const [first, ...others] = typing.ways(text, kind, system, options);
    const ways = [
      first,
      ...others.filter((way) => way.value < 0 || grading.implausible({ value: way.value, ...plausible }) === null)
    ];
    const { previous = null, low = null, high = null } = plausible;
    const slip = grading.slip_of(first.value, previous, low, high, kind);
    if (slip && !ways.some((way) => Math.abs(way.value - slip.value) <= 1e-9 * Math.max(
        Math.abs(way.value),
        Math.abs(slip.value)
      ))) {
      ways.push(...typing.ways(typing.inOwnUnit(slip.value, kind, system), kind, system).slice(0, 1));
    }
    return ways;
  };
}

export class Boxes {
  constructor({ rules, grading, say, system }) {
    this.typing = makeTyping(rules.typing);
    this.waysOf = makeWays({ typing: this.typing, grading });
    Object.assign(this, { grading, say, system });
  }

  // `each` says what is read, `stage` whether as found or as left. Answers { value, isOpen, words }: no value while it
  // is open what was meant, and the sentence that says why.
  read(holder, each, stage) {
    const box = boxOf(holder);
    const text = box.value;
    const options = { allowNegative: each.signed || !each.quantity };
    const understood = text.trim()
      ? this.typing.read(text, each.quantity, this.system, options)
      : { value: null, echo: "", ways: [] };
    const echo = holder.querySelector(".echo");
    setText(echo, understood.problem ?? (understood.echo.startsWith("=") ? understood.echo : ""));
    echo.classList.toggle("odd", Boolean(understood.problem));
    if (understood.problem) box.setAttribute("aria-invalid", "true");
    else box.removeAttribute("aria-invalid");
    // A part changed at this visit may well be larger than before.
    const plausible = stage === "as_left" ? { ...each.plausible, previous: null, expected: null } : each.plausible;
    const question = understood.value === null
      ? null
      : this.grading.implausible({ value: understood.value, ...plausible });
    const sure = holder.querySelector(".sure");
    const settled = sureBox(sure);
    if (!question) settled.value = "";
    const ways = question || understood.problem
      ? this.waysOf(text, each.quantity, this.system, plausible, options)
      : [];
    setText(sure.querySelector(".question"), question ? this.say(question) : "");
    showWays(holder, question ? ways : understood.ways, settled.value === "on" ? ways[0] : null);
    sure.hidden = !question && !understood.ways.length;
    const isOpen = Boolean(understood.problem) || (Boolean(question) && settled.value !== "on");
    return {
      value: isOpen ? null : understood.value,
      isOpen,
      words: understood.problem ?? (isOpen ? this.say(question) : ""),
    };
  }
}

// Nobody's "it is right" may stand for a value that was typed after it.
export function forget(holder) {
  sureBox(holder.querySelector(".sure")).value = "";
}

// What stands where a check would have its grade while a reading of it is open.
export function openWords(labels) {
  return _("No grade until it is settled what was read: %(what)s.", { what: [...new Set(labels)].join(", ") });
}

function boxOf(holder) {
  return holder.querySelector("input:not([type=hidden]):not([type=radio])");
}

// The page as the server sends it has radio buttons here, for a browser without scripts; buttons take their place.
function sureBox(sure) {
  const known = sure.querySelector("input[type=hidden]");
  if (known) return known;
  const hidden = document.createElement("input");
  hidden.type = "hidden";
  hidden.name = sure.dataset.name;
  hidden.value = sure.querySelector("input:checked")?.value ?? "";
  sure.querySelector(".ways").replaceChildren();
  sure.append(hidden);
  return hidden;
}

function showWays(holder, ways, pressed) {
  const place = holder.querySelector(".sure .ways");
  const key = JSON.stringify([ways.map((way) => way.text), pressed?.text]);
  if (place.dataset.key === key) return; // the same ones: a button keeps its focus
  place.dataset.key = key;
  const had = place.contains(document.activeElement);
  place.replaceChildren(...ways.map((way, nth) => button(holder, way, nth === 0, way === pressed)));
  const next = place.querySelector("[aria-pressed=true]") ?? boxOf(holder);
  if (had) next.focus();
}

function button(holder, way, isAsRead, isPressed) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "way";
  made.textContent = _("It is %(what)s", { what: way.words });
  made.setAttribute("aria-pressed", String(isPressed));
  made.addEventListener("click", () => settle(holder, way, isAsRead));
  return made;
}

function settle(holder, way, isAsRead) {
  const box = boxOf(holder);
  const settled = holder.querySelector(".sure input[type=hidden]");
  if (isAsRead && box.getAttribute("aria-invalid") !== "true") {
    settled.value = settled.value === "on" ? "" : "on";
    settled.dispatchEvent(new Event("change", { bubbles: true }));
    return;
  }
  box.value = way.text;
  box.dispatchEvent(new Event("input", { bubbles: true }));
}

function setText(place, words) {
  if (place.textContent !== words) place.textContent = words;
}
