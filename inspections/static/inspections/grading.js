// Grades readings while they are typed, by the same rules, numbers and words as inspections/calc/grading.py and findings.py.
// The server grades again; one table of cases and a page test hold both to the same answers.

const SIDES = ["drive", "off"];
const CAUSES = "a seized pivot, a skewed frame or off-centre load";
const SEEN = { flat_spot: "flat spot", seized: "does not turn" };

// A number for a sentence, as plant/calc/wording.py writes it: two decimals at most, three significant digits below 1.
export function figure(value) {
  const size = Math.abs(value);
  const digits = size >= 1 || size === 0 ? 2 : 2 - Math.floor(Math.log10(size));
  // A tie that is exact in binary (73.125) goes to the even digit, as on the server.
  const isTie = Math.abs((value * 2 ** (digits + 1)) % 2) === 1;
  const text = isTie ? ((2 * Math.round((value * 10 ** digits) / 2)) / 10 ** digits).toFixed(digits) : value.toFixed(digits);
  return text.replace(/0+$/, "").replace(/\.$/, "");
}

// A reading that lies beyond a limit, with as many digits more as it takes to see that.
function beside(value, limit) {
  return figure(value) === figure(limit) ? value.toFixed(6).replace(/0+$/, "").replace(/\.$/, "") : figure(value);
}

// A number with its unit; a plain number has none.
function withUnit(said, unit) {
  return `${said} ${unit}`.trimEnd();
}

function g4(value) {
  return String(Number(Number(value).toPrecision(4)));
}

export function percent(share) {
  const value = 100 * share;
  // A tie that is exact in binary (31.25) goes to the even digit, as on the server.
  const isTie = Number.isInteger(value * 4) && !Number.isInteger(value * 2);
  const tenths = isTie ? 2 * Math.round((value * 10) / 2) : null;
  const text = isTie ? (tenths / 10).toFixed(1) : value.toFixed(1);
  return `${text.replace(/\.0$/, "")} %`;
}

export function makeGrading(rules) {
  const slack = rules.slack;
  const rank = (grade) => rules.grades.indexOf(grade);
  const graded = (grade, reason, share = null, rule = "", sure = true) => ({ grade, reason, share, rule, sure });

  function worst(grades) {
    return grades.filter(Boolean).reduce((bad, each) => (bad === null || rank(each) > rank(bad) ? each : bad), null);
  }

  function sensorWear({ diameter_mm: diameter, new_mm: fresh, limit_mm: limit, watch_share: watch = rules.sensor_wear.watch_share, act_share: act = rules.sensor_wear.act_share, flat_spot: flat = false, seized = false }) {
    const share = Math.max(0, (fresh - diameter) / (fresh - limit));
    const worn = `${figure(diameter)} mm is ${percent(share)} of the permitted wear (new ${figure(fresh)}, limit ${figure(limit)} mm)`;
    if (seized) return graded("act", `The roller does not turn; ${worn}.`, share, "roller_seized");
    if (flat) return graded("act", `The roller has a flat spot; ${worn}.`, share, "roller_flat_spot");
    if (share >= 1 - slack) return graded("act", `${worn}: worn to the limit or beyond.`, share, "wear_at_limit");
    if (share >= act - slack) return graded("act", `${worn}: act from ${percent(act)}.`, share, "wear_act");
    if (share >= watch - slack) return graded("watch", `${worn}: watch from ${percent(watch)}.`, share, "wear_watch");
    return graded("sound", `${worn}.`, share, "wear_sound");
  }

  function sensorPair({ drive_mm: driveMm, off_mm: offMm, new_mm, limit_mm, difference_share: most = rules.sensor_pair.difference_share, ...shares }) {
    const drive = sensorWear({ diameter_mm: driveMm, new_mm, limit_mm, ...shares });
    const off = sensorWear({ diameter_mm: offMm, new_mm, limit_mm, ...shares });
    const apart = Math.abs(driveMm - offMm) / (new_mm - limit_mm);
    const said = `The sides differ by ${percent(apart)} of the permitted wear`;
    let difference = graded("sound", `${said}.`, apart, "pair_even");
    if (apart > most + slack) {
      const more = driveMm < offMm ? "drive" : "off";
      difference = graded("watch", `${said}, more than ${percent(most)}: the ${more} side wears; look for ${CAUSES}.`, apart, "pair_one_sided");
    }
    return { drive, off, difference, grade: worst([drive.grade, off.grade, difference.grade]) };
  }

  function pivot({ state, breakaway_n: force = null, limit_n: limit = null }) {
    const found = {
      free: graded("sound", "The pivot moves freely through its whole range.", null, "pivot_free"),
      stiff: graded("watch", "The pivot is stiff.", null, "pivot_stiff"),
      seized: graded("act", "The pivot is seized: the device steers the wrong way.", null, "pivot_seized"),
    }[state];
    if (force === null || limit === null) return found;
    const share = force / limit;
    const words = `It breaks away at ${figure(force)} N`;
    if (share > 1 + slack) {
      const grade = rules.grades[Math.min(rank(found.grade) + 1, rules.grades.length - 1)];
      return graded(grade, `${found.reason} ${words}, above the limit of ${figure(limit)} N.`, share, "pivot_force");
    }
    return graded(found.grade, `${found.reason} ${words} (limit ${figure(limit)} N).`, share, found.rule);
  }

  function witnessMark({ state }) {
    if (state === "rotated") return graded("act", "It has turned past its witness mark, whatever torque it shows.", null, "mark_rotated");
    return graded("sound", "Its witness mark is in line.", null, "mark_in_line");
  }

  function torqueBand({ target_nm: target, tolerance_pct: tolerance = rules.torque.tolerance_pct, tool_deviation_pct: tool = rules.torque.tool_deviation_pct, loose_share: looseShare = rules.torque.loose_share }) {
    const w = tool / 100;
    const [loose, low, high] = [looseShare, 1 - tolerance / 100, 1 + tolerance / 100].map((x) => target * x);
    return {
      loose, low, high, tool, tolerance,
      surelyLooseBelow: loose * (1 - w), maybeLooseBelow: loose * (1 + w), surelyBelowBelow: low * (1 - w),
      surelyInsideFrom: low * (1 + w), surelyInsideTo: high * (1 - w), surelyAboveAbove: high * (1 + w),
    };
  }

  function torque({ as_found_nm: value, ...options }) {
    const band = torqueBand(options);
    const target = options.target_nm;
    const [share, near] = [value / target, slack * target];
    const found = `${figure(value)} N·m is ${percent(share)} of the target of ${figure(target)} N·m`;
    const tool = `with a tool of ${figure(band.tool)} % that is`;
    if (value < band.loose - near) {
      const sure = value < band.surelyLooseBelow - near;
      const doubt = sure ? "sure" : `undecided from ${g4(band.surelyLooseBelow)} to ${g4(band.maybeLooseBelow)} N·m`;
      return graded("act", `${found}: loose; ${tool} ${doubt}.`, share, "torque_loose", sure);
    }
    if (value < band.maybeLooseBelow - near) {
      const place = value < band.low - near ? "below" : "within";
      return graded("watch", `${found}: ${place} its tolerance; it may be loose: ${tool} undecided up to ${g4(band.maybeLooseBelow)} N·m.`, share, "torque_maybe_loose", false);
    }
    if (value < band.low - near || value > band.high + near) {
      const isBelow = value < band.low;
      const sure = isBelow ? value < band.surelyBelowBelow - near : value > band.surelyAboveAbove + near;
      return graded("watch", `${found}: ${isBelow ? "below" : "above"} its tolerance; ${tool} ${sure ? "sure" : "undecided"}.`, share, "torque_outside", sure);
    }
    const sure = band.surelyInsideFrom - near <= value && value <= band.surelyInsideTo + near;
    return graded("sound", `${found}: within its tolerance; ${tool} ${sure ? "sure" : "undecided"}.`, share, "torque_within", sure);
  }

  function asLeft({ as_left_nm: value, ...options }) {
    const band = torqueBand(options);
    const near = slack * options.target_nm;
    if (value < band.surelyBelowBelow - near || value > band.surelyAboveAbove + near) {
      return { verdict: "outside", reason: `${figure(value)} N·m is outside ${g4(band.low)} to ${g4(band.high)} N·m: set it again.` };
    }
    const sure = `between ${g4(band.surelyInsideFrom)} and ${g4(band.surelyInsideTo)} N·m`;
    if (band.surelyInsideFrom - near <= value && value <= band.surelyInsideTo + near) {
      return { verdict: "within", reason: `${figure(value)} N·m lies ${sure}, where this tool is sure.` };
    }
    if (band.surelyInsideFrom > band.surelyInsideTo) {
      return { verdict: "undecided", reason: `A tool of ${figure(band.tool)} % is too coarse for a tolerance of ${figure(band.tolerance)} %.` };
    }
    return { verdict: "undecided", reason: `${figure(value)} N·m is undecided with this tool: set it ${sure}.` };
  }

  function limits({ value, watch_low: watchLow = null, watch_high: watchHigh = null, act_low: actLow = null, act_high: actHigh = null, unit = "" }) {
    if ([watchLow, watchHigh, actLow, actHigh].every((each) => each === null)) {
      return graded(null, "No limits are set for this check.", null, "limits_none");
    }
    for (const [grade, low, high] of [["act", actLow, actHigh], ["watch", watchLow, watchHigh]]) {
      if (low !== null && value < low) return graded(grade, `${withUnit(beside(value, low), unit)} is below ${withUnit(figure(low), unit)}: ${grade}.`, null, `limits_${grade}_low`);
      if (high !== null && value > high) return graded(grade, `${withUnit(beside(value, high), unit)} is above ${withUnit(figure(high), unit)}: ${grade}.`, null, `limits_${grade}_high`);
    }
    return graded("sound", `${withUnit(figure(value), unit)} is within its limits.`, null, "limits_within");
  }

  function offset({ offset_mm: value, permitted_mm: permitted, watch_share: watch = rules.offset.watch_share }) {
    const share = Math.abs(value) / permitted;
    const side = value > 0 ? " towards the drive side" : value < 0 ? " towards the off side" : "";
    const words = `${figure(Math.abs(value))} mm${side} is ${percent(share)} of the permitted ${figure(permitted)} mm.`;
    if (share > 1 + slack) return graded("act", words, share, "offset_beyond");
    if (share > watch + slack) return graded("watch", words, share, "offset_watch");
    return graded("sound", words, share, "offset_within");
  }

  function choice({ value, grades }) {
    const grade = grades[value];
    return graded(grade, `${value}: ${grade}.`, null, `choice_${grade}`);
  }

  function implausible({ value, previous = null, quantity = "other", low = null, high = null, growth_allowance: growth = rules.implausible.growth_allowance_mm, expected = null, sigma = null, unit: own = "" }) {
    if (!(value >= 0)) return null;
    if (quantity === "torque" && value === 0) return "The torque is 0: is the fastener missing, or was it not read?";
    const unit = own || (rules.implausible.units ?? {})[quantity] || ""; // a pack from before has no units
    const slip = slipOf(value, previous, low, high);
    if (slip) return `${withUnit(figure(value), unit)} looks like ${slip.words}: did you mean ${withUnit(figure(slip.value), unit)}?`;
    if (quantity === "diameter" && previous !== null && value > previous + growth + slack) {
      return `${figure(value)} mm is ${figure(value - previous)} mm more than the ${figure(previous)} mm read before: was the part changed?`;
    }
    const most = rules.implausible.most_sigma;
    if (expected !== null && sigma !== null && Math.abs(value - expected) > most * sigma + slack) {
      const [read, away, trend] = [value, Math.abs(value - expected), expected].map((each) => withUnit(figure(each), unit));
      const far = `${read} is ${away} ${value < expected ? "below" : "above"} the ${trend} that its own trend expects`;
      return `${far}, more than ${figure(most)} times its scatter: is it read right?`;
    }
    if (low !== null && value < low) return `${withUnit(beside(value, low), unit)} is below ${withUnit(figure(low), unit)}, the least that can be: is it read right?`;
    if (high !== null && value > high) return `${withUnit(beside(value, high), unit)} is above ${withUnit(figure(high), unit)}, the most that can be: is it read right?`;
    return null;
  }

  // What a reading would be without a usual slip: { value, words }.
  function slipOf(value, previous, low, high) {
    const like = rules.implausible.like_before;
    if (low === null || high === null) {
      if (previous === null || previous <= 0) return null;
      [low, high] = [previous * (1 - like), previous * (1 + like)];
    }
    if (low <= value && value <= high) return null;
    const slip = rules.implausible.slips.find(({ factor }) => low <= value * factor && value * factor <= high);
    return slip ? { value: value * slip.factor, words: slip.words } : null;
  }

  // --- whole checks: found and left hold values by code; null where there is nothing to say yet ------------------------

  const known = (value) => value !== undefined && value !== null && value !== "";

  function findSensorWear(found, { new_mm: fresh, limit_mm: limit }) {
    const parts = {};
    const words = [];
    const isStated = fresh !== null && limit !== null;
    for (const side of SIDES) {
      const [diameter, state] = [found[`${side}_diameter`], found[`${side}_state`]];
      const seen = SEEN[state] ?? "";
      const aside = seen ? ` (${seen})` : "";
      if (known(state)) parts[`${side}_state`] = graded(seen ? "act" : "sound", "");
      if (!known(diameter)) words.push(`${side} side not read${aside}`);
      else if (!isStated) {
        parts[`${side}_diameter`] = graded(null, "");
        words.push(`${side} side ${figure(diameter)} mm${aside}`);
      } else {
        const one = sensorWear({ diameter_mm: diameter, new_mm: fresh, limit_mm: limit, flat_spot: state === "flat_spot", seized: state === "seized" });
        parts[`${side}_diameter`] = one;
        words.push(`${side} side ${percent(one.share)}${aside}`);
      }
    }
    if (!Object.keys(parts).length) return null;
    const lead = isStated ? "Permitted wear used" : "New or limit diameter not stated by the model, wear not graded";
    let reason = `${lead}: ${words.join(", ")}.`;
    if (isStated && known(found.drive_diameter) && known(found.off_diameter)) {
      const { difference } = sensorPair({ drive_mm: found.drive_diameter, off_mm: found.off_diameter, new_mm: fresh, limit_mm: limit });
      parts.difference = difference;
      if (difference.rule === "pair_one_sided") reason += ` The sides differ by ${percent(difference.share)}: look for ${CAUSES}.`;
    }
    return { grade: worst(Object.values(parts).map((part) => part.grade)), reason };
  }

  function findPivot(found, { limit_n: limit }) {
    if (!known(found.pivot)) return null;
    const force = known(found.breakaway) ? found.breakaway : null;
    const result = pivot({ state: found.pivot, breakaway_n: force, limit_n: limit });
    if (force !== null && limit === null) {
      return { grade: result.grade, reason: `${result.reason} It breaks away at ${figure(force)} N; the model states no limit.` };
    }
    return { grade: result.grade, reason: result.reason };
  }

  // `tool` is the permissible deviation of the wrench that was named [%], or answers it by a fastener's code; undefined where
  // none is named.
  function findTorque(found, left, all, tool) {
    const graded = [];
    const doubtful = [];
    const marks = [];
    const readings = all.filter((each) => each.form === "number");
    let read = 0;
    for (const each of readings) {
      const target = each.limits.target_nm;
      const deviation = typeof tool === "function" ? tool(each.code) : tool;
      const options = { target_nm: target, tolerance_pct: each.limits.tolerance_pct, tool_deviation_pct: deviation };
      const mark = found[`${each.code}_mark`];
      if (known(mark)) marks.push({ label: each.label, ...witnessMark({ state: mark }) });
      if (known(found[each.code])) {
        read += 1;
        if (target !== null) graded.push({ label: each.label, ...torque({ as_found_nm: found[each.code], ...options }) });
      }
      if (known(left[each.code]) && target !== null && asLeft({ as_left_nm: left[each.code], ...options }).verdict !== "within") {
        doubtful.push(each.label);
      }
    }
    if (!read && !marks.length) return null;
    const loose = graded.filter((each) => each.grade === "act").length;
    const watch = graded.filter((each) => each.grade === "watch").length;
    const words = [];
    if (graded.length && !loose && !watch) words.push(`${graded.length} within tolerance.`);
    else if (graded.length) {
      const more = loose && watch ? `, ${watch} more to watch` : "";
      words.push(loose ? `${loose} of ${graded.length} loose${more}.` : `${watch} of ${graded.length} to watch.`);
      const low = graded.reduce((least, each) => (each.share < least.share ? each : least));
      words.push(`Lowest: ${low.label} at ${percent(low.share)} of its target.`);
    }
    if (read > graded.length) words.push(`${read - graded.length} not graded: the model states no target torque.`);
    if (read < readings.length) words.push(`${readings.length - read} not read.`);
    const turned = marks.filter((each) => each.grade === "act").map((each) => each.label);
    if (turned.length) words.push(`${turned.length} turned past ${turned.length === 1 ? "its witness mark" : "their witness marks"}: ${turned.join(", ")}.`);
    if (doubtful.length) words.push(`As left not surely within tolerance: ${doubtful.join(", ")}.`);
    return { grade: worst([...graded, ...marks].map((each) => each.grade)), reason: words.join(" ") };
  }

  function findOffsets(found, readings) {
    const parts = readings
      .filter((each) => known(found[each.code]))
      .map((each) => ({ label: each.label, ...offset({ offset_mm: found[each.code], permitted_mm: each.limits.permitted_mm }) }));
    if (!parts.length) return null;
    const furthest = parts.reduce((most, each) => (each.share > most.share ? each : most));
    const words = [`Furthest off at ${furthest.label}: ${furthest.reason}`];
    if (parts.length < readings.length) words.push(`${readings.length - parts.length} of ${readings.length} not read.`);
    return { grade: worst(parts.map((part) => part.grade)), reason: words.join(" ") };
  }

  function findOwn(found, readings) {
    const parts = [];
    for (const each of readings) {
      if (!known(found[each.code])) continue;
      let part = graded(null, "");
      if (each.form === "number") part = limits({ value: found[each.code], ...each.limits });
      else if (each.limits.grades[found[each.code]]) part = choice({ value: found[each.code], grades: each.limits.grades });
      parts.push({ label: each.label, ...part });
    }
    if (!parts.length) return null;
    const grade = worst(parts.map((part) => part.grade));
    if (grade === null) return { grade, reason: "No limits are set for this check." };
    if (grade === "sound") return { grade, reason: "Within all limits." };
    return { grade, reason: parts.filter((part) => part.grade === grade).map((part) => `${part.label}: ${part.reason}`).join(" ") };
  }

  function find(check, found, left, tool) {
    const limitsOf = (code) => check.readings.find((each) => each.code === code).limits;
    if (check.rule === "sensor_wear") return findSensorWear(found, limitsOf("drive_diameter"));
    if (check.rule === "pivot_freedom") return findPivot(found, limitsOf("breakaway"));
    if (check.rule === "fastener_torque") return findTorque(found, left, check.readings, tool);
    if (check.rule === "offsets") return findOffsets(found, check.readings);
    return findOwn(found, check.readings);
  }

  return { worst, sensor_wear: sensorWear, sensor_pair: sensorPair, pivot, torque, witness_mark: witnessMark, as_left: asLeft, limits, offset, choice, implausible, slip_of: slipOf, find };
}
