"""Sentences about rounds: why a check did not fit, what would make it fit, which rule a plan breaks."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inspections.calc.round_check import BrokenRule
from inspections.calc.round_reasons import LeftOut, LeftOutReason, NeededChange, Remedy
from inspections.selectors.round_faults import Fault
from inspections.selectors.round_problems import Desk


def time_words(moment: datetime) -> str:
    return str(date_format(timezone.localtime(moment), "D j M H:i"))


def clock(moment: datetime) -> str:
    return str(date_format(timezone.localtime(moment), "H:i"))


def span_words(begin: datetime, end: datetime) -> str:
    return f"{time_words(begin)}-{clock(end)}"


def minutes_words(seconds: int) -> str:
    minutes = max(-(-seconds // 60), 1)
    if minutes < 60:
        return _("%(n)s min") % {"n": minutes}
    return _("%(h)s h %(n)02d") % {"h": minutes // 60, "n": minutes % 60}


def reason_words(desk: Desk, told: LeftOut) -> str:
    """Why it did not fit, as half a sentence."""
    values = {"words": ", ".join(told.words), "there": told.minutes_there, "needed": told.minutes_needed}
    return {
        LeftOutReason.NO_SHIFT: _("nobody works while its window is open"),
        LeftOutReason.NO_SKILL: _("nobody at work has the skill: %(words)s") % values,
        LeftOutReason.NO_TOOL: _("nobody at work has the tool: %(words)s") % values,
        LeftOutReason.NO_WINDOW: _("needs a stopped belt, and no outage window is planned on these days"),
        LeftOutReason.WINDOW_SHORT: _(
            "needs %(needed)s min with the isolation, and the longest outage window has %(there)s"
        )
        % values,
        LeftOutReason.WINDOW_ELSEWHEN: _("its outage windows lie outside the shifts of those who can do it"),
        LeftOutReason.NEVER_RUNNING: _("needs a running belt, and the belt stands for as long as its window is open"),
        LeftOutReason.NO_TIME: _("the shifts are full of what is worth more"),
    }[told.reason]


def change_words(desk: Desk, told: LeftOut) -> str:
    """The one change that would make it fit, as half a sentence; empty where there is none."""
    remedy = told.remedy
    return "" if remedy is None else _CHANGES[remedy.change](desk, remedy)


def who(desk: Desk, remedy: Remedy) -> str:
    return str(desk.shifts[remedy.shift].person)


def longer(desk: Desk, remedy: Remedy) -> str:
    shift = desk.shifts[remedy.shift]
    until = desk.moment(next(each.ends_s for each in desk.problem.shifts if each.key == shift.pk) + remedy.minutes * 60)
    return _("fits if %(who)s stays %(n)s min longer, to %(until)s") % {
        "who": who(desk, remedy),
        "n": remedy.minutes,
        "until": time_words(until),
    }


def skilled(desk: Desk, remedy: Remedy) -> str:
    return _("fits %(when)s if %(who)s has: %(words)s") % {
        "when": time_words(desk.moment(remedy.starts_s)),
        "who": who(desk, remedy),
        "words": ", ".join(remedy.words),
    }


def windowed(desk: Desk, remedy: Remedy) -> str:
    return _("fits with an outage window of %(n)s min, %(when)s, with %(who)s") % {
        "n": remedy.minutes,
        "when": span_words(desk.moment(remedy.starts_s), desk.moment(remedy.ends_s)),
        "who": who(desk, remedy),
    }


def late(desk: Desk, remedy: Remedy) -> str:
    return _("fits late, %(when)s with %(who)s, after its window has closed") % {
        "when": time_words(desk.moment(remedy.starts_s)),
        "who": who(desk, remedy),
    }


def one_more(desk: Desk, remedy: Remedy) -> str:
    shift = desk.shifts[remedy.shift]
    return _("fits with one more technician on %(when)s") % {"when": span_words(shift.starts_at, shift.ends_at)}


_CHANGES = {
    NeededChange.LONGER_SHIFT: longer,
    NeededChange.SKILL: skilled,
    NeededChange.WINDOW: windowed,
    NeededChange.LATER: late,
    NeededChange.ONE_MORE: one_more,
}


def fault_words(fault: Fault) -> str:
    """Which rule is broken, in a whole sentence."""
    stop, fitting = fault.stop, fault.fitting
    values = {
        "tag": stop.conveyor.tag if stop else "?",
        "at": clock(stop.starts_at) if stop else "?",
        "who": fault.shift.person if fault.shift else "?",
        "by": minutes_words(fault.by_s),
        "words": ", ".join(fault.lacking),
    }
    if fitting is not None:
        begin, end = fitting.planned_span or (None, None)
        words = _("%(tag)s at %(at)s clashes with the fitting at %(place)s, %(span)s, to which %(who)s is planned.")
        return words % {**values, "place": fitting, "span": span_words(begin, end) if begin and end else "?"}
    return {
        BrokenRule.TWICE: _("%(tag)s at %(at)s: a check is planned twice."),
        BrokenRule.UNKNOWN: _("%(tag)s at %(at)s: %(who)s is not at work then."),
        BrokenRule.SKILL: _("%(tag)s at %(at)s: %(who)s lacks the skill %(words)s."),
        BrokenRule.TOOL: _("%(tag)s at %(at)s: %(who)s lacks the tool %(words)s."),
        BrokenRule.BEFORE_SHIFT: _("%(tag)s at %(at)s begins %(by)s before the shift of %(who)s."),
        BrokenRule.AFTER_SHIFT: _("%(tag)s at %(at)s: %(who)s is back %(by)s after the end of the shift."),
        BrokenRule.BREAK: _("%(tag)s at %(at)s cuts into the break of %(who)s."),
        BrokenRule.TOO_SOON: _("%(tag)s at %(at)s: %(who)s is there %(by)s too late for that."),
        BrokenRule.TOO_SHORT: _("%(tag)s at %(at)s is %(by)s too short for its checks."),
        BrokenRule.NOT_OPEN: _("%(tag)s at %(at)s lies before the window of its check opens."),
        BrokenRule.CLOSED: _("%(tag)s at %(at)s lies after the window of its check has closed."),
        BrokenRule.NO_WINDOW: _("%(tag)s at %(at)s needs a stopped belt and lies outside its outage windows."),
        BrokenRule.RUNNING: _("%(tag)s at %(at)s needs a running belt and lies in an outage window."),
        BrokenRule.LOCKOUT: _("%(tag)s at %(at)s leaves no time to isolate the belt."),
    }[fault.rule] % values
