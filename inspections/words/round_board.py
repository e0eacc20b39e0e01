"""What the planner's board of rounds says: the sentence on top, each stop as it is spoken, who does what when."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspections.models import Stop, Task
from inspections.selectors.round_board import Board, BoardStop, JobBar, WindowBar
from inspections.words.rounds import clock, fault_words, time_words


def lede_of(board: Board) -> str:
    """The sentence on top: what is due, what the plan takes, on how many lockouts."""
    due = ngettext("%(n)s check may be done by this day", "%(n)s checks may be done by this day", board.n_due)
    words = due % {"n": board.n_due}
    if board.n_late:
        words += ngettext(", %(n)s is late", ", %(n)s are late", board.n_late) % {"n": board.n_late}
    words += ". "
    if not board.n_planned:
        return words + str(_("No round is laid for it yet."))
    words += _("The plan takes %(n)s") % {"n": board.n_planned}
    if board.n_late:
        words += _(", of the late ones %(n)s") % {"n": board.n_late_planned}
    if board.n_locked_checks:
        words += ngettext(
            ", with %(locks)s lockout for %(checks)s checks", ", with %(locks)s lockouts for %(checks)s checks",
            board.n_lockouts,
        ) % {"locks": board.n_lockouts, "checks": board.n_locked_checks}  # fmt: skip
    return words + "."


def checks_words(tasks: Sequence[Task]) -> str:
    """Which checks, at how many devices: 2 devices: sensor wear, fastener torque."""
    kinds = list(dict.fromkeys(str(task.check_kind).lower() for task in tasks))
    devices = list(dict.fromkeys(task.installation.device.number for task in tasks))
    if len(devices) == 1:
        return _("device %(number)s: %(kinds)s") % {"number": devices[0], "kinds": ", ".join(kinds)}
    return _("%(n)s devices: %(kinds)s") % {"n": len(devices), "kinds": ", ".join(kinds)}


def spoken_words(each: BoardStop) -> str:
    """A stop as it is spoken: what, who, when, and what holds it."""
    stop = each.stop
    words = [
        f"{stop.conveyor.tag}, {checks_words(stop.tasks_in_order)}",
        _("%(who)s, %(begin)s to %(end)s")
        % {"who": each.shift.person, "begin": clock(stop.starts_at), "end": clock(stop.ends_at)},
    ]
    if stop.needs_lockout:
        words.append(_("needs lockout"))
    if each.is_done:
        words.append(_("done"))
    elif each.is_fixed:
        words.append(_("has begun"))
    return "; ".join(words)


def spoken_with_faults(each: BoardStop) -> str:
    return "; ".join([spoken_words(each), *map(fault_words, each.faults)])


def window_words(bar: WindowBar) -> str:
    return _("outage window of %(tag)s, %(begin)s to %(end)s") % {
        "tag": bar.window.conveyor.tag,
        "begin": clock(bar.window.starts_at),
        "end": clock(bar.window.ends_at),
    }


def job_bar_words(bar: JobBar) -> str:
    return _("fitting at %(place)s, %(begin)s to %(end)s: no stop is laid into it") % {
        "place": bar.job,
        "begin": clock(bar.starts_at),
        "end": clock(bar.ends_at),
    }


def job_bar_label(bar: JobBar) -> str:
    return _("fitting %(tag)s") % {"tag": bar.job.conveyor.tag}


def hours_words(seconds: float) -> str:
    """7 h 05."""
    minutes = round(seconds / 60)
    return _("%(h)s h %(m)02d") % {"h": minutes // 60, "m": minutes % 60}


def plan_words(stop: Stop | None) -> str:
    """Who does a check when; empty where no round holds it."""
    return f"{stop.round.shift.person}, {time_words(stop.starts_at)}" if stop is not None else ""
