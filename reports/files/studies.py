"""A comparison as files, so that a colleague can repeat it with own tools: data, reference stretches, method in words.

From the data file and the file of reference stretches alone each of the three answers can be worked out again; a test
does so with scipy and statsmodels.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from typing import Any

import numpy as np

from plant.calc.import_rows import guarded
from plant.calc.wording import p_words
from plant.files.tables import plain
from plant.models import Plant
from reports.calc.many_verdicts import widened_p_many
from reports.calc.reference_model import FEWEST_FOR_TREND, NoReference
from reports.calc.study_windows import Window
from reports.selectors.months import code_version
from reports.selectors.offset_studies import offset_study_of
from reports.selectors.reference_groups import (
    POSSIBLE_M,
    REFERENCE_DAYS,
    TILE_M,
    Answers,
    Reference,
    beside_zone,
    sensitivity_of,
)
from reports.selectors.studies import BEFORE_MONTHS, Study, notes_of, rules_of
from reports.words.offset_studies import lacking_words, occasion_words, offset_answer
from reports.words.reference_groups import beside_words, reference_words
from reports.words.study_rules import verdict_rules, window_rules
from reports.words.study_windows import left_out_words
from reports.words.verdicts import VERDICT_WORDS, reasons_words

HEAD = ("part", "item", "from", "until", "incidents", "running_h", "coverage", "value", "ratio", "low", "high", "words")
FORMULAE = (
    "n0, t0: incidents and running hours before; n1, t1: after. Rate = n / t. Ratio R = (n1 / t1) / (n0 / t0).",
    "Plain, exact 95 % interval: given n0 + n1, n1 is binomial with p = R t1 / (t0 + R t1); Clopper-Pearson limits of "
    "p by beta quantiles, turned back: R = p / (1 - p) * t0 / t1. Mid-P: the observed count counts half in each tail.",
    "p central: twice the smaller tail at R = 1, 1 at most.",
    "Reference: negative binomial model of stretches while without a device, rate r, variance mu + mu^2 / phi. Hours "
    "of a year are first multiplied by that year's level for all stretches, found as s_w below (weighed_h). phi is "
    "weighted by its likelihood times s (1 - s), s = phi / (phi + median mu).",
    "Trend c, after over before, of stretches while without a device, those that got one later included: incidents of "
    "stretch i in window w (before, after, other time) are Poisson with mean g_i r_i s_w h_iw, g_i gamma with mean 1 "
    "and shape phi; c = s_after / s_before at the highest likelihood with g_i integrated out, its log error from the "
    "curvature, times the root of Pearson's dispersion of the untreated stretches' change. Without a reference model: "
    "(m1 + 0.5) / h1 over (m0 + 0.5) / h0 with their incidents m and hours h. "
    f"None is taken out with fewer than {FEWEST_FOR_TREND} incidents in either window.",
    "Compared: rate before gamma with shape a0 = n0 / d + 0.5 and hours b0 = t0 / d; rate after gamma with shape "
    "a1 = n1 / d + 0.5 and hours b1 = t1 / d. The ratio is after / (before * c); the rate before has on the log scale "
    "the mean M = digamma(a0) - log b0 and the variance V = trigamma(a0) + (log error of c)^2. With trigamma(a) = V "
    "the ratio is beta prime with shapes a1 and a, times exp(digamma(a) - M) / (b1 c): its median, and quantiles at "
    "2.5 % and 97.5 %.",
    "Shrunk (empirical Bayes): as compared, with a0 = n0 / d + phi and b0 = t0 / d + phi / (r s_before). Each phi has "
    "its weight, and V takes in the spread of M over them and the square of the model's error times the share "
    "phi / (r s_before) / b0; the model's error is the root of x K x' with the covariance K of its coefficients at the "
    "traits x of this belt, and log r = intercept + sum of coefficient * trait.",
    "Choice of the model: traits are taken in one at a time, each time the one that lowers Schwarz's criterion most, "
    "as long as it falls and ten stretches stand behind each coefficient.",
    "Belt offset, a second answer beside the verdict: size of the offset at stations measured both before and after, "
    "several readings of a station averaged; mean of the differences with Student's interval.",
    "d: dispersion, 1 unless incidents come in bad spells: 1 + 2 (pairs - expected pairs) / n, pairs at most two days "
    "apart, where chance alone would bring so many in fewer than 5 of 100 cases. Widened limits and p: the plain ones "
    "with counts and hours divided by d.",
    "Limit that decides: one-sided, the quantile at 5 % or 95 % of the same law as the interval, of the shrunk "
    "answer; of "
    "the compared one where there is none.",
    "Too few incidents to tell: (0.025^(-d / n0) - 1) t0 / t1, the upper limit of R if n1 were 0, is not below 1.",
    "q: the widened p-values of all comparisons whose counts could have told fewer (n1 = 0 would have), adjusted after "
    "Benjamini and Hochberg; a rise that the others tell is adjusted among all that can be judged.",
    "Fleet, group, next device: log of (n1 / d + 0.5) less the mean log of what was to be expected after, which is "
    "M + log(c t1 / d), pooled by DerSimonian and Laird with the interval of Hartung and Knapp. A device's variance "
    "is V "
    "without the errors of c and of the model, plus 1 / (expected times the pooled ratio + 0.5); those errors are "
    "common "
    "to all and added to the middle's as a whole.",
    "Rate watch: S = max(0, S + bad day - k r h), k = 2 / ln 3, r the learnt rate, h the day's hours; an alarm from "
    "S at "
    "or above its threshold until S is 0 again. Alarms by chance: the bad days of each device laid anew at random over "
    "its hours.",
    "While sound: the window after cut where a sensor roller or pivot that was found failed was last found sound.",
    "Another merge time is tried on raw switch events only; what people logged counts one each.",
    "An incident of which only the day is known stands with the time within which it was, from and until. It counts in "
    "a window that holds all of that time, and by its middle where days are counted.",
)


def data_file(study: Study) -> str:
    """CSV of what the verdict rests on: one line for each zone, window, exclusion and answer."""
    zone = study.conveyor.plant.zone
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(HEAD)
    for row in data_rows(study):
        cells = (plain(row.get(name), zone) for name in HEAD)
        writer.writerow([guarded(each) if isinstance(each, str) else each for each in cells])
    return buffer.getvalue()


def data_rows(study: Study) -> list[dict[str, Any]]:
    """The lines of the file."""
    rows: list[dict[str, Any]] = [
        {
            "part": "installation",
            "item": f"{each.conveyor.tag} device {each.device.number}",
            "from": each.installed_at,
            "until": each.removed_at,
            "words": f"{each.device.device_model.name}; {each.strand} {each.chainage_m:g} m",
        }
        for each in study.members
    ]
    rows += [
        {"part": "zone", "item": study.installation.strand, "words": f"{each.low_m:g} m to {each.high_m:g} m"}
        for each in study.zones
    ]
    rows += window_rows(study)
    rows += check_rows(study)
    ratio = study.ratio
    rows.append({"part": "answer", "item": "plain, exact", **limits(ratio.ratio, ratio.low, ratio.high)})
    rows.append({"part": "answer", "item": "plain, mid-P", **limits(ratio.ratio, ratio.mid_p_low, ratio.mid_p_high)})
    rows.append({"part": "check", "item": "p central", "value": rounded(ratio.p_central)})
    rows += answer_rows(study)
    strand = study.installation.strand
    for each in beside_zone(study.belt, strand, study.zones, study.before, study.after):
        words = f"{each.ratio.n_before} before, {each.ratio.n_after} after"
        one = limits(each.ratio.ratio, each.ratio.low, each.ratio.high)
        rows.append({"part": "beside the zone", "item": beside_words(each), **one, "words": words})
    rows += sensitivity_rows(study)
    rows += offset_rows(study)
    rows += [
        {"part": "note", "item": str(each.created_by), "from": each.created_at, "words": each.text}
        for each in notes_of(study)
    ]
    rows += sound_rows(study)
    rows.append({"part": "verdict", "item": str(VERDICT_WORDS[study.verdict]), "words": reasons_words(study.judgement)})
    rows.append({"part": "code", "item": code_version(), "from": study.now})
    return rows


def window_rows(study: Study) -> list[dict[str, Any]]:
    """Both windows, what is in neither, and who set them where a person did."""
    rows: list[dict[str, Any]] = []
    for name, side in (("before", study.before), ("after", study.after)):
        left = f"left out: {side.n_unknown_hours} at unknown hours, {side.n_without_place} without a place"
        if side.n_without_time:
            left += f", {side.n_without_time} on a day that the window cuts, at no known time"
        rows.append(
            {
                "part": "window",
                "item": name,
                **span(side.window),
                "incidents": side.n,
                "running_h": exact(side.hours),
                "coverage": rounded(side.exposure.coverage),
                "words": left,
            }
        )
    rows += [
        {
            "part": "left out",
            **span(each.window),
            "incidents": each.n,
            "running_h": rounded(each.running_h),
            "words": left_out_words(each.reason),
        }
        for each in study.left_out
    ]
    if study.chosen is not None:
        chosen = {
            "item": str(study.chosen.created_by or ""),
            "from": study.chosen.created_at,
            "words": study.chosen.reason,
        }
        rows.append({"part": "windows set by a person", **chosen})
    return rows


def check_rows(study: Study) -> list[dict[str, Any]]:
    """What the counts rest on: level, switches, merge time, every incident and the hours of every day."""
    plant, strand = study.conveyor.plant, study.installation.strand
    rows: list[dict[str, Any]] = [
        {"part": "check", "item": "level", "value": study.rules.level},
        {"part": "check", "item": "drift switches in the zone", "value": study.n_detectors},
        {"part": "check", "item": "merge time [min]", "value": plant.merge_minutes},
        {"part": "check", "item": "least coverage", "value": study.rules.least_coverage},
        {"part": "check", "item": "margin, lower", "value": study.rules.margin[0]},
        {"part": "check", "item": "margin, upper", "value": study.rules.margin[1]},
    ]
    incidents, zone = study.belt.incidents, plant.zone
    here = incidents.in_zones(strand, study.zones) & incidents.is_covered
    for name, side in (("before", study.before), ("after", study.after)):
        if side.window.is_empty:
            continue
        chosen = here & incidents.within(side.window)
        for i in np.flatnonzero(chosen):
            spans = (incidents.first_s[i], incidents.last_s[i])
            first, last = (dt.datetime.fromtimestamp(float(each), dt.UTC) for each in spans)
            row = {"part": "incident", "item": name, "from": first, "words": f"{incidents.chainage_m[i]:g} m"}
            # Of one whose time of day is not known, from when to when it may have been; its middle decides the day.
            rows.append(row if first == last else {**row, "until": last})
        rows += day_rows(study, name, side.window, zone)
    return rows


def day_rows(study: Study, name: str, window: Window, zone: dt.tzinfo) -> list[dict[str, Any]]:
    """Running hours of each day of a window, counted from its start; the check for bad spells takes these days."""
    edges = [window.start]
    while edges[-1] < window.end:
        edges.append(min(edges[-1] + dt.timedelta(days=1), window.end))
    hours = study.belt.ledger.hours_many(edges[:-1], edges[1:]).running_h
    return [
        {"part": "day", "item": name, "from": start, "until": end, "running_h": rounded(float(run))}
        for start, end, run in zip(edges[:-1], edges[1:], hours, strict=True)
    ]


def answer_rows(study: Study) -> list[dict[str, Any]]:
    answers = study.answers
    if answers is None:
        return []
    rows: list[dict[str, Any]] = []
    for name, index in (("compared", answers.compared), ("shrunk", answers.shrunk)):
        if index is not None:
            rows.append({"part": "answer", "item": name, **limits(index.ratio, index.low, index.high)})
            one_sided = limits(None, index.low_one_sided, index.high_one_sided)
            rows.append({"part": "answer", "item": f"{name}, one-sided limits, which decide", **one_sided})
    if answers.trend is not None:
        trend = answers.trend
        for name, n, hours in (
            ("before", trend.n_before, trend.hours_before),
            ("after", trend.n_after, trend.hours_after),
        ):
            rows.append({"part": "trend", "item": name, "incidents": n, "running_h": rounded(hours)})
        rows.append({"part": "trend", "item": "ratio", "value": exact(trend.ratio)})
        rows.append({"part": "trend", "item": "log error", "value": exact(trend.log_error)})
        rows.append({"part": "trend", "item": "as counted", "value": exact(trend.as_counted)})
        rows.append({"part": "trend", "item": "level before, over the model", "value": exact(trend.level_before)})
        rows.append({"part": "trend", "item": "dispersion", "value": exact(trend.dispersion)})
    spells = answers.spells
    said = f"{spells.pairs} close pairs, {spells.expected_pairs:.2f} expected"
    if spells.p is not None:
        said += f", {p_words(spells.p)}"
    said += f"; bad days {' and '.join(str(each) for each in spells.bad_days)}"
    rows.append({"part": "check", "item": "bad spells", "words": said})
    rows.append({"part": "check", "item": "dispersion", "value": exact(spells.widening)})
    rows += model_rows(answers)
    if study.ratio.p_central is not None:
        sides = (study.before.n, study.before.hours, study.after.n, study.after.hours)
        p = float(widened_p_many(*sides, spells.widening))
        rows.append({"part": "check", "item": "p widened", "value": rounded(p)})
    return [*rows, *({"part": "reason", "words": reference_words(each)} for each in answers.reasons)]


def model_rows(answers: Answers) -> list[dict[str, Any]]:
    """The reference model with which the shrunk answer was reached, to full figures."""
    model = answers.model
    if model is None or answers.reference_per_1000_h is None:
        return []
    names = ("intercept", *model.names)
    rows: list[dict[str, Any]] = [
        {"part": "model", "item": "phi", "value": exact(model.shape) if math.isfinite(model.shape) else "infinite"},
        {"part": "model", "item": "rate per running hour here", "value": exact(answers.reference_per_1000_h / 1000.0)},
        {"part": "model", "item": "log error of that rate", "value": exact(model.log_error(answers.traits))},
        {"part": "model", "item": "stretches", "value": model.n_stretches, "incidents": model.n_incidents},
        {"part": "model", "item": "dispersion of Pearson", "value": exact(model.dispersion)},
        {"part": "model", "item": "traits left out", "words": "; ".join(model.left_out)},
    ]
    rows += [
        {"part": "coefficient", "item": name, "value": exact(value)}
        for name, value in zip(names, model.coefficients, strict=True)
    ]
    rows += [
        {"part": "weight of phi", "item": f"{phi:.12g}", "value": exact(weight)}
        for phi, weight in zip(model.shapes, model.shape_weights, strict=True)
    ]
    rows += [{"part": "trait here", "item": name, "value": exact(answers.traits[name])} for name in model.names]
    rows += [
        {"part": "covariance", "item": f"{one} x {other}", "value": exact(model.covariance[i][k])}
        for i, one in enumerate(names)
        for k, other in enumerate(names)
    ]
    return [*rows, *({"part": "model", "item": "note", "words": reference_words(each)} for each in model.reasons)]


def reference_file(reference: Reference, study: Study) -> str:
    """CSV of the stretches that serve as reference, one line each, while no device reached them.

    Incidents and hours of both windows of the comparison and of all time known, the hours as the model weighs them by
    year, and every trait that it could take in.
    """
    zone, those = study.conveyor.plant.zone, reference.stretches
    spans = [(-math.inf, math.inf)]
    spans += [(side.window.start.timestamp(), side.window.end.timestamp()) for side in (study.before, study.after)]
    columns = [column for start, end in spans for column in those.within(start, end)] if reference.places else []
    weighed: list[float | str] = ["" for _each in reference.places]
    if not isinstance(reference.model, NoReference):
        known_h = iter(reference.model.weighed_h)
        weighed = [exact(next(known_h)) if hours > 0 else 0.0 for hours in columns[1]]
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    traits = list(reference.places[0].traits) if reference.places else []
    sides = [f"{what}{name}" for name in ("", "_before", "_after") for what in ("incidents", "running_h")]
    writer.writerow(["conveyor", "strand", "low_m", "high_m", "until", *sides, "weighed_h", *traits])
    for i, each in enumerate(reference.places):
        cells = [each.tag, each.strand, round(each.zone.low_m, 3), round(each.zone.high_m, 3), plain(each.until, zone)]
        known = [exact(each.traits[name]) if math.isfinite(each.traits[name]) else "" for name in traits]
        cells += [*(exact(float(column[i])) for column in columns), weighed[i], *known]
        writer.writerow([guarded(cell) if isinstance(cell, str) else cell for cell in cells])
    return buffer.getvalue()


def sensitivity_rows(study: Study) -> list[dict[str, Any]]:
    """Counts under other merge times and with possible places."""
    strand = study.installation.strand
    found = sensitivity_of(study.belt, strand, study.zones, study.before, study.after, study.n_detectors, study.rules)
    rows = []
    for each in found:
        merged = "as in the book" if each.merge_minutes is None else f"merge time {each.merge_minutes} min"
        place = "possible places" if each.is_possible else "sure places"
        rows.append(
            {
                "part": "another way of counting",
                "item": f"{place}, {merged}",
                **limits(each.ratio.ratio, each.ratio.low, each.ratio.high),
                "words": f"{each.n_before} before, {each.n_after} after: {VERDICT_WORDS[each.judgement.verdict]}",
            }
        )
    return rows


def sound_rows(study: Study) -> list[dict[str, Any]]:
    """The same comparison with the window after cut where a part that failed was last found sound."""
    if study.failure is None:
        return []
    rows: list[dict[str, Any]] = [
        {"part": "part found failed", "item": study.failure.part, "from": study.failure.found_at}
    ]
    sound = study.sound
    if sound is not None:
        side, ratio = sound.after, sound.ratio
        counted = {"incidents": side.n, "running_h": exact(side.hours), "coverage": rounded(side.exposure.coverage)}
        rows.append({"part": "while sound", "item": "after", **span(side.window), **counted})
        rows.append({"part": "while sound", "item": "plain, exact", **limits(ratio.ratio, ratio.low, ratio.high)})
        words = reasons_words(sound.judgement)
        rows.append({"part": "while sound", "item": f"verdict: {VERDICT_WORDS[sound.verdict]}", "words": words})
    return rows


def offset_rows(study: Study) -> list[dict[str, Any]]:
    """Every reading of the belt offset, then what they come to on each occasion."""
    offsets = offset_study_of(study.members, study.now)
    rows: list[dict[str, Any]] = [
        {
            "part": "offset reading",
            "item": f"{each.occasion}, {load_words(each.is_loaded)}",
            "from": each.taken_at,
            "words": f"station {each.chainage_m:g} m, {each.offset_mm:g} mm",
        }
        for each in offsets.rows
    ]
    for occasion in offsets.occasions:
        if not occasion.changes:
            lacking = lacking_words(occasion.lacking)
            rows.append({"part": "offset change", "item": occasion_words(occasion), "words": lacking})
        for change in occasion.changes:
            said = f"{change.n_stations} stations; {offset_answer(change)}"
            if change.median_before_mm is not None:
                said += (
                    f"; median {change.median_before_mm:g} to {change.median_after_mm:g} mm, largest "
                    f"{change.largest_before_mm:g} to {change.largest_after_mm:g} mm"
                )
            mm = limits(change.change_mm, change.low_mm, change.high_mm)
            item = f"{occasion_words(occasion)}, {load_words(change.is_loaded)} [mm]"
            rows.append({"part": "offset change", "item": item, **mm, "words": said})
    return rows


def load_words(is_loaded: bool) -> str:
    return "loaded" if is_loaded else "empty"


def method_text(plant: Plant, study: Study | None = None) -> str:
    """The method with the plant's numbers; with a study its own windows and counts are in the data file."""
    rules = rules_of(plant)
    lines = ["METHOD: incidents before and after an installation, per running hour", f"Plant: {plant}"]
    if study is not None:
        numbers = " + ".join(each.device.number for each in study.members)
        lines.append(f"Comparison: {study.conveyor.tag} {study.installation.strand}, device {numbers}")
        if study.chosen is not None:
            day = study.chosen.created_at.astimezone(plant.zone).date()
            lines.append(f"Windows set by {study.chosen.created_by} on {day}: {study.chosen.reason}")
    lines += [f"Code: {code_version()}", ""]
    numbers_used = (
        f"level {rules.level:g}; least coverage {rules.least_coverage:g}; margin {rules.margin[0]:g} to "
        f"{rules.margin[1]:g}; least hours after {rules.least_after_share:g} of those before; "
        f"{BEFORE_MONTHS} months before",
        f"settling-in {plant.settling_in_days} days or {plant.settling_in_h} running hours",
        f"reference: stretches of about {TILE_M:g} m with a drift switch and no device, over {REFERENCE_DAYS} days",
        f"possible places, in the check of sensitivity only: up to {POSSIBLE_M:g} m beyond the zone",
    )
    for head, points in (
        ("Windows, zones and counts", window_rules(plant)),
        ("Numbers of this plant", numbers_used),
        ("Formulae", FORMULAE),
        ("Rule of the verdict; the first that holds decides", verdict_rules(rules)),
    ):
        lines += [head, *(f"{i}. {each}" for i, each in enumerate(points, 1)), ""]
    lines.append("A verdict tells of counts only. It does not say that a belt is safe.")
    return "\n".join(lines) + "\n"


def span(window: Window) -> dict[str, Any]:
    return {"from": window.start, "until": window.end}


def limits(ratio: float | None, low: float | None, high: float | None) -> dict[str, Any]:
    return {"ratio": rounded(ratio), "low": rounded(low), "high": rounded(high)}


def exact(value: float) -> float:
    """Twelve figures: enough to work on with."""
    return float(f"{value:.12g}")


def rounded(value: float | None) -> float | str:
    """Enough digits to check by; empty where there is none or no limit."""
    return "" if value is None or not math.isfinite(value) else round(value, 6)
