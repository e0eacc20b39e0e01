// Reads what a person types for a quantity, by the units that the server hands over (plant/calc/units.py: typing_grammar).
// The steps are those of the server's grammar; one table of typed lengths holds both to the same answers.

const SAME_SIGN = [
  [/[′’‘ʹ´`]/g, "'"], [/[″”“ʺ]/g, '"'], [/[⁄∕]/g, "/"], [/[−–—‐‑]/g, "-"], [/[⋅•∙]/g, "·"], [/º/g, "°"], [/×/g, "*"],
];
const NUMBER = /^[.,]?[0-9][0-9.,]*$/;

class NotUnderstood extends Error {}

export function makeReader(grammar) {
  const spelt = new Map();
  for (const [kind, rules] of Object.entries(grammar.kinds)) {
    spelt.set(kind, rules.units.map((unit) => ({ ...unit, pattern: new RegExp(`^(?:${unit.spelling})$`, "i") })));
  }

  function read(text, kind, system, { allowNegative = false } = {}) {
    const rules = grammar.kinds[kind];
    try {
      if (!text.trim()) throw new NotUnderstood("it is empty");
      if (text.length > grammar.longest) throw new NotUnderstood(`it has more than ${grammar.longest} characters`);
      const { value, notes, isStored } = readTokens(tokensOf(text, grammar.vulgar), kind, system);
      if (!Number.isFinite(value)) throw new NotUnderstood("the number is too large");
      if (value < 0 && !allowNegative) throw new NotUnderstood("it is negative, and only zero or more is allowed here");
      const shown = `${trimmed(value, isStored ? 9 : rules.digits)} ${rules.stored}`.trim();
      const echo = (isStored ? shown : `= ${shown}`) + (notes.length ? ` (${notes.join("; ")})` : "");
      return { value, echo };
    } catch (problem) {
      if (!(problem instanceof NotUnderstood)) throw problem;
      return { value: null, problem: `“${text.trim()}” was not understood as ${rules.what}: ${problem.message}. Give ${rules.what} such as ${rules.examples}.` };
    }
  }

  function readTokens(tokens, kind, system) {
    if (!tokens.length) throw new NotUnderstood("it is empty");
    const sign = tokens[0] === "-" ? -1 : 1;
    if (tokens[0] === "-" || tokens[0] === "+") tokens = tokens.slice(1);
    if (!tokens.some((token) => NUMBER.test(token))) throw new NotUnderstood(`“${tokens.join(" ")}” holds no number`);
    const parts = partsOf(tokens, kind);
    if (parts.length > 2) throw new NotUnderstood("it has more than two parts with units");
    const rules = grammar.kinds[kind];
    const plain = spelt.get(kind).find((each) => each.name === rules.default[system]);
    const unit = parts[0].unit ?? plain;
    let amount = times(parts[0].number, unit.factor);
    const units = [unit];
    if (parts.length === 2) {
      const pair = grammar.pairs[unit.name];
      const small = pair && spelt.get(kind).find((each) => each.name === pair.name);
      if (!parts[0].unit || !small || (parts[1].unit ?? small).name !== small.name) {
        throw new NotUnderstood("units are mixed; only feet with inches and hours with minutes go together");
      }
      if (parts[0].number[1] !== 1) throw new NotUnderstood(`${unit.label} with ${small.label} must be a whole number of ${unit.label}`);
      if (parts[1].number[0] / parts[1].number[1] >= pair.limit) throw new NotUnderstood(`${small.label} after ${unit.label} must be less than ${pair.limit}`);
      amount = plus(amount, times(parts[1].number, small.factor));
      units.push(small);
    }
    const stored = spelt.get(kind)[0];
    return {
      value: (sign * amount[0]) / amount[1],
      notes: units.map((each) => each.taken_as).filter(Boolean),
      isStored: units.length === 1 && unit.label === rules.stored && unit.factor[0] === unit.factor[1] && stored !== undefined,
    };
  }

  function partsOf(tokens, kind) {
    const parts = [];
    let number = [];
    for (const token of tokens) {
      if (NUMBER.test(token) || token === "/" || (token === "-" && number.length)) number.push(token);
      else if (token === "-" && parts.length) continue;
      else if (!number.length) throw new NotUnderstood(`“${token}” stands where a number was expected`);
      else {
        parts.push({ number: numberOf(number), unit: unitOf(token, kind) });
        number = [];
      }
    }
    if (number.length) parts.push({ number: numberOf(number), unit: null });
    return parts;
  }

  function unitOf(word, kind) {
    const bare = word.replace(/^-/, "").trim().replace(/\.$/, "").trim();
    const known = spelt.get(kind).find((unit) => unit.pattern.test(bare));
    if (known) return known;
    const elsewhere = [...spelt.values()].some((units) => units.some((unit) => unit.pattern.test(bare)));
    throw new NotUnderstood(elsewhere ? `“${word}” is not a unit of ${grammar.kinds[kind].what.replace(/^\S+ /, "")}` : `“${word}” is not a known unit`);
  }

  return read;
}

function tokensOf(text, vulgar) {
  let plain = [...text].map((sign) => (sign in vulgar ? ` ${vulgar[sign]} ` : sign)).join("");
  for (const [from, to] of SAME_SIGN) plain = plain.replace(from, to);
  plain = plain.replace(/''/g, '"').replace(/\s+/g, " ").trim();
  const tokens = [];
  for (const match of plain.matchAll(/([.,]?[0-9][0-9.,]*)|((?:(?![.,]?[0-9]).)+)/gs)) {
    const token = match[0].trim();
    if (!token) continue;
    // A dash between feet and inches is a joint of drawing style, not part of the unit.
    const isJoint = match[2] !== undefined && token.length > 1 && token.endsWith("-") && match.index + match[0].length < plain.length;
    if (isJoint) tokens.push(token.slice(0, -1).trim(), "-");
    else tokens.push(token);
  }
  return tokens;
}

function numberOf(tokens) {
  const shown = tokens.join(" ").replaceAll(" / ", "/").replaceAll(" - ", "-");
  const slashes = tokens.filter((token) => token === "/").length;
  if (!slashes) {
    if (tokens.length === 1) return decimalOf(tokens[0]);
    throw new NotUnderstood(`“${shown}” is more than one number without a unit between; write it without spaces`);
  }
  if (slashes > 1) throw new NotUnderstood(`“${shown}” has more than one fraction`);
  const at = tokens.indexOf("/");
  const [above, below] = [tokens[at - 1], tokens.slice(at + 1)];
  if (at === 0 || !isWhole(above)) throw new NotUnderstood(`“${shown}” has no whole number before the slash`);
  if (below.length !== 1 || !isWhole(below[0])) throw new NotUnderstood(`“${shown}” has no single whole number after the slash`);
  if (Number(below[0]) === 0) throw new NotUnderstood(`“${shown}” divides by zero`);
  const before = tokens.slice(0, at - 1);
  const whole = before.filter((token) => token !== "-");
  if (whole.length > 1 || before.length - whole.length > 1 || (whole.length && !isWhole(whole[0]))) {
    throw new NotUnderstood(`“${shown}” is no whole number with one fraction`);
  }
  const denominator = Number(below[0]);
  return reduced([(whole.length ? Number(whole[0]) : 0) * denominator + Number(above), denominator]);
}

function decimalOf(token) {
  if (/^([0-9]+\.?|[0-9]*\.[0-9]+)$/.test(token)) return fraction(token.replace(/\.$/, ""));
  if (/^[1-9][0-9]{0,2},[0-9]{3}$/.test(token)) {
    throw new NotUnderstood(`“${token}” may mean ${token.replace(",", "")} or ${token.replace(",", ".")}; write one of these`);
  }
  if (/^[1-9][0-9]{0,2}((,[0-9]{3})+\.[0-9]+|(,[0-9]{3}){2,})$/.test(token)) return fraction(token.replaceAll(",", ""));
  if (/^[1-9][0-9]{0,2}(\.[0-9]{3})+,[0-9]+$/.test(token)) return fraction(token.replaceAll(".", "").replace(",", "."));
  if (/^[0-9]*,[0-9]+$/.test(token)) return fraction(token.replace(",", "."));
  throw new NotUnderstood(`“${token}” is no number`);
}

function fraction(decimal) {
  const [whole, rest = ""] = decimal.split(".");
  return reduced([Number(whole + rest), 10 ** rest.length]);
}

function isWhole(token) {
  return /^[0-9]+$/.test(token);
}

function reduced([above, below]) {
  let [a, b] = [above, below];
  while (b) [a, b] = [b, a % b];
  return Number.isFinite(above) && a ? [above / a, below / a] : [above, below];
}

function times([a, b], [c, d]) {
  return reduced([a * c, b * d]);
}

function plus([a, b], [c, d]) {
  return reduced([a * d + c * b, b * d]);
}

function trimmed(value, digits) {
  const text = value.toFixed(digits);
  return text.includes(".") ? text.replace(/0+$/, "").replace(/\.$/, "") : text;
}

const SAID = /(?<![\w.,/])(?:([0-9][0-9,]*(?:\.[0-9]+)?)( to | and |, limit ))?([0-9][0-9,]*(?:\.[0-9]+)?) (m\/s|mm|m|N·m|N|kg)(?![\w/·])/g;
const SAID_KINDS = { mm: "mm", m: "m", "m/s": "m_s", "N·m": "nm", N: "n", kg: "kg" };

// The twin of sentence_in: a sentence made with SI units, as a person with this unit system reads it.
export function makeTeller(grammar) {
  return (words, system) => words.replace(SAID, (whole, first, joint, second, label) => {
    const rules = grammar.kinds[SAID_KINDS[label]];
    const unit = rules.units.find((each) => each.name === rules.default[system]);
    if (unit.label === label) return whole;
    const digits = unit.label === "in" ? 3 : rules.digits;
    const told = (text) => trimmed((Number(text.replaceAll(",", "")) * unit.factor[1]) / unit.factor[0], digits);
    return `${first === undefined ? "" : told(first) + joint}${told(second)} ${unit.label}`;
  });
}
