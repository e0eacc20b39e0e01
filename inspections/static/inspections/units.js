// Reads what a person types for a quantity, by the units that the server hands over (plant/calc/units.py: typing_grammar).
// The steps are those of the server's grammar; one table of typed lengths holds both to the same answers.

const SAME_SIGN = [
  [/[′’‘ʹ´`]/g, "'"], [/[″”“ʺ]/g, '"'], [/[⁄∕]/g, "/"], [/[−–—‐‑]/g, "-"], [/[⋅•∙]/g, "·"], [/º/g, "°"], [/×/g, "*"],
];
const NUMBER = /^[.,]?[0-9][0-9.,]*$/;
// Groups of three digits, parted by a thin, narrow no-break or no-break space.
const THIN = "\\u2009\\u202f\\u00a0";
const GROUPED = new RegExp(`(?<![0-9.,])(?:[1-9][0-9]{0,2}(?:[${THIN}][0-9]{3})+|[0-9]+)(?:[.,](?:[0-9]{3}[${THIN}])*[0-9]+)?(?![0-9]|\\s*[/⁄∕])`, "g");
const SPACED = /^[1-9][0-9]{0,2}(?: [0-9]{3})+(?:[.,][0-9]+)?$/;
const FRACTION_NOTE = "a fraction is read as inches";
// A pack from before the rule was handed over holds no unit for a bare fraction.
const FRACTIONS_BEFORE = { mm: { metric: "inch", us: "inch" }, m: { metric: "", us: "foot" } };

class NotUnderstood extends Error {}

// Some tokens may mean several things: what each reading puts in their place.
class Doubtful extends NotUnderstood {
  constructor(message, part, readings) {
    super(message);
    Object.assign(this, { part, readings });
  }

  textsOf(tokens) {
    const { part, readings } = this;
    const at = tokens.findIndex((_each, k) => part.every((token, n) => tokens[k + n] === token));
    return readings.map((each) => joined([...tokens.slice(0, at), each, ...tokens.slice(at + part.length)]));
  }
}

// What reads a text, and every way to read one that is in doubt.
export function makeTyping(grammar) {
  const spelt = new Map();
  for (const [kind, rules] of Object.entries(grammar.kinds)) {
    const withPattern = (unit) => ({ ...unit, pattern: new RegExp(`^(?:${unit.spelling})$`, "i") });
    spelt.set(kind, { units: rules.units.map(withPattern), only: (rules.only ?? []).map(withPattern) });
  }

  // { value, echo }, or { value: null, problem, ways } where it is not understood or may mean several things.
  function read(text, kind, system, options = {}) {
    try {
      const { value, echo } = understood(text, kind, system, options);
      return { value, echo, ways: [] };
    } catch (problem) {
      if (!(problem instanceof NotUnderstood)) throw problem;
      const ways = problem instanceof Doubtful ? waysOf(problem.textsOf(tokensOf(text, grammar.vulgar)), kind, system, options) : [];
      return { value: null, problem: refusal(text, kind, problem.message), ways };
    }
  }

  function refusal(text, kind, problem) {
    const { what, examples } = grammar.kinds[kind];
    if (!text.trim()) return `Nothing was typed. Give ${what} such as ${examples}.`;
    const shown = text.length > grammar.longest ? `${text.slice(0, 20)} ...` : text.trim();
    return `“${shown}” was not understood as ${what}: ${problem}. Give ${what} such as ${examples}.`;
  }

  function understood(text, kind, system, { allowNegative = false } = {}) {
    const rules = grammar.kinds[kind];
    if (text.length > grammar.longest) throw new NotUnderstood(`it has ${text.length} characters, at most ${grammar.longest} are read`);
    const { value, notes, isStored } = readTokens(tokensOf(text, grammar.vulgar), kind, system);
    if (!Number.isFinite(value)) throw new NotUnderstood("the number is too large");
    if (value < 0 && !allowNegative) throw new NotUnderstood("it is negative, and only zero or more is allowed here");
    const label = rules.stored === "°" ? "°" : ` ${rules.stored}`;
    const { digits, thousands } = shownIn(rules, "metric");
    const shown = `${isStored ? trimmed(value, 9) : trimmed(value, digits, thousands)}${label}`.trim();
    const echo = (isStored ? shown : `= ${shown}`) + (notes.length ? ` (${notes.join("; ")})` : "");
    return { value, echo };
  }

  function readTokens(given, kind, system) {
    if (!given.length) throw new NotUnderstood("it is empty");
    const sign = given[0] === "-" ? -1 : 1;
    const tokens = unsigned(given);
    if (!tokens.some((token) => NUMBER.test(token))) throw new NotUnderstood(`“${tokens.join(" ")}” holds no number`);
    const parts = partsOf(tokens, kind, system);
    if (parts.length > 2) throw new NotUnderstood("it has more than two parts with units");
    const rules = grammar.kinds[kind];
    const notes = [];
    let { unit } = parts[0];
    if (!unit) {
      unit = bareUnit(parts[0], kind, system);
      if (!unit) {
        const shown = joined(parts[0].tokens);
        const readings = [`${trimmed(parts[0].number[0] / parts[0].number[1], 9)} m`, `${shown} ft`];
        throw new Doubtful(`“${shown}” may mean ${readings.join(" or ")}; write the unit`, parts[0].tokens, readings);
      }
      if (unit.name !== rules.default[system]) notes.push(FRACTION_NOTE);
    }
    let amount = times(parts[0].number, unit.factor);
    const units = [unit];
    if (parts.length === 2) {
      const pair = grammar.pairs[unit.name];
      const small = pair && unitNamed(pair.name, kind);
      if (!parts[0].unit || !small || (parts[1].unit ?? small).name !== small.name) {
        throw new NotUnderstood("units are mixed; only feet with inches and hours with minutes go together");
      }
      if (parts[0].number[1] !== 1) throw new NotUnderstood(`${unit.label} with ${small.label} must be a whole number of ${unit.label}`);
      if (parts[1].number[0] / parts[1].number[1] >= pair.limit) throw new NotUnderstood(`${small.label} after ${unit.label} must be less than ${pair.limit}`);
      amount = plus(amount, times(parts[1].number, small.factor));
      units.push(small);
    }
    return {
      value: (sign * amount[0]) / amount[1] + 0, // no minus before zero
      notes: [...notes, ...units.map((each) => each.taken_as).filter(Boolean)],
      isStored: units.length === 1 && unit.label === rules.stored && unit.factor[0] === unit.factor[1],
    };
  }

  function partsOf(tokens, kind, system) {
    const parts = [];
    let number = [];
    for (const token of tokens) {
      if (NUMBER.test(token) || token === "/" || (token === "-" && number.length)) number.push(token);
      else if (token === "-" && parts.length) continue;
      else if (!number.length) throw new NotUnderstood(`“${token}” stands where a number was expected`);
      else {
        parts.push({ number: numberOf(number), unit: unitOf(token, kind, system), tokens: number });
        number = [];
      }
    }
    if (number.length) parts.push({ number: numberOf(number), unit: null, tokens: number });
    return parts;
  }

  function unitNamed(name, kind) {
    return spelt.get(kind).units.find((each) => each.name === name) ?? NO_UNIT;
  }

  // The unit of a number that is typed without one; null where a fraction is asked back.
  function bareUnit(part, kind, system) {
    const rules = grammar.kinds[kind];
    const own = part.tokens.includes("/") ? (rules.fraction ?? FRACTIONS_BEFORE[kind] ?? rules.default)[system] : rules.default[system];
    return own === "" ? null : unitNamed(own, kind);
  }

  function unitOf(word, kind, system) {
    const bare = word.replace(/^-/, "").trim().replace(/\.$/, "").trim();
    const { units, only } = spelt.get(kind);
    const known = units.find((unit) => unit.pattern.test(bare));
    if (known) return known;
    const ofSome = only.find((unit) => unit.pattern.test(bare));
    if (ofSome?.system === system) return ofSome;
    if (ofSome) throw new Doubtful(`“${word}” ${ofSome.doubt}`, [word], ofSome.may_be);
    const elsewhere = [...spelt.values()].some((each) => each.units.some((unit) => unit.pattern.test(bare)));
    throw new NotUnderstood(elsewhere ? `“${word}” is not a unit of ${grammar.kinds[kind].what.replace(/^\S+ /, "")}` : `“${word}” is not a known unit`);
  }

  // Every way to read a text, as it is read first: { text, value, words }, each text meaning nothing else.
  function ways(text, kind, system, options = {}) {
    if (text.length > grammar.longest) return [];
    const tokens = tokensOf(text, grammar.vulgar);
    let parts;
    try {
      readTokens(tokens, kind, system);
      parts = partsOf(unsigned(tokens), kind, system);
    } catch (problem) {
      if (!(problem instanceof NotUnderstood)) throw problem;
      return problem instanceof Doubtful ? waysOf(problem.textsOf(tokens), kind, system, options) : [];
    }
    if (parts.length > 1 || parts[0].unit || !kind) return waysOf([text.trim()], kind, system, options);
    const rules = grammar.kinds[kind];
    const names = new Set([bareUnit(parts[0], kind, system).name, ...[system, "metric", "us"].map((each) => rules.default[each])]);
    return waysOf([...names].map((name) => withWritten(tokens, parts[0], unitNamed(name, kind))), kind, system, options);
  }

  function waysOf(texts, kind, system, options) {
    const found = [];
    for (const text of texts) {
      try {
        const tokens = tokensOf(text, grammar.vulgar);
        const parts = partsOf(unsigned(tokens), kind, system);
        const isBare = parts.length === 1 && !parts[0].unit;
        const written = isBare ? withWritten(tokens, parts[0], bareUnit(parts[0], kind, system) ?? NO_UNIT) : text;
        const { value, echo } = understood(written, kind, system, options);
        found.push({ text: written, value, words: echo.startsWith("=") ? `${written} ${echo}` : written });
      } catch (problem) {
        if (!(problem instanceof NotUnderstood)) throw problem; // this one cannot be meant
      }
    }
    return found;
  }

  // A stored value as a person of this system would type it, with its unit.
  function inOwnUnit(value, kind, system) {
    const unit = unitNamed(grammar.kinds[kind].default[system], kind);
    return `${trimmed((value * unit.factor[1]) / unit.factor[0], 9)} ${unit.label}`.trim();
  }

  return { read, ways, inOwnUnit };
}

const NO_UNIT = { label: "", name: "dimensionless", factor: [1, 1], taken_as: "" };

function unsigned(tokens) {
  return tokens[0] === "-" || tokens[0] === "+" ? tokens.slice(1) : tokens;
}

function joined(tokens) {
  return tokens.join(" ").replace(/ ?\/ ?/g, "/").replace(/^([-+]) /, "$1");
}

// A bare number with a unit; a fraction becomes a short decimal number where nobody reads fractions.
function withWritten(tokens, part, unit) {
  if (part.tokens.includes("/") && !["inch", "foot"].includes(unit.name) && 1e9 % part.number[1] === 0) {
    return `${tokens[0] === "-" ? "-" : ""}${trimmed(part.number[0] / part.number[1], 9)} ${unit.label}`.trim();
  }
  return `${joined(tokens)} ${unit.label}`.trim();
}

function tokensOf(text, vulgar) {
  const grouped = text.replace(GROUPED, (number) => number.replace(new RegExp(`[${THIN}]`, "g"), ""));
  let plain = [...grouped].map((sign) => (sign in vulgar ? ` ${vulgar[sign]} ` : sign)).join("");
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
    const words = `“${shown}” is more than one number without a unit between; write it without spaces`;
    if (SPACED.test(shown)) throw new Doubtful(words, tokens, [tokens.join("")]);
    throw new NotUnderstood(words);
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
    const readings = [token.replace(",", ""), token.replace(",", ".")];
    throw new Doubtful(`“${token}” may mean ${readings.join(" or ")}; write one of these`, [token], readings);
  }
  if (/^[1-9][0-9]{0,2}((,[0-9]{3})+\.[0-9]+|(,[0-9]{3}){2,})$/.test(token)) return fraction(token.replaceAll(",", ""));
  if (/^[1-9][0-9]{0,2}((\.[0-9]{3})+,[0-9]+|(\.[0-9]{3}){2,})$/.test(token)) return fraction(token.replaceAll(".", "").replace(",", "."));
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

// Decimals at most, and whether thousands are grouped; a pack from before holds the metric decimals alone.
function shownIn(rules, system) {
  return rules.shown?.[system] ?? { digits: rules.digits, thousands: false };
}

// Decimals at most, ties away from zero, of the shortest decimal that names the number: 69.85 is a tie, as on paper.
function trimmed(value, digits, thousands = false) {
  const [, whole, rest = "", power = "0"] = /^([0-9]+)(?:\.([0-9]+))?(?:e([+-][0-9]+))?$/.exec(String(Math.abs(value)));
  const shift = Number(power) - rest.length + digits;
  const all = BigInt(whole + rest);
  const unit = 10n ** BigInt(Math.abs(shift));
  const scaled = (shift >= 0 ? all * unit : (2n * all + unit) / (2n * unit)).toString().padStart(digits + 1, "0");
  let before = scaled.slice(0, scaled.length - digits);
  if (thousands) before = before.replace(/\B(?=([0-9]{3})+$)/g, ",");
  const after = digits ? scaled.slice(-digits).replace(/0+$/, "") : "";
  const text = after ? `${before}.${after}` : before;
  return value < 0 && /[1-9]/.test(text) ? `-${text}` : text;
}

const SAID = /(?<![\w.,/])(?:([0-9][0-9,]*(?:\.[0-9]+)?)( to | and |, limit ))?([0-9][0-9,]*(?:\.[0-9]+)?) (m\/s|mm|m|N·m|N|kg)(?![\w/·])/g;
const SAID_KINDS = { mm: "mm", m: "m", "m/s": "m_s", "N·m": "nm", N: "n", kg: "kg" };

// The twin of sentence_in: a sentence made with SI units, as a person with this unit system reads it.
export function makeTeller(grammar) {
  return (words, system) => words.replace(SAID, (whole, first, joint, second, label) => {
    const rules = grammar.kinds[SAID_KINDS[label]];
    const unit = rules.units.find((each) => each.name === rules.default[system]);
    if (unit.label === label) return whole;
    const { digits, thousands } = shownIn(rules, system);
    const told = (text) => trimmed((Number(text.replaceAll(",", "")) * unit.factor[1]) / unit.factor[0], unit.label === "in" ? 3 : digits, thousands);
    return `${first === undefined ? "" : told(first) + joint}${told(second)} ${unit.label}`;
  });
}
