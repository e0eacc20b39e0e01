// Reads what a person types for a quantity, by the units and the words that the server hands over
// (plant/words/typing.py: typing_for_page). The steps are those of the server's grammar; one table of typed lengths
// holds both to the same answers.

const SAME_SIGN = [
  [/[′’‘ʹ´`]/g, "'"],
  [/[″”“ʺ]/g, '"'],
  [/[⁄∕]/g, "/"],
  [/[−–—‐‑]/g, "-"],
  [/[⋅•∙]/g, "·"],
  [/º/g, "°"],
  [/×/g, "*"],
];
const NUMBER = /^[.,]?[0-9][0-9.,]*$/;
// Groups of three digits, parted by a thin, narrow no-break or no-break space.
const THIN = "\\u2009\\u202f\\u00a0";
const WHOLE_GROUPED = `(?:[1-9][0-9]{0,2}(?:[${THIN}][0-9]{3})+|[0-9]+)`;
const PART_GROUPED = `(?:[.,](?:[0-9]{3}[${THIN}])*[0-9]+)?`;
const GROUPED = new RegExp(`(?<![0-9.,])${WHOLE_GROUPED}${PART_GROUPED}(?![0-9]|\\s*[/⁄∕])`, "g");
const SPACED = /^[1-9][0-9]{0,2}(?: [0-9]{3})+(?:[.,][0-9]+)?$/;
// A pack from before the rule was handed over holds no unit for a bare fraction.
const FRACTIONS_BEFORE = { mm: { metric: "inch", us: "inch" }, m: { metric: "", us: "foot" } };

class NotUnderstood extends Error {
  constructor(rule, values = {}) {
    super(rule);
    Object.assign(this, { rule: `typing.${rule}`, values });
  }
}

// Some tokens may mean several things: what each reading puts in their place.
class Doubtful extends NotUnderstood {
  constructor(rule, part, readings, values) {
    super(rule, values);
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
      const ways = problem instanceof Doubtful
        ? waysOf(problem.textsOf(tokensOf(text, grammar.vulgar)), kind, system, options)
        : [];
      return { value: null, problem: refusal(text, kind, problem), ways };
    }
  }

  // The text of a rule with its values in their places; a pack from before has no texts and says its rules.
  function say(rule, values = {}) {
    return (grammar.texts?.[rule] ?? rule).replace(/%\((\w+)\)s/g, (_whole, name) => String(values[name]));
  }

  function wordOf(form, kind) {
    const key = `typing.${form}.${kind}`;
    return grammar.texts?.[key] ?? key;
  }

  function refusal(text, kind, problem) {
    const words = { what: wordOf("what", kind), examples: wordOf("examples", kind) };
    if (!text.trim()) return say("typing.nothing", words);
    const shown = text.length > grammar.longest ? `${text.slice(0, 20)} ...` : text.trim();
    return say("typing.not_understood", { ...words, text: shown, problem: say(problem.rule, problem.values) });
  }

  function understood(text, kind, system, { allowNegative = false } = {}) {
    const rules = grammar.kinds[kind];
    if (text.length > grammar.longest) {
      throw new NotUnderstood("too_long", { length: text.length, most: grammar.longest });
    }
    const { value, notes, isStored } = readTokens(tokensOf(text, grammar.vulgar), kind, system);
    if (!Number.isFinite(value)) throw new NotUnderstood("too_large");
    if (value < 0 && !allowNegative) throw new NotUnderstood("negative");
    const label = rules.stored === "°" ? "°" : ` ${rules.stored}`;
    const { digits, thousands } = shownIn(rules, "metric");
    const shown = `${isStored ? trimmed(value, 9) : trimmed(value, digits, thousands)}${label}`.trim();
    const echo = (isStored ? shown : `= ${shown}`) + (notes.length ? ` (${notes.join("; ")})` : "");
    return { value, echo };
  }

  function readTokens(given, kind, system) {
    if (!given.length) throw new NotUnderstood("empty");
    const sign = given[0] === "-" ? -1 : 1;
    const tokens = unsigned(given);
    if (!tokens.some((token) => NUMBER.test(token))) {
      throw new NotUnderstood("holds_no_number", { part: tokens.join(" ") });
    }
    const parts = partsOf(tokens, kind, system);
    if (parts.length > 2) throw new NotUnderstood("more_parts");
    const rules = grammar.kinds[kind];
    const notes = [];
    let { unit } = parts[0];
    if (!unit) {
      unit = bareUnit(parts[0], kind, system);
      if (!unit) {
        const shown = joined(parts[0].tokens);
        const readings = [`${trimmed(parts[0].number[0] / parts[0].number[1], 9)} m`, `${shown} ft`];
        throw new Doubtful(
          "may_mean_units",
          parts[0].tokens,
          readings, { part: shown, one: readings[0], other: readings[1] }
        );
      }
      if (unit.name !== rules.default[system]) notes.push(say("typing.fraction_in_inches"));
    }
    let amount = times(parts[0].number, unit.factor);
    const units = [unit];
    if (parts.length === 2) {
      const pair = grammar.pairs[unit.name];
      const small = pair && unitNamed(pair.name, kind);
      if (!parts[0].unit || !small || (parts[1].unit ?? small).name !== small.name) {
        throw new NotUnderstood("mixed_units");
      }
      if (parts[0].number[1] !== 1) throw new NotUnderstood("whole_first", { unit: unit.label, small: small.label });
      if (parts[1].number[0] / parts[1].number[1] >= pair.limit) {
        throw new NotUnderstood("small_too_large", { unit: unit.label, small: small.label, limit: pair.limit });
      }
      amount = plus(amount, times(parts[1].number, small.factor));
      units.push(small);
    }
    return {
      value: (sign * amount[0]) / amount[1] + 0, // no minus before zero
      notes: [
        ...notes,
        ...units.filter((each) => each.spelt).map((each) => say(each.note, { spelt: each.spelt, unit: each.label }))
      ],
      isStored: units.length === 1 && unit.label === rules.stored && unit.factor[0] === unit.factor[1],
    };
  }

  function partsOf(tokens, kind, system) {
    const parts = [];
    let number = [];
    for (const token of tokens) {
      if (NUMBER.test(token) || token === "/" || (token === "-" && number.length)) number.push(token);
      else if (token === "-" && parts.length) continue;
      else if (!number.length) throw new NotUnderstood("number_expected", { part: token });
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
    const own = part.tokens.includes("/")
      ? (rules.fraction ?? FRACTIONS_BEFORE[kind] ?? rules.default)[system]
      : rules.default[system];
    return own === "" ? null : unitNamed(own, kind);
  }

  function unitOf(word, kind, system) {
    const bare = word.replace(/^-/, "").trim().replace(/\.$/, "").trim();
    const { units, only } = spelt.get(kind);
    const known = units.find((unit) => unit.pattern.test(bare));
    if (known) return known;
    const ofSome = only.find((unit) => unit.pattern.test(bare));
    if (ofSome?.system === system) return ofSome;
    if (ofSome) throw new Doubtful("may_be_a_ton", [word], ofSome.may_be, { part: word });
    const elsewhere = [...spelt.values()].some((each) => each.units.some((unit) => unit.pattern.test(bare)));
    throw elsewhere
      ? new NotUnderstood("other_kind", { part: word, of: wordOf("of", kind) })
      : new NotUnderstood("unknown_unit", { part: word });
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
    const names = new Set([
      bareUnit(parts[0], kind, system).name,
      ...[system, "metric", "us"].map((each) => rules.default[each])
    ]);
    return waysOf(
      [...names].map((name) => withWritten(tokens, parts[0], unitNamed(name, kind))),
      kind,
      system,
      options
    );
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

const NO_UNIT = { label: "", name: "dimensionless", factor: [1, 1], spelt: "" };

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
    const isJoint = match[2] !== undefined
      && token.length > 1
      && token.endsWith("-")
      && match.index + match[0].length < plain.length;
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
    if (SPACED.test(shown)) throw new Doubtful("more_numbers", tokens, [tokens.join("")], { part: shown });
    throw new NotUnderstood("more_numbers", { part: shown });
  }
  if (slashes > 1) throw new NotUnderstood("more_fractions", { part: shown });
  const at = tokens.indexOf("/");
  const [above, below] = [tokens[at - 1], tokens.slice(at + 1)];
  if (at === 0 || !isWhole(above)) throw new NotUnderstood("before_slash", { part: shown });
  if (below.length !== 1 || !isWhole(below[0])) throw new NotUnderstood("after_slash", { part: shown });
  if (Number(below[0]) === 0) throw new NotUnderstood("by_zero", { part: shown });
  const before = tokens.slice(0, at - 1);
  const whole = before.filter((token) => token !== "-");
  if (whole.length > 1 || before.length - whole.length > 1 || (whole.length && !isWhole(whole[0]))) {
    throw new NotUnderstood("no_mixed_number", { part: shown });
  }
  const denominator = Number(below[0]);
  return reduced([(whole.length ? Number(whole[0]) : 0) * denominator + Number(above), denominator]);
}

function decimalOf(token) {
  if (/^([0-9]+\.?|[0-9]*\.[0-9]+)$/.test(token)) return fraction(token.replace(/\.$/, ""));
  if (/^[1-9][0-9]{0,2},[0-9]{3}$/.test(token)) {
    const readings = [token.replace(",", ""), token.replace(",", ".")];
    throw new Doubtful("may_mean_numbers", [token], readings, { part: token, one: readings[0], other: readings[1] });
  }
  if (/^[1-9][0-9]{0,2}((,[0-9]{3})+\.[0-9]+|(,[0-9]{3}){2,})$/.test(token)) return fraction(token.replaceAll(",", ""));
  if (/^[1-9][0-9]{0,2}((\.[0-9]{3})+,[0-9]+|(\.[0-9]{3}){2,})$/.test(token)) {
    return fraction(token.replaceAll(".", "").replace(",", "."));
  }
  if (/^[0-9]*,[0-9]+$/.test(token)) return fraction(token.replace(",", "."));
  throw new NotUnderstood("no_number", { part: token });
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
  while (b)[a, b] = [b, a % b];
  return Number.isFinite(above) && a ? [above / a, below / a] : [above, below];
}

function times([a, b], [c, d]) {
  return reduced([a * c, b * d]);
}

function plus([a, b], [c, d]) {
  return reduced([a * d + c * b, b * d]);
}

// Decimals at most, and whether thousands are grouped; a pack from before holds the metric decimals alone.
export function shownIn(rules, system) {
  return rules.shown?.[system] ?? { digits: rules.digits, thousands: false };
}

// Decimals at most, ties away from zero, of the shortest decimal that names the number: 69.85 is a tie, as on paper.
export function trimmed(value, digits, thousands = false) {
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
