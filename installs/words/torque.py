"""What is said of fasteners: their targets and tools, which ones, and why one was passed over."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import StrEnum
from fractions import Fraction

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.fasteners import AsLeftRule, DayCount, TargetRule, ToolRule
from installs.calc.threads import ThreadRule
from installs.models import Fastener, PassedFastener
from installs.selectors.commissioning import OpenWork
from installs.selectors.torque import FastenerRow, open_fasteners, passed_over
from installs.words.fit_up import named
from plant.calc.reasons import Reason
from plant.calc.units import INCH, QuantityKind, UnitSystem, factor_of, format_quantity
from plant.calc.wording import figure
from plant.words.moments import moment_words
from plant.words.reasons import Texts, Writers, sentences


class SignOffRule(StrEnum):
    """Why a torque is not signed off, beside what the calculations say."""

    NO_TARGET = "sign_off.no_target"
    TOOL_IN_DOUBT = "sign_off.tool_in_doubt"
    NO_TOOL = "sign_off.no_tool"
    NO_TORQUE = "sign_off.no_torque"


# What a tool can tell of a torque as left: at the sign-off of a job, and at every check of it afterwards.
AS_LEFT: Texts = {
    AsLeftRule.OUTSIDE: gettext_lazy("%(left_nm)s is outside %(low_nm_number)s to %(high_nm)s: set it again."),
    AsLeftRule.WITHIN: gettext_lazy(
        "%(left_nm)s lies between %(low_nm_number)s and %(high_nm)s, where this tool is sure."
    ),
    AsLeftRule.TOO_COARSE: gettext_lazy("A tool of %(tool_pct)s is too coarse for a tolerance of %(tolerance_pct)s."),
    AsLeftRule.UNDECIDED: gettext_lazy(
        "%(left_nm)s is undecided with this tool: set it between %(low_nm_number)s and %(high_nm)s."
    ),
}
TEXTS: Texts = {
    TargetRule.STATED: gettext_lazy("The model states %(torque_nm)s."),
    TargetRule.ESTIMATE: gettext_lazy(
        "Estimate: K D F = %(nut_factor)s × %(diameter_mm)s × %(preload_kn)s = %(torque_nm)s, with F = "
        "%(preload_pct)s of the proof load of %(bolt)s (%(area_mm2)s × %(strength_mpa)s). Preload may be off by "
        "%(scatter_pct)s."
    ),
    TargetRule.THREAD_NEEDED: gettext_lazy("Not stated by the model; an estimate needs the thread of the fastener."),
    TargetRule.CLASS_NEEDED: gettext_lazy(
        "Not stated by the model; an estimate needs the class or grade of the fastener."
    ),
    TargetRule.BOTH_NEEDED: gettext_lazy(
        "Not stated by the model; an estimate needs the thread and class or grade of the fastener."
    ),
    TargetRule.NO_ESTIMATE: gettext_lazy("Not stated by the model, and no estimate: %(why)s"),
    ThreadRule.NOT_IN_TABLES: gettext_lazy(
        "Thread “%(given)s” is not in the tables. Give a coarse thread from M8 to M24, or from 1/4-20 to 1-8."
    ),
    ThreadRule.OTHER_PITCH: gettext_lazy(
        "Thread “%(given)s” has a pitch of %(pitch)s mm; the tables hold %(wanted)s mm. Give a coarse thread from M8 "
        "to M24, or from 1/4-20 to 1-8."
    ),
    ThreadRule.OTHER_COUNT: gettext_lazy(
        "Thread “%(given)s” has %(count)s threads per inch; the tables hold %(wanted)s. Give a coarse thread from M8 "
        "to M24, or from 1/4-20 to 1-8."
    ),
    ThreadRule.NO_SUCH_CLASS: gettext_lazy(
        "Class “%(given)s” of %(thread)s is not in the tables. Give class 8.8 or 10.9."
    ),
    ThreadRule.NO_SUCH_GRADE: gettext_lazy("Class “%(given)s” of %(thread)s is not in the tables. Give grade 5 or 8."),
    ThreadRule.NO_CLASS_OF_SIZE: gettext_lazy(
        "The tables hold class “%(given)s” for no %(thread)s. Give a thread from M%(least)s to M%(most)s."
    ),
    ThreadRule.NO_GRADE_OF_SIZE: gettext_lazy(
        "The tables hold class “%(given)s” for no %(thread)s. Give a thread from 1/4 to 1 1/2 in."
    ),
    ToolRule.RETIRED: gettext_lazy("It is no longer used since %(on)s."),
    ToolRule.NEVER_CALIBRATED: gettext_lazy("No calibration of it is in the book."),
    ToolRule.OUT_OF_CALIBRATION: gettext_lazy("Its calibration ran out on %(on)s, %(late)s before."),
    ToolRule.BELOW_RANGE: gettext_lazy("%(torque_nm)s is below its range, which begins at %(least_nm)s."),
    ToolRule.ABOVE_RANGE: gettext_lazy("%(torque_nm)s is above its range, which ends at %(most_nm)s."),
    DayCount.ONE: gettext_lazy("%(n)s day"),
    DayCount.MORE: gettext_lazy("%(n)s days"),
    **AS_LEFT,
    SignOffRule.NO_TARGET: "%(place)s: %(why)s",
    SignOffRule.TOOL_IN_DOUBT: gettext_lazy(
        "%(tool)s: %(doubts)s Take another one, or say why this one is used all the same; the reason stays visible."
    ),
    SignOffRule.NO_TOOL: gettext_lazy(
        "No torque wrench is named. Name the one that was used, or say why there is none; the reason stays visible."
    ),
    SignOffRule.NO_TORQUE: gettext_lazy("The torque is %(torque_nm)s; give a number above %(least_nm)s."),
}


def square_inch_mm2() -> Fraction:
    return factor_of(QuantityKind.LENGTH_MM, INCH.pint_name) ** 2


def ksi_mpa() -> Fraction:
    return 1000 * factor_of(QuantityKind.FORCE_N, "pound_force") / square_inch_mm2()


# What an estimate is of, in the units of the bolt tables of each system.
OF_BOLTS: dict[UnitSystem, Writers] = {
    UnitSystem.METRIC: {
        "preload_kn": lambda kn: f"{figure(round(kn, 1))} kN",
        "area_mm2": lambda mm2: f"{figure(mm2)} mm²",
        "strength_mpa": lambda mpa: f"{figure(mpa)} MPa",
    },
    UnitSystem.US: {
        "preload_kn": lambda kn: format_quantity(1000 * kn, QuantityKind.FORCE_N, UnitSystem.US, digits=0),
        "area_mm2": lambda mm2: f"{mm2 / float(square_inch_mm2()):.3g} in²",
        "strength_mpa": lambda mpa: f"{mpa / float(ksi_mpa()):.3g} ksi",
    },
}


def torque_reasons(reasons: Reason | Iterable[Reason], system: UnitSystem) -> str:
    """How a target came about, what a tool can tell, or why it is in doubt; several with a space between them."""
    those = [reasons] if isinstance(reasons, Reason) else reasons
    return sentences(those, TEXTS, system, writers=OF_BOLTS[UnitSystem(system)])


def fastener_names(fasteners: Iterable[tuple[Fastener, int]]) -> str:
    """Each by its place and number: clamp 2, pivot 1."""
    return ", ".join(f"{fastener.place} {number}" for fastener, number in fasteners)


def passed_words(*rows: PassedFastener) -> str:
    """One that was passed over, or several alike: which, why, who and when."""
    return _("%(which)s passed over: %(why)s (%(who)s, %(when)s)") % {
        "which": fastener_names((row.fastener, row.number) for row in rows),
        "why": rows[0].reason,
        "who": rows[0].passed_by,
        "when": moment_words(rows[0].passed_at),
    }


def passed_together(rows: Iterable[PassedFastener]) -> list[str]:
    """Several that were passed over: those with one reason, of one person and moment, in one breath."""
    alike: dict[tuple[object, ...], list[PassedFastener]] = {}
    for row in rows:
        alike.setdefault((row.reason, row.passed_by_id, row.passed_at), []).append(row)
    return [passed_words(*each) for each in alike.values()]


def torques_left_open(rows: Sequence[FastenerRow]) -> list[str]:
    """How many fasteners are signed off where not all are, which are open, and each one passed over with its reason."""
    left, passed = open_fasteners(rows), passed_over(rows)
    if not left and not passed:
        return []
    words = _("Torque: %(n)s of %(wanted)s fasteners signed off") % {
        "n": sum(row.n_signed for row in rows),
        "wanted": sum(len(row.signed) for row in rows),
    }
    if left:
        words += _("; open: %s") % fastener_names(left)
    return [f"{words}.", *(f"{words}." for words in passed_together(passed))]


def open_work_words(work: OpenWork) -> list[str]:
    """What a job leaves open besides its trial runs: lines of the fit-up, then torques."""
    told = []
    if not work.is_measured:
        told.append(_("Fit-up sheet: nothing is measured yet."))
    if work.not_measured:
        told.append(_("Fit-up sheet, not measured: %s.") % named(work.not_measured))
    if work.outside:
        told.append(_("Fit-up sheet, outside its tolerance: %s.") % named(work.outside))
    return told + torques_left_open(work.torques)
