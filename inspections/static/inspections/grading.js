// Grades readings while they are typed, by the same rules and numbers as inspections/calc/grading.py, plausible.py and
// findings.py. Each answer names the rule that decided and what it read: { rule, values }; reasons.js makes the
// sentence. The server grades again; one table of cases and a page test hold both to the same answers.

// A word of the table of texts among the values of a reason; a text that is not marked so was typed.
function asWord(word) {
  return { word };
}

const SIDES = { drive: asWord("grading.drive_side"), off: asWord("grading.off_side") };
const BAD_STATES = { flat_spot: asWord("finding.flat_spot"), seized: asWord("finding.seized") };

// A share in percent, to a tenth.
function pctOf(share) {
  const value = 100 * share;
  // A tie that is exact in binary (31.25) goes to the even digit, as on the server.
  const isTie = Number.isInteger(value * 4) && !Number.isInteger(value * 2);
  return isTie ? (2 * Math.round((value * 10) / 2)) / 10 : Number(value.toFixed(1));
}

// The edge of a band: a torque tool shows no more digits.
function fourDigits(value) {
  return Number(Number(value).toPrecision(4));
}

// The name of a value with its stored unit behind it.
function inKind(name, kind) {
  return kind ? `${name}_${kind}` : name;
}

function because(rule, values = {}) {
  return { rule, values };
}

function together(reasons) {
  return reasons.length === 1 ? reasons[0] : because("finding.together", { parts: reasons });
}

export function makeGrading(rules) {
  const slack = rules.slack;
  const rank = (grade) => rules.grades.indexOf(grade);
  const graded = (grade, reason, share = null, sure = true) => ({ grade, reason, share, sure });

  function worst(grades) {
    return grades.filter(Boolean).reduce((bad, each) => (bad === null || rank(each) > rank(bad) ? each : bad), null);
  }

  function sensorWear({
    diameter_mm: diameter,
    new_mm: fresh,
    limit_mm: limit,
    watch_share: watch = rules.sensor_wear.watch_share,
    act_share: act = rules.sensor_wear.act_share,
    flat_spot: flat = false,
    seized = false,
  }) {
    const share = Math.max(0, (fresh - diameter) / (fresh - limit));
    const worn = { diameter_mm: diameter, share_pct: pctOf(share), new_mm: fresh, limit_mm: limit };
    if (seized) return graded("act", because("grading.roller_seized", worn), share);
    if (flat) return graded("act", because("grading.roller_flat_spot", worn), share);
    if (share >= 1 - slack) return graded("act", because("grading.wear_at_limit", worn), share);
    if (share >= act - slack) {
      return graded("act", because("grading.wear_act", { ...worn, from_pct: pctOf(act) }), share);
    }
    if (share >= watch - slack) {
      return graded("watch", because("grading.wear_watch", { ...worn, from_pct: pctOf(watch) }), share);
    }
    return graded("sound", because("grading.wear_sound", worn), share);
  }

  function sensorPair({
    drive_mm: driveMm,
    off_mm: offMm,
    new_mm,
    limit_mm,
    difference_share: most = rules.sensor_pair.difference_share,
    ...shares
  }) {
    const drive = sensorWear({ diameter_mm: driveMm, new_mm, limit_mm, ...shares });
    const off = sensorWear({ diameter_mm: offMm, new_mm, limit_mm, ...shares });
    const apart = Math.abs(driveMm - offMm) / (new_mm - limit_mm);
    const said = { apart_pct: pctOf(apart) };
    let difference = graded("sound", because("grading.pair_even", said), apart);
    if (apart > most + slack) {
      const side = driveMm < offMm ? SIDES.drive : SIDES.off;
      difference = graded("watch", because("grading.pair_one_sided", { ...said, most_pct: pctOf(most), side }), apart);
    }
    return { drive, off, difference, grade: worst([drive.grade, off.grade, difference.grade]) };
  }

  function pivot({ state, breakaway_n: force = null, limit_n: limit = null }) {
    const found = {
      free: graded("sound", because("grading.pivot_free")),
      stiff: graded("watch", because("grading.pivot_stiff")),
      seized: graded("act", because("grading.pivot_seized")),
    } [state];
    if (force === null || limit === null) return found;
    const share = force / limit;
    const moved = { state: found.reason, force_n: force, limit_n: limit };
    if (share > 1 + slack) {
      const grade = rules.grades[Math.min(rank(found.grade) + 1, rules.grades.length - 1)];
      return graded(grade, because("grading.pivot_force", moved), share);
    }
    return graded(found.grade, because("grading.pivot_force_within", moved), share);
  }

  function witnessMark({ state }) {
    return state === "rotated"
      ? graded("act", because("grading.mark_rotated"))
      : graded("sound", because("grading.mark_in_line"));
  }

  function torqueBand({
    target_nm: target,
    tolerance_pct: tolerance = rules.torque.tolerance_pct,
    tool_deviation_pct: tool = rules.torque.tool_deviation_pct,
    loose_share: looseShare = rules.torque.loose_share,
  }) {
    const w = tool / 100;
    const [loose, low, high] = [looseShare, 1 - tolerance / 100, 1 + tolerance / 100].map((x) => target * x);
    return {
      loose,
      low,
      high,
      tool,
      tolerance,
      surelyLooseBelow: loose * (1 - w),
      maybeLooseBelow: loose * (1 + w),
      surelyBelowBelow: low * (1 - w),
      surelyInsideFrom: low * (1 + w),
      surelyInsideTo: high * (1 - w),
      surelyAboveAbove: high * (1 + w),
    };
  }

  function torque({ as_found_nm: value, ...options }) {
    const band = torqueBand(options);
    const target = options.target_nm;
    const [share, near] = [value / target, slack * target];
    const found = { found_nm: value, share_pct: pctOf(share), target_nm: target, tool_pct: band.tool };
    const told = (isSure) => because(isSure ? "grading.sure" : "grading.undecided");
    if (value < band.loose - near) {
      const sure = value < band.surelyLooseBelow - near;
      const edges = { low_nm: fourDigits(band.surelyLooseBelow), high_nm: fourDigits(band.maybeLooseBelow) };
      return graded(
        "act",
        because(
          "grading.torque_loose", {
            ...found,
            told: sure ? told(true) : because("grading.undecided_between", edges),
          }
        ),
        share,
        sure
      );
    }
    if (value < band.maybeLooseBelow - near) {
      const place = asWord(value < band.low - near ? "grading.below" : "grading.within");
      return graded(
        "watch",
        because("grading.torque_maybe_loose", { ...found, place, up_to_nm: fourDigits(band.maybeLooseBelow) }),
        share,
        false
      );
    }
    if (value < band.low - near || value > band.high + near) {
      const isBelow = value < band.low;
      const sure = isBelow ? value < band.surelyBelowBelow - near : value > band.surelyAboveAbove + near;
      return graded(
        "watch",
        because(
          "grading.torque_outside", {
            ...found,
            place: asWord(isBelow ? "grading.below" : "grading.above"),
            told: told(sure),
          }
        ),
        share,
        sure
      );
    }
    const sure = band.surelyInsideFrom - near <= value && value <= band.surelyInsideTo + near;
    return graded("sound", because("grading.torque_within", { ...found, told: told(sure) }), share, sure);
  }

  function asLeft({ as_left_nm: value, ...options }) {
    const band = torqueBand(options);
    const near = slack * options.target_nm;
    if (value < band.surelyBelowBelow - near || value > band.surelyAboveAbove + near) {
      return {
        verdict: "outside",
        reason: because(
          "as_left.outside", {
            left_nm: value,
            low_nm: fourDigits(band.low),
            high_nm: fourDigits(band.high),
          }
        ),
      };
    }
    const sure = { low_nm: fourDigits(band.surelyInsideFrom), high_nm: fourDigits(band.surelyInsideTo) };
    if (band.surelyInsideFrom - near <= value && value <= band.surelyInsideTo + near) {
      return { verdict: "within", reason: because("as_left.within", { left_nm: value, ...sure }) };
    }
    if (band.surelyInsideFrom > band.surelyInsideTo) {
      return {
        verdict: "undecided",
        reason: because("as_left.too_coarse", { tool_pct: band.tool, tolerance_pct: band.tolerance }),
      };
    }
    return { verdict: "undecided", reason: because("as_left.undecided", { left_nm: value, ...sure }) };
  }

  function limits({
    value,
    watch_low: watchLow = null,
    watch_high: watchHigh = null,
    act_low: actLow = null,
    act_high: actHigh = null,
    kind = "",
  }) {
    if ([watchLow, watchHigh, actLow, actHigh].every((each) => each === null)) {
      return graded(null, because("grading.limits_none"));
    }
    const found = {
      [inKind("found", kind)]: value
    };
    for (const [grade, low, high] of [
        ["act", actLow, actHigh],
        ["watch", watchLow, watchHigh]
      ]) {
      if (low !== null && value < low) {
        return graded(grade, because(`grading.limits_${grade}_low`, { ...found, [inKind("limit", kind)]: low }));
      }
      if (high !== null && value > high) {
        return graded(grade, because(`grading.limits_${grade}_high`, { ...found, [inKind("limit", kind)]: high }));
      }
    }
    return graded("sound", because("grading.limits_within", found));
  }

  function offset({ offset_mm: value, permitted_mm: permitted, watch_share: watch = rules.offset.watch_share }) {
    const share = Math.abs(value) / permitted;
    const where = value > 0 ? "grading.towards_drive" : value < 0 ? "grading.towards_off" : "grading.on_centre";
    const off = {
      where: because(where, { off_mm: Math.abs(value) }),
      share_pct: pctOf(share),
      permitted_mm: permitted,
    };
    if (share > 1 + slack) return graded("act", because("grading.offset_beyond", off), share);
    if (share > watch + slack) return graded("watch", because("grading.offset_watch", off), share);
    return graded("sound", because("grading.offset_within", off), share);
  }

  function choice({ value, grades }) {
    const grade = grades[value];
    return graded(grade, because(`grading.choice_${grade}`, { answer: value }));
  }

  function implausible({
    value,
    previous = null,
    quantity = "other",
    low = null,
    high = null,
    growth_allowance: growth = rules.implausible.growth_allowance_mm,
    expected = null,
    sigma = null,
    kind: own = "",
  }) {
    if (!(value >= 0)) return null;
    if (quantity === "torque" && value === 0) return because("plausible.no_torque");
    const kind = own || rules.implausible.kinds?.[quantity] || ""; // a pack from before has no kinds
    const found = {
      [inKind("found", kind)]: value
    };
    const slip = slipOf(value, previous, low, high, kind);
    if (slip) return because(slip.rule, { ...found, [inKind("meant", kind)]: slip.value });
    if (quantity === "diameter" && previous !== null && value > previous + growth + slack) {
      return because("plausible.grown", { ...found, more_mm: value - previous, before_mm: previous });
    }
    const times = rules.implausible.most_sigma;
    if (expected !== null && sigma !== null && Math.abs(value - expected) > times * sigma + slack) {
      const away = {
        [inKind("away", kind)]: Math.abs(value - expected),
        [inKind("trend", kind)]: expected,
        times
      };
      return because(value < expected ? "plausible.below_trend" : "plausible.above_trend", { ...found, ...away });
    }
    if (low !== null && value < low) {
      return because("plausible.below_least", { ...found, [inKind("limit", kind)]: low });
    }
    if (high !== null && value > high) {
      return because("plausible.above_most", { ...found, [inKind("limit", kind)]: high });
    }
    return null;
  }

  // What a reading would be without a usual slip: { value, rule }. Inches are looked for in lengths.
  function slipOf(value, previous, low, high, kind = "") {
    const like = rules.implausible.like_before;
    if (low === null || high === null) {
      if (previous === null || previous <= 0) return null;
      [low, high] = [previous * (1 - like), previous * (1 + like)];
    }
    if (low <= value && value <= high) return null;
    const usual = rules.implausible.slips.filter((each) => !each.of_lengths || kind === "" || kind === "mm");
    const slip = usual.find(({ factor }) => low <= value * factor && value * factor <= high);
    return slip ? { value: value * slip.factor, rule: slip.rule } : null;
  }

  // --- whole checks: found and left hold values by code; null where there is nothing to say yet ----------------------

  const known = (value) => value !== undefined && value !== null && value !== "";

  function findSensorWear(found, { new_mm: fresh, limit_mm: limit }) {
    const grades = [];
    const told = {};
    const isStated = fresh !== null && limit !== null;
    let isRead = false;
    for (const [side, name] of Object.entries(SIDES)) {
      const [diameter, state] = [found[`${side}_diameter`], found[`${side}_state`]];
      const seen = BAD_STATES[state];
      isRead ||= known(state) || known(diameter);
      if (known(state)) grades.push(seen ? "act" : "sound");
      if (!known(diameter)) told[side] = because("finding.side_not_read", { side: name });
      else if (!isStated) told[side] = because("finding.side_diameter", { side: name, diameter_mm: diameter });
      else {
        const one = sensorWear({
          diameter_mm: diameter,
          new_mm: fresh,
          limit_mm: limit,
          flat_spot: state === "flat_spot",
          seized: state === "seized",
        });
        grades.push(one.grade);
        told[side] = because("finding.side_share", { side: name, share_pct: pctOf(one.share) });
      }
      if (seen) told[side] = because("finding.side_seen", { said: told[side], seen });
    }
    if (!isRead) return null;
    if (!isStated) return { grade: worst(grades), reason: because("finding.wear_not_graded", told) };
    const reasons = [because("finding.wear_used", told)];
    if (known(found.drive_diameter) && known(found.off_diameter)) {
      const { difference } = sensorPair({
        drive_mm: found.drive_diameter,
        off_mm: found.off_diameter,
        new_mm: fresh,
        limit_mm: limit,
      });
      grades.push(difference.grade);
      if (difference.reason.rule === "grading.pair_one_sided") {
        reasons.push(because("finding.sides_differ", { apart_pct: pctOf(difference.share) }));
      }
    }
    return { grade: worst(grades), reason: together(reasons) };
  }

  function findPivot(found, { limit_n: limit }) {
    if (!known(found.pivot)) return null;
    const force = known(found.breakaway) ? found.breakaway : null;
    const { grade, reason } = pivot({ state: found.pivot, breakaway_n: force, limit_n: limit });
    if (force !== null && limit === null) {
      return { grade, reason: because("finding.pivot_no_limit", { state: reason, force_n: force }) };
    }
    return { grade, reason };
  }

  // `tool` is the permissible deviation of the wrench that was named [%], or answers it by a fastener's code; undefined
  // where none is named.
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
        if (target !== null) {
          graded.push({ label: each.label, ...torque({ as_found_nm: found[each.code], ...options }) });
        }
      }
      if (known(left[each.code]) && target !== null && asLeft({
          as_left_nm: left[each.code],
          ...options
        }).verdict !== "within") {
        doubtful.push(each.label);
      }
    }
    if (!read && !marks.length) return null;
    const loose = graded.filter((each) => each.grade === "act").length;
    const watch = graded.filter((each) => each.grade === "watch").length;
    const said = [];
    if (graded.length && !loose && !watch) said.push(because("finding.all_within", { n: graded.length }));
    else if (graded.length) {
      if (loose && watch) said.push(because("finding.loose_and_watch", { n: loose, of: graded.length, watch }));
      else said.push(because(loose ? "finding.loose" : "finding.to_watch", { n: loose || watch, of: graded.length }));
      const low = graded.reduce((least, each) => (each.share < least.share ? each : least));
      said.push(because("finding.lowest", { fastener: low.label, share_pct: pctOf(low.share) }));
    }
    if (read > graded.length) said.push(because("finding.not_graded", { n: read - graded.length }));
    if (read < readings.length) said.push(because("finding.not_read", { n: readings.length - read }));
    const turned = marks.filter((each) => each.grade === "act").map((each) => each.label);
    if (turned.length) {
      said.push(because(
        turned.length === 1 ? "finding.mark_turned" : "finding.marks_turned", {
          n: turned.length,
          fasteners: turned.join(", "),
        }
      ));
    }
    if (doubtful.length) said.push(because("finding.left_in_doubt", { fasteners: doubtful.join(", ") }));
    return { grade: worst([...graded, ...marks].map((each) => each.grade)), reason: together(said) };
  }

  function findOffsets(found, readings) {
    const parts = readings
      .filter((each) => known(found[each.code]))
      .map((each) => ({
        limits: each.limits,
        ...offset({ offset_mm: found[each.code], permitted_mm: each.limits.permitted_mm })
      }));
    if (!parts.length) return null;
    const furthest = parts.reduce((most, each) => (each.share > most.share ? each : most));
    const { at_m, is_loaded: isLoaded } = furthest.limits;
    const said = [because(
      "finding.furthest_off", {
        at_m,
        load: asWord(isLoaded ? "finding.loaded" : "finding.empty"),
        offset: furthest.reason,
      }
    )];
    if (parts.length < readings.length) {
      said.push(because("finding.stations_not_read", { n: readings.length - parts.length, of: readings.length }));
    }
    return { grade: worst(parts.map((part) => part.grade)), reason: together(said) };
  }

  function findOwn(found, readings) {
    const parts = [];
    for (const each of readings) {
      if (!known(found[each.code])) continue;
      let part = graded(null, because("finding.answer_without_grade"));
      if (each.form === "number") part = limits({ value: found[each.code], ...each.limits });
      else if (each.limits.grades[found[each.code]]) {
        part = choice({ value: found[each.code], grades: each.limits.grades });
      }
      parts.push({ label: each.label, ...part });
    }
    if (!parts.length) return null;
    const grade = worst(parts.map((part) => part.grade));
    if (grade === null) return { grade, reason: because("grading.limits_none") };
    if (grade === "sound") return { grade, reason: because("finding.within_all_limits") };
    const atWorst = parts.filter((part) => part.grade === grade);
    return {
      grade,
      reason: together(atWorst.map((part) => because("finding.of_field", { field: part.label, reason: part.reason }))),
    };
  }

  function find(check, found, left, tool) {
    const limitsOf = (code) => check.readings.find((each) => each.code === code).limits;
    if (check.rule === "sensor_wear") return findSensorWear(found, limitsOf("drive_diameter"));
    if (check.rule === "pivot_freedom") return findPivot(found, limitsOf("breakaway"));
    if (check.rule === "fastener_torque") return findTorque(found, left, check.readings, tool);
    if (check.rule === "offsets") return findOffsets(found, check.readings);
    return findOwn(found, check.readings);
  }

  return {
    worst,
    sensor_wear: sensorWear,
    sensor_pair: sensorPair,
    pivot,
    torque,
    witness_mark: witnessMark,
    as_left: asLeft,
    limits,
    offset,
    choice,
    implausible,
    slip_of: slipOf,
    find,
  };
}
