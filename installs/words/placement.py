"""Words and marks of places: how they fit, what they reach."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from installs.calc.candidates import Candidate
from installs.calc.effect_zones import StretchCount, Zone
from installs.calc.placement import Fit, Line
from plant.calc.rates import Rate
from plant.calc.units import QuantityKind, UnitSystem, format_quantity, sentence_in
from plant.models import Strand
from plant.words.marks import mark

MARK_OF = {
    Fit.FITS: "sound",
    Fit.CONDITION: "watch",
    Fit.NOT_MEASURED: "early",
    Fit.NOT_STATED: "early",
    Fit.DOES_NOT_FIT: "act",
}


def words_of_fit(fit: Fit) -> str:
    return {
        Fit.FITS: _("fits"),
        Fit.CONDITION: _("with a condition"),
        Fit.NOT_MEASURED: _("to be measured"),
        Fit.NOT_STATED: _("not stated"),
        Fit.DOES_NOT_FIT: _("does not fit"),
    }[fit]


def line_mark(fit: Fit) -> str:
    """The verdict of one line."""
    return mark(MARK_OF[fit], words_of_fit(fit))


def fit_words_of(candidate: Candidate) -> str:
    if candidate.is_cause_first:
        return _("cause first")
    return words_of_fit(candidate.judged.fit) if candidate.has_model else _("no model fits")


def fit_mark(candidate: Candidate) -> str:
    """What a place of the ranking comes to."""
    if candidate.is_cause_first:
        kind = "act"
    else:
        kind = MARK_OF[candidate.judged.fit] if candidate.has_model else "unjudged"
    return mark(kind, fit_words_of(candidate))


def rate_with_range(rate: Rate) -> str:
    """2.6 (1.6 to 4.0); no rate where no hours are known."""
    if rate.per_1000_h is None or rate.low is None or rate.high is None:
        return _("no rate")
    return _("%(rate).1f (%(low).1f to %(high).1f)") % {"rate": rate.per_1000_h, "low": rate.low, "high": rate.high}


def in_units(words: str, system: UnitSystem) -> str:
    """A sentence of a calculation in the reader's units."""
    return sentence_in(words, system)


def strand_word(strand: str) -> str:
    """The strand as people say it."""
    return str(Strand(strand).label)


def rule_word(line: Line) -> str:
    """What a line asks, in a word or two."""
    return {
        "strand": _("strand"),
        "direction": _("direction of travel"),
        "width": _("belt width"),
        "speed": _("belt speed"),
        "trough": _("trough angle"),
        "below": _("clearance below"),
        "beside": _("clearance beside"),
        "along": _("room along the belt"),
        "pulley": _("distance to a pulley"),
        "loading": _("distance to a loading point"),
        "scraper": _("distance to a scraper"),
        "scale": _("distance to a belt scale"),
    }[line.rule]


def per_100_m(gap: StretchCount, study: Any) -> str:
    """How thick incidents lie on a stretch: per 100 m and 1000 running hours."""
    thousands = study.case.hours / 1000.0
    if thousands <= 0 or gap.zone.length_m <= 0:
        return _("no rate")
    dense = gap.n / thousands / (gap.zone.length_m / 100.0)
    return _("%(dense).2f per 1000 h on 100 m") % {"dense": dense}


def stretch_words(zone: Zone, system: UnitSystem) -> str:
    """ "310 to 710 m"."""
    low = format_quantity(zone.low_m, QuantityKind.DISTANCE_M, system, with_unit=False, thousands=True)
    high = format_quantity(zone.high_m, QuantityKind.DISTANCE_M, system)
    return _("%(low)s to %(high)s") % {"low": low, "high": high}
