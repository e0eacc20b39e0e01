"""Words and marks of places: how they fit, what they reach."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.candidates import Candidate, CandidateRule
from installs.calc.clearance import Asked, ClearanceRule, Fit, ModelWord, PlaceLine
from installs.calc.closeness import BeltEnd, ClosenessRule
from installs.calc.effect_zones import StretchCount, Zone
from installs.calc.open_causes import CauseRule
from installs.calc.provability import ProofRule
from installs.calc.wander import WanderRule
from plant.calc.rates import Rate
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.models import Strand
from plant.words.marks import mark
from plant.words.reasons import Texts, sentences

TEXTS: Texts = {
    ClearanceRule.STRAND_SUITS: gettext_lazy("%(model)s is made for the %(made_for)s strand."),
    ClearanceRule.STRAND_DIFFERS: gettext_lazy(
        "%(model)s is made for the %(made_for)s strand, this is the %(strand)s strand."
    ),
    ClearanceRule.ONE_DIRECTION: gettext_lazy(
        "%(model)s is not made for both directions: in reverse it would steer the belt off."
    ),
    ClearanceRule.BOTH_DIRECTIONS: gettext_lazy("%(model)s is made for both directions."),
    ClearanceRule.RUNS_ONE_WAY: gettext_lazy("The belt runs one way."),
    ClearanceRule.NOT_STATED: gettext_lazy(
        "Not stated: %(model)s gives no %(what)s. Ask for it before the place is chosen."
    ),
    ClearanceRule.RANGE_NOT_MEASURED: gettext_lazy("Not measured: %(model)s is stated for %(stated)s."),
    ClearanceRule.WIDTH_WITHIN: gettext_lazy("The belt is %(width_mm)s wide; %(model)s is stated for %(stated)s."),
    ClearanceRule.WIDTH_ONE_END: gettext_lazy(
        "The belt is %(width_mm)s wide; %(model)s is stated for %(stated)s. Only one end of the range is stated."
    ),
    ClearanceRule.WIDTH_OUTSIDE: gettext_lazy(
        "The belt is %(width_mm)s wide; %(model)s is stated for %(stated)s: %(outside_mm)s outside."
    ),
    ClearanceRule.SPEED_WITHIN: gettext_lazy("The belt runs at %(speed_m_s)s; %(model)s is stated for %(stated)s."),
    ClearanceRule.SPEED_OUTSIDE: gettext_lazy(
        "The belt runs at %(speed_m_s)s; %(model)s is stated for %(stated)s: %(outside_m_s)s outside."
    ),
    ClearanceRule.ROOM_NOT_STATED: gettext_lazy(
        "Not stated: %(model)s gives no least %(room)s. Ask for it before the place is chosen."
    ),
    ClearanceRule.ROOM_THERE_NOT_STATED: gettext_lazy(
        "Not stated: %(model)s gives no least %(room)s. %(there_mm)s are there. Ask for it before the place is chosen."
    ),
    ClearanceRule.ROOM_NOT_MEASURED: gettext_lazy(
        "Not measured: %(model)s needs %(needs_mm)s of %(room)s. A survey measures it."
    ),
    ClearanceRule.ROOM_SHORT: gettext_lazy(
        "%(there_mm)s of %(room)s where %(model)s needs %(needs_mm)s: %(short_mm)s short."
    ),
    ClearanceRule.ROOM_FITS: gettext_lazy(
        "%(spare_mm)s to spare: %(there_mm)s of %(room)s, %(model)s needs %(needs_mm)s."
    ),
    ClearanceRule.TROUGH_NOT_MEASURED: gettext_lazy(
        "Not measured: %(model)s is made for a trough of %(stated_deg_number)s°."
    ),
    ClearanceRule.TROUGH: gettext_lazy(
        "The trough is %(trough_deg_number)s°; %(model)s is made for %(stated_deg_number)s°."
    ),
    ClearanceRule.WIDTH_UP_TO: gettext_lazy("up to %(most_mm)s"),
    ClearanceRule.WIDTH_FROM: gettext_lazy("%(least_mm)s or more"),
    ClearanceRule.WIDTH_BETWEEN: gettext_lazy("%(least_mm_number)s to %(most_mm)s"),
    ClearanceRule.SPEED_UP_TO: gettext_lazy("up to %(most_m_s)s"),
    ClearanceRule.SPEED_FROM: gettext_lazy("%(least_m_s)s or more"),
    ClearanceRule.SPEED_BETWEEN: gettext_lazy("%(least_m_s_number)s to %(most_m_s)s"),
    Asked.WIDTH: gettext_lazy("belt width"),
    Asked.SPEED: gettext_lazy("belt speed"),
    Asked.TROUGH: gettext_lazy("trough angle"),
    Asked.BELOW: gettext_lazy("clearance below"),
    Asked.BESIDE: gettext_lazy("clearance beside"),
    Asked.ALONG: gettext_lazy("room along the belt"),
    ClosenessRule.TOO_NEAR: gettext_lazy("Too near: %(distance_m)s from the %(what)s; at least %(least_m)s are usual."),
    ClosenessRule.NEAR: gettext_lazy("Near: %(distance_m)s from the %(what)s; %(clear_m)s are better."),
    ClosenessRule.CLEAR: gettext_lazy("%(distance_m)s from the %(what)s."),
    BeltEnd.TAIL_PULLEY: gettext_lazy("tail pulley"),
    BeltEnd.HEAD_PULLEY: gettext_lazy("head pulley"),
    WanderRule.BEFORE: gettext_lazy(
        "%(before_m)s before the wandering %(stretch)s begins; usual is %(least_m_number)s to %(most_m)s into it."
    ),
    WanderRule.SHALLOW: gettext_lazy(
        "Only %(into_m)s into the wandering %(stretch)s; usual is %(least_m_number)s to %(most_m)s into it."
    ),
    WanderRule.DEEP: gettext_lazy(
        "%(into_m)s into the wandering %(stretch)s: what lies upstream of it stays unsteered."
    ),
    WanderRule.USUAL: gettext_lazy("%(into_m)s into the wandering %(stretch)s, as is usual."),
    WanderRule.AT_SWITCH: gettext_lazy(
        "%(n)s of its %(of)s incidents carry the place of a switch: look from outside the guards where it really "
        "begins."
    ),
    WanderRule.STRETCH: gettext_lazy("stretch from %(low_m_number)s to %(high_m)s"),
    WanderRule.ONE_PLACE: gettext_lazy("stretch at %(low_m)s"),
    ProofRule.UNSEEN: gettext_lazy(
        "No drift switch and no logged station stands in the zone: incidents there may go unseen, so the device could "
        "not be judged by them. Log a station or move a switch first."
    ),
    ProofRule.SEEN_AT_ONE: gettext_lazy("%(n)s switch or logged station stands in the zone, at %(places)s."),
    ProofRule.SEEN_AT: gettext_lazy("%(n)s switches or logged stations stand in the zone, at %(places)s."),
    ProofRule.PLACE_OF_MORE: "%(at_m_number)s,",
    ProofRule.PLACE: "%(at_m)s",
    ProofRule.HALVING: gettext_lazy(
        "A halving would show with %(power_pct)s probability after about %(about_hours)s running hours (%(incidents)s "
        "in %(before_h)s before)."
    ),
    ProofRule.ONE_TOO_FEW: gettext_lazy("%(n)s incident in %(before_h)s before is too few to show a halving"),
    ProofRule.TOO_FEW: gettext_lazy("%(n)s incidents in %(before_h)s before are too few to show a halving"),
    ProofRule.FALL_TO_QUARTER: gettext_lazy(
        "%(few)s; a fall to a quarter would show after about %(about_hours)s running hours."
    ),
    ProofRule.FALL_TO_TENTH: gettext_lazy(
        "%(few)s; a fall to a tenth would show after about %(about_hours)s running hours."
    ),
    ProofRule.HARDLY: gettext_lazy(
        "%(few)s or even a fall to a tenth: whether it works could hardly be told from counts. Measure belt offsets."
    ),
    ProofRule.ONE_INCIDENT: gettext_lazy("%(n)s incident"),
    ProofRule.INCIDENTS: gettext_lazy("%(n)s incidents"),
    CauseRule.CURE_FIRST: gettext_lazy("Cure first: %(cause)s."),
    CauseRule.SUSPECTED: gettext_lazy("%(n)s of %(of)s incidents in reach are put down to %(cause)s"),
    CauseRule.TYPED: "%(cause)s",
    CauseRule.FOUND_AT_SURVEY: gettext_lazy("%(cause)s, found at the survey of %(on)s"),
    CauseRule.NOT_CURED: gettext_lazy("Not cured: %(cause)s; to be fitted all the same, because: %(why)s"),
    CauseRule.PUT_ASIDE: gettext_lazy("Not cured: %(causes)s. To be fitted all the same, because: %(why)s."),
    CauseRule.PUT_ASIDE_BY: gettext_lazy(
        "Not cured: %(causes)s. To be fitted all the same, because: %(why)s (%(by)s)."
    ),
    CauseRule.SAID_BY: "%(who)s, %(on)s",
    CauseRule.ONE_OF_MORE: "%(cause)s;",
    CandidateRule.REACHES_ONE: gettext_lazy(
        "%(n)s of the %(incidents)s of this strand lies at %(stretch)s, where it would steer and no device reaches."
    ),
    CandidateRule.REACHES: gettext_lazy(
        "%(n)s of the %(incidents)s of this strand lie at %(stretch)s, where it would steer and no device reaches."
    ),
    CandidateRule.ZONE: gettext_lazy("%(low_m_number)s to %(high_m)s"),
    CandidateRule.TWO_ZONES: gettext_lazy("%(one)s and %(other)s"),
    CandidateRule.IN_GAP: gettext_lazy(
        "It lies in the stretch from %(low_m_number)s to %(high_m)s, which no device reaches and where %(n)s of the "
        "%(total)s lie."
    ),
    CandidateRule.SHARED: gettext_lazy("%(shared_m)s of it are steered by %(names)s already."),
    ModelWord.NONE: gettext_lazy("No model"),
    CandidateRule.NO_MODEL: gettext_lazy("No model in the book suits this strand by direction, belt width and speed."),
}
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


def placing_words(reasons: Reason | Iterable[Reason], system: UnitSystem, *, tape: bool = False) -> str:
    """Why a place fits, is offered or must wait; several reasons with a space between them."""
    those = [reasons] if isinstance(reasons, Reason) else reasons
    return sentences((_as_said(each) for each in those), TEXTS, system, tape=tape)


def _as_said(reason: Reason) -> Reason:
    """The same with its numbers as a tape and a plan tell them: two decimals below 10, one above."""
    return Reason(reason.rule, {name: _told(name, value) for name, value in reason.values.items()})


def _told(name: str, value: Any) -> Any:
    if isinstance(value, Reason):
        return _as_said(value)
    if isinstance(value, tuple):
        return tuple(_as_said(each) for each in value)
    if name == "about_hours":
        return f"{value:,.0f}"
    if isinstance(value, float):
        return round(value, 2 if abs(value) < 10 else 1)
    return value


def strand_word(strand: str) -> str:
    """The strand as people say it."""
    return str(Strand(strand).label)


def rule_word(line: PlaceLine) -> str:
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
