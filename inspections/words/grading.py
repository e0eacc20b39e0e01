"""Why a reading is sound, to be watched or to be acted on; what is odd about one; what a whole check came to.

The phone gets the same texts with its pack and writes the same sentences.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext_lazy as _

from inspections.calc.findings import FindingRule, FindingSeen
from inspections.calc.grading import Aside, GradeRule
from inspections.calc.plausible import PlausibleRule
from installs.words.torque import AS_LEFT
from plant.calc.reasons import Reason, reason_kept
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, sentence

GRADES: Texts = {
    GradeRule.ROLLER_SEIZED: _(
        "The roller does not turn; %(diameter_mm)s is %(share_pct)s of the permitted wear"
        " (new %(new_mm_number)s, limit %(limit_mm)s)."
    ),
    GradeRule.ROLLER_FLAT_SPOT: _(
        "The roller has a flat spot; %(diameter_mm)s is %(share_pct)s of the permitted wear"
        " (new %(new_mm_number)s, limit %(limit_mm)s)."
    ),
    GradeRule.WEAR_AT_LIMIT: _(
        "%(diameter_mm)s is %(share_pct)s of the permitted wear (new %(new_mm_number)s, limit %(limit_mm)s):"
        " worn to the limit or beyond."
    ),
    GradeRule.WEAR_ACT: _(
        "%(diameter_mm)s is %(share_pct)s of the permitted wear (new %(new_mm_number)s, limit %(limit_mm)s):"
        " act from %(from_pct)s."
    ),
    GradeRule.WEAR_WATCH: _(
        "%(diameter_mm)s is %(share_pct)s of the permitted wear (new %(new_mm_number)s, limit %(limit_mm)s):"
        " watch from %(from_pct)s."
    ),
    GradeRule.WEAR_SOUND: _(
        "%(diameter_mm)s is %(share_pct)s of the permitted wear (new %(new_mm_number)s, limit %(limit_mm)s)."
    ),
    GradeRule.PAIR_ONE_SIDED: _(
        "The sides differ by %(apart_pct)s of the permitted wear, more than %(most_pct)s: the %(side)s wears;"
        " look for a seized pivot, a skewed frame or off-centre load."
    ),
    GradeRule.PAIR_EVEN: _("The sides differ by %(apart_pct)s of the permitted wear."),
    GradeRule.PIVOT_FREE: _("The pivot moves freely through its whole range."),
    GradeRule.PIVOT_STIFF: _("The pivot is stiff."),
    GradeRule.PIVOT_SEIZED: _("The pivot is seized: the device steers the wrong way."),
    GradeRule.PIVOT_FORCE: _("%(state)s It breaks away at %(force_n)s, above the limit of %(limit_n)s."),
    GradeRule.PIVOT_FORCE_WITHIN: _("%(state)s It breaks away at %(force_n)s (limit %(limit_n)s)."),
    GradeRule.TORQUE_LOOSE: _(
        "%(found_nm)s is %(share_pct)s of the target of %(target_nm)s: loose;"
        " with a tool of %(tool_pct)s that is %(told)s."
    ),
    GradeRule.TORQUE_MAYBE_LOOSE: _(
        "%(found_nm)s is %(share_pct)s of the target of %(target_nm)s: %(place)s its tolerance; it may be loose:"
        " with a tool of %(tool_pct)s that is undecided up to %(up_to_nm)s."
    ),
    GradeRule.TORQUE_OUTSIDE: _(
        "%(found_nm)s is %(share_pct)s of the target of %(target_nm)s: %(place)s its tolerance;"
        " with a tool of %(tool_pct)s that is %(told)s."
    ),
    GradeRule.TORQUE_WITHIN: _(
        "%(found_nm)s is %(share_pct)s of the target of %(target_nm)s: within its tolerance;"
        " with a tool of %(tool_pct)s that is %(told)s."
    ),
    GradeRule.MARK_IN_LINE: _("Its witness mark is in line."),
    GradeRule.MARK_ROTATED: _("It has turned past its witness mark, whatever torque it shows."),
    GradeRule.LIMITS_ACT_LOW: _("%(found_apart)s is below %(limit)s: act."),
    GradeRule.LIMITS_ACT_HIGH: _("%(found_apart)s is above %(limit)s: act."),
    GradeRule.LIMITS_WATCH_LOW: _("%(found_apart)s is below %(limit)s: watch."),
    GradeRule.LIMITS_WATCH_HIGH: _("%(found_apart)s is above %(limit)s: watch."),
    GradeRule.LIMITS_WITHIN: _("%(found)s is within its limits."),
    GradeRule.LIMITS_NONE: _("No limits are set for this check."),
    GradeRule.OFFSET_BEYOND: _("%(where)s is %(share_pct)s of the permitted %(permitted_mm)s."),
    GradeRule.OFFSET_WATCH: _("%(where)s is %(share_pct)s of the permitted %(permitted_mm)s."),
    GradeRule.OFFSET_WITHIN: _("%(where)s is %(share_pct)s of the permitted %(permitted_mm)s."),
    GradeRule.CHOICE_SOUND: _("%(answer)s: sound."),
    GradeRule.CHOICE_WATCH: _("%(answer)s: watch."),
    GradeRule.CHOICE_ACT: _("%(answer)s: act."),
    Aside.DRIVE_SIDE: _("drive side"),
    Aside.OFF_SIDE: _("off side"),
    Aside.BELOW: _("below"),
    Aside.WITHIN: _("within"),
    Aside.ABOVE: _("above"),
    Aside.SURE: _("sure"),
    Aside.UNDECIDED: _("undecided"),
    Aside.UNDECIDED_BETWEEN: _("undecided from %(low_nm_number)s to %(high_nm)s"),
    Aside.TOWARDS_DRIVE: _("%(off_mm)s towards the drive side"),
    Aside.TOWARDS_OFF: _("%(off_mm)s towards the off side"),
    Aside.ON_CENTRE: _("%(off_mm)s"),
}

QUESTIONS: Texts = {
    PlausibleRule.NO_TORQUE: _("The torque is 0: is the fastener missing, or was it not read?"),
    PlausibleRule.INCHES: _("%(found)s looks like inches typed as millimetres: did you mean %(meant)s?"),
    PlausibleRule.MILLIMETRES: _("%(found)s looks like millimetres typed as inches: did you mean %(meant)s?"),
    PlausibleRule.DECIMAL_POINT: _("%(found)s looks like a slipped decimal point: did you mean %(meant)s?"),
    PlausibleRule.GROWN: _(
        "%(found_mm)s is %(more_mm)s more than the %(before_mm)s read before: was the part changed?"
    ),
    PlausibleRule.BELOW_TREND: _(
        "%(found)s is %(away)s below the %(trend)s that its own trend expects,"
        " more than %(times)s times its scatter: is it read right?"
    ),
    PlausibleRule.ABOVE_TREND: _(
        "%(found)s is %(away)s above the %(trend)s that its own trend expects,"
        " more than %(times)s times its scatter: is it read right?"
    ),
    PlausibleRule.BELOW_LEAST: _("%(found_apart)s is below %(limit)s, the least that can be: is it read right?"),
    PlausibleRule.ABOVE_MOST: _("%(found_apart)s is above %(limit)s, the most that can be: is it read right?"),
}

FINDINGS: Texts = {
    FindingRule.TOGETHER: _("%(parts)s"),
    FindingRule.NO_ROLLER: _("No roller was read."),
    FindingRule.ROLLER_ROUND: _("The roller is round and turns."),
    FindingRule.ROLLER_BAD: _("The roller has a flat spot or does not turn: %(seen)s."),
    FindingRule.WEAR_NOT_STATED: _("The model does not state what wear is permitted."),
    FindingRule.WEAR_USED: _("Permitted wear used: %(drive)s, %(off)s."),
    FindingRule.WEAR_NOT_GRADED: _(
        "New or limit diameter not stated by the model, wear not graded: %(drive)s, %(off)s."
    ),
    FindingRule.SIDE_NOT_READ: _("%(side)s not read"),
    FindingRule.SIDE_SHARE: _("%(side)s %(share_pct)s"),
    FindingRule.SIDE_DIAMETER: _("%(side)s %(diameter_mm)s"),
    FindingRule.SIDE_SEEN: _("%(said)s (%(seen)s)"),
    FindingRule.SIDES_DIFFER: _(
        "The sides differ by %(apart_pct)s: look for a seized pivot, a skewed frame or off-centre load."
    ),
    FindingRule.NO_PIVOT: _("The pivot was not moved."),
    FindingRule.FORCE_NOT_STATED: _("The model states no breakaway limit."),
    FindingRule.PIVOT_NO_LIMIT: _("%(state)s It breaks away at %(force_n)s; the model states no limit."),
    FindingRule.NO_FASTENER: _("No fastener was read."),
    FindingRule.TARGET_NOT_STATED: _("The model states no target torque."),
    FindingRule.ALL_WITHIN: _("%(n)s within tolerance."),
    FindingRule.LOOSE: _("%(n)s of %(of)s loose."),
    FindingRule.LOOSE_AND_WATCH: _("%(n)s of %(of)s loose, %(watch)s more to watch."),
    FindingRule.TO_WATCH: _("%(n)s of %(of)s to watch."),
    FindingRule.LOWEST: _("Lowest: %(fastener)s at %(share_pct)s of its target."),
    FindingRule.NOT_GRADED: _("%(n)s not graded: the model states no target torque."),
    FindingRule.NOT_READ: _("%(n)s not read."),
    FindingRule.MARK_TURNED: _("%(n)s turned past its witness mark: %(fasteners)s."),
    FindingRule.MARKS_TURNED: _("%(n)s turned past their witness marks: %(fasteners)s."),
    FindingRule.LEFT_IN_DOUBT: _("As left not surely within tolerance: %(fasteners)s."),
    **AS_LEFT,  # the same is said where a job signs its torques off
    FindingRule.NO_OFFSET: _("No offset was read."),
    FindingRule.FURTHEST_OFF: _("Furthest off at %(at_m)s, %(load)s: %(offset)s"),
    FindingRule.STATIONS_NOT_READ: _("%(n)s of %(of)s not read."),
    FindingRule.NOTHING_READ: _("Nothing was read."),
    FindingRule.ANSWER_WITHOUT_GRADE: _("This answer has no grade."),
    FindingRule.WITHIN_ALL_LIMITS: _("Within all limits."),
    FindingRule.OF_FIELD: _("%(field)s: %(reason)s"),
    FindingRule.WITHDRAWN: _("All readings were withdrawn."),
    FindingRule.SAID: _("%(words)s"),
    FindingSeen.FLAT_SPOT: _("flat spot"),
    FindingSeen.SEIZED: _("does not turn"),
    FindingSeen.EMPTY: _("empty"),
    FindingSeen.LOADED: _("loaded"),
}

TEXTS: Texts = {**GRADES, **QUESTIONS, **FINDINGS}


def grade_words(reason: Reason, system: UnitSystem) -> str:
    """Why a reading or a whole check has its grade, or what is odd about a reading."""
    return sentence(reason, TEXTS, system)


def because_words(kept: Mapping[str, Any], system: UnitSystem) -> str:
    """The same of what a row keeps; nothing where it keeps none."""
    return grade_words(reason_kept(kept), system) if kept else ""


def texts_for_phone() -> dict[str, str]:
    """All texts in the person's language, for the page that says while a person types what a reading comes to."""
    return {str(rule): str(text) for rule, text in TEXTS.items()}
