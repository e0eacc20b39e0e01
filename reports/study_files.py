"""A comparison as files, so that a colleague can check it with own tools: the data, and the method in words."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

from plant.calc.import_files import guarded
from plant.models import Plant
from plant.views.lists import plain
from reports.answers import FEWEST_FOR_TREND, POSSIBLE_M, REFERENCE_DAYS, TILE_M, beside_zone
from reports.calc.study_windows import Window
from reports.month_figures import code_version
from reports.offset_studies import offset_study_of
from reports.selectors import BEFORE_MONTHS, Study, notes_of, rules_of, verdict_rules, window_rules

HEAD = ("part", "item", "from", "until", "incidents", "running_h", "coverage", "ratio", "low", "high", "words")
FORMULAE = (
    "n0, t0: incidents and running hours before; n1, t1: after. Rate = n / t. Ratio R = (n1 / t1) / (n0 / t0).",
    "Plain, exact 95 % interval: given n0 + n1, n1 is binomial with p = R t1 / (t0 + R t1); Clopper-Pearson limits of "
    "p by beta quantiles, turned back: R = p / (1 - p) * t0 / t1. Mid-P: the observed count counts half in each tail.",
    "p central: twice the smaller tail at R = 1, 1 at most.",
    "Reference: negative binomial model of stretches while without a device, rate r, variance mu + mu^2 / phi. phi is "
    "weighted by its likelihood times s (1 - s), s = phi / (phi + median mu).",
    "Trend c, after over before, of stretches while without a device, those that got one later included: incidents of "
    "stretch i in window w (before, after, other time) are Poisson with mean g_i r_i s_w h_iw, g_i gamma with mean 1 "
    "and shape phi; c = s_after / s_before at the highest likelihood with g_i integrated out, its log error from the "
    "curvature, times the root of Pearson's dispersion of the untreated stretches' change. Without a reference model: "
    "(m1 + 0.5) / h1 over (m0 + 0.5) / h0 with their incidents m and hours h. "
    f"None is taken out with fewer than {FEWEST_FOR_TREND} incidents in either window.",
    "Compared: rate before gamma with shape n0 / d + 0.5 and hours t0 / d, times c; rate after gamma with shape "
    "n1 / d + 0.5 and hours t1 / d; median and quantiles of their ratio.",
    "Shrunk (empirical Bayes): as compared, with shape n0 / d + phi and hours t0 / d + phi / (r s_before).",
    "Errors of c and r and the weights of phi make the rate before uncertain on the log scale: its mean and variance "
    "there (digamma, trigamma, and the errors added) are those of the gamma that is used.",
    "Belt offset, a second answer beside the verdict: size of the offset at stations measured both before and after, "
    "several readings of a station averaged; mean of the differences with Student's interval.",
    "d: dispersion, 1 unless incidents come in bad spells: 1 + 2 (pairs - expected pairs) / n, pairs at most two days "
    "apart, where chance alone would bring so many in fewer than 5 of 100 cases.",
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
    for name, side in (("before", study.before), ("after", study.after)):
        left = f"left out: {side.n_unknown_hours} at unknown hours, {side.n_without_place} without a place"
        rows.append(
            {
                "part": "window",
                "item": name,
                **span(side.window),
                "incidents": side.n,
                "running_h": rounded(side.hours),
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
            "words": each.reason,
        }
        for each in study.left_out
    ]
    ratio = study.ratio
    rows.append({"part": "answer", "item": "plain, exact", **limits(ratio.ratio, ratio.low, ratio.high)})
    rows.append({"part": "answer", "item": "plain, mid-P", **limits(ratio.ratio, ratio.mid_p_low, ratio.mid_p_high)})
    rows.append({"part": "check", "item": "p central", "words": str(rounded(ratio.p_central))})
    rows += answer_rows(study)
    strand = study.installation.strand
    for each in beside_zone(study.belt, strand, study.zones, study.before, study.after):
        words = f"{each.ratio.n_before} before, {each.ratio.n_after} after"
        one = limits(each.ratio.ratio, each.ratio.low, each.ratio.high)
        rows.append({"part": "beside the zone", "item": each.words, **one, "words": words})
    rows += offset_rows(study)
    rows += [
        {"part": "note", "item": str(each.created_by), "from": each.created_at, "words": each.text}
        for each in notes_of(study)
    ]
    rows.append({"part": "verdict", "item": study.verdict.words, "words": " ".join(study.judgement.reasons)})
    rows.append({"part": "code", "item": code_version(), "from": study.now})
    return rows


def answer_rows(study: Study) -> list[dict[str, Any]]:
    answers = study.answers
    if answers is None:
        return []
    rows: list[dict[str, Any]] = []
    for name, index in (("compared", answers.compared), ("shrunk", answers.shrunk)):
        if index is not None:
            rows.append({"part": "answer", "item": name, **limits(index.ratio, index.low, index.high)})
    if answers.trend is not None:
        trend = answers.trend
        words = (
            f"{trend.n_before} in {trend.hours_before:.1f} h before, {trend.n_after} in {trend.hours_after:.1f} h "
            f"after on untreated stretches, as counted {trend.as_counted:.4f}; log error {trend.log_error:.4f}"
        )
        rows.append({"part": "check", "item": "trend", "ratio": rounded(trend.ratio), "words": words})
    if answers.reference_per_1000_h is not None:
        said = f"{answers.reference_per_1000_h:.4f} per 1000 h"
        rows.append({"part": "check", "item": "reference rate", "words": said})
    spells = answers.spells
    said = (
        f"{spells.pairs} close pairs, {spells.expected_pairs:.2f} expected, intervals widened by {spells.widening:.3f}"
    )
    rows.append({"part": "check", "item": "bad spells", "words": said})
    return [*rows, *({"part": "reason", "words": each} for each in answers.reasons)]


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
            rows.append({"part": "offset change", "item": occasion.label, "words": occasion.words})
        for one in occasion.changes:
            change = one.change
            said = f"{change.n_stations} stations; {one.words}"
            if change.median_before_mm is not None:
                said += (
                    f"; median {change.median_before_mm:g} to {change.median_after_mm:g} mm, largest "
                    f"{change.largest_before_mm:g} to {change.largest_after_mm:g} mm"
                )
            mm = limits(change.change_mm, change.low_mm, change.high_mm)
            item = f"{occasion.label}, {load_words(change.is_loaded)} [mm]"
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
            lines.append(f"Windows set by a person: {study.chosen.reason}")
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
        ("Rule of the verdict; the first that holds decides", verdict_rules(plant)),
    ):
        lines += [head, *(f"{i}. {each}" for i, each in enumerate(points, 1)), ""]
    lines.append("A verdict tells of counts only. It does not say that a belt is safe.")
    return "\n".join(lines) + "\n"


def span(window: Window) -> dict[str, Any]:
    return {"from": window.start, "until": window.end}


def limits(ratio: float | None, low: float | None, high: float | None) -> dict[str, Any]:
    return {"ratio": rounded(ratio), "low": rounded(low), "high": rounded(high)}


def rounded(value: float | None) -> float | str:
    """Enough digits to check by; empty where there is none or no limit."""
    return "" if value is None or not math.isfinite(value) else round(value, 6)
