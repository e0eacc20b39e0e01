// A reason as a person reads it: the text of its rule, with its values in the person's units. The twin of
// plant/words/reasons.py; a page test holds both to the same sentences. The texts come with the page or the pack.

import { shownIn, trimmed } from "./units.js";
import { _ } from "./words.js";

const MORE_DIGITS = 6; // enough to tell two readings apart that differ at all
const PLAIN = { stored: "", default: {}, units: [] };

// A number for a sentence, as plant/calc/wording.py writes it: two decimals at most, three significant digits below 1.
export function figure(value) {
  const size = Math.abs(value);
  const digits = size >= 1 || size === 0 ? 2 : 2 - Math.floor(Math.log10(size));
  // A tie that is exact in binary (73.125) goes to the even digit, as on the server.
  const isTie = Math.abs((value * 2 ** (digits + 1)) % 2) === 1;
  const text = isTie
    ? ((2 * Math.round((value * 10 ** digits) / 2)) / 10 ** digits).toFixed(digits)
    : value.toFixed(digits);
  return text.replace(/0+$/, "").replace(/\.$/, "");
}

// Answers a function that says a reason { rule, values }; a pack from before has no texts, and nothing is said then.
export function makeSay({ texts = {}, typing, system }) {
  const kinds = Object.keys(typing.kinds).filter(Boolean).sort((a, b) => b.length - a.length);
  const kindOf = (name) => kinds.find((kind) => name.endsWith(`_${kind}`)) ?? "";

  function shownAs(kind) {
    const rules = kind ? typing.kinds[kind] : PLAIN;
    const unit = rules.units.find((each) => each.name === rules.default[system]) ?? { label: "", factor: [1, 1] };
    return { unit, isStored: unit.label === rules.stored, shown: shownIn(rules, system) };
  }

  function number(name, value) {
    const { unit, isStored, shown } = shownAs(kindOf(name));
    if (isStored) return figure(value);
    const isInches = unit.label === "in";
    return trimmed(
      (value * unit.factor[1]) / unit.factor[0],
      isInches ? 3 : shown.digits,
      !isInches && shown.thousands
    );
  }

  // With more digits where it would read like another one that it is not.
  function apart(name, value, values) {
    const { unit } = shownAs(kindOf(name));
    const others = Object.entries(values).filter(([other, each]) =>
      other !== name && typeof each === "number" && each !== value && kindOf(other) === kindOf(name));
    const isAlike = others.some(([, each]) => number(name, each) === number(name, value));
    const shown = isAlike
      ? trimmed((value * unit.factor[1]) / unit.factor[0], MORE_DIGITS)
      : number(name, value);
    return `${shown} ${unit.label}`.trim();
  }

  function written(name, value) {
    if (value === null) return _("not stated");
    if (Array.isArray(value)) return value.map(say).join(" ");
    if (typeof value === "object") return "word" in value ? texts[value.word] ?? value.word : say(value);
    if (typeof value === "string") return value; // as somebody typed it
    return `${number(name, value)} ${shownAs(kindOf(name)).unit.label}`.trim();
  }

  function say({ rule, values }) {
    const filled = {};
    for (const [name, value] of Object.entries(values)) {
      const forms = { "": written(name, value) };
      if (typeof value === "number") {
        Object.assign(forms, { _number: number(name, value), _apart: apart(name, value, values) });
      } else if (value === null) forms._number = forms._apart = forms[""];
      const kind = kindOf(name);
      const base = kind ? name.slice(0, -kind.length - 1) : name;
      for (const [form, words] of Object.entries(forms)) {
        filled[`${name}${form}`] = words;
        filled[`${base}${form}`] ??= words;
      }
    }
    return (texts[rule] ?? "").replace(
      /%(?:\((\w+)\)[sd]|%)/g,
      (all, name) => (name === undefined ? "%" : filled[name] ?? all)
    );
  }

  return say;
}
