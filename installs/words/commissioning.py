"""What commissioning says: adjustments as they were read, times that cannot be. Lengths in mm, for `sentence_in`."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from installs.calc.commissioning import (
    Adjustment,
    Balance,
    SideByTravel,
    SideOfDevice,
    TimeDoubt,
    TimeRule,
    judge_adjustment,
    station_sides,
)
from plant.calc.wording import as_many_as_fit, figure

UNEQUAL_HINT = gettext_lazy(
    "Move in on one side and out on the other by the same amount, or say in the note why they differ."
)
TIME_HINT = gettext_lazy("Correct the start or the minutes, or say why they stand; the reason stays on the record.")
TIME_WORDS = {
    TimeRule.SINCE_LOCKS: gettext_lazy(
        "%(min)s min, but only %(apart)s had passed since the locks came back at %(then)s."
    ),
    TimeRule.BEFORE_LOCKS: gettext_lazy(
        "It would have begun at %(begins)s, %(apart)s before the locks came back at %(then)s."
    ),
    TimeRule.NOT_OVER: gettext_lazy(
        "%(min)s min from %(begins)s, but it was entered at %(then)s: only %(apart)s had passed."
    ),
    TimeRule.OVERLAP: gettext_lazy(
        "The %(min)s min from %(begins)s overlap another run of the belt, %(load)s from %(then)s to %(until)s%(job)s, "
        "by %(apart)s; a belt makes one run at a time."
    ),
}
SUM_WORDS = {
    Balance.KEPT: gettext_lazy("%(drive)s, %(off)s: the sum of the gaps stays."),
    Balance.WITHIN_READING: gettext_lazy(
        "%(drive)s, %(off)s: the sum of the gaps becomes %(mm)s mm %(way)s, no more than two readings of a tape "
        "differ by."
    ),
    Balance.CHANGED: gettext_lazy("%(drive)s, %(off)s: the sum of the gaps becomes %(mm)s mm %(way)s."),
}


def adjustment_words(adjustment: Adjustment) -> str:
    """What was moved on each side, and what that does to the sum of the sensor gaps."""
    balance = judge_adjustment(adjustment)
    if balance is Balance.NOT_MOVED:
        return _("Nothing was moved.")
    drive = _("%s on the drive side") % _moved(adjustment.in_drive_mm)
    if adjustment.out_off_mm is None:
        return _("%s; what was moved on the off side was not kept.") % drive
    change = adjustment.out_off_mm - adjustment.in_drive_mm
    return str(SUM_WORDS[balance]) % {
        "drive": drive,
        "off": _("%s on the off side") % _moved(-adjustment.out_off_mm),
        "mm": figure(abs(change)),
        "way": _("wider") if change > 0 else _("narrower"),
    }


def _moved(inwards_mm: float) -> str:
    if not inwards_mm:
        return _("nothing")
    amount = figure(abs(inwards_mm))
    return _("%s mm in") % amount if inwards_mm > 0 else _("%s mm out") % amount


def time_doubt_words(doubt: TimeDoubt) -> str:
    """Why a run cannot have been watched as entered, with the arithmetic."""
    known = {
        "min": figure(doubt.minutes),
        "begins": clock(doubt.begins_at),
        "then": clock(doubt.against, near=doubt.begins_at),
        "apart": spell_words(doubt.apart_s),
    }
    if doubt.other is not None:
        known |= {
            "load": _("loaded") if doubt.other.is_loaded else _("empty"),
            "until": clock(doubt.other.ends_at, near=doubt.other.begins_at),
            "job": _(" (%s)") % doubt.other.job if doubt.other.job else "",
        }
    return str(TIME_WORDS[doubt.rule]) % known


def clock(moment: dt.datetime, near: dt.datetime | None = None) -> str:
    """The time of day; with its day where that is another one than of `near`."""
    local = timezone.localtime(moment)
    is_same_day = near is None or timezone.localtime(near).date() == local.date()
    return str(date_format(local, "H:i" if is_same_day else "j M H:i"))


def spell_words(seconds: float) -> str:
    """A spell as people count it: 45 s, 1 min 15 s, 2 h 5 min."""
    whole = max(round(seconds), 0)
    minutes, rest_s = divmod(whole, 60)
    if not minutes:
        return _("%s s") % rest_s
    hours, rest_min = divmod(minutes, 60)
    if not hours:
        return _("%(min)s min %(s)s s") % {"min": minutes, "s": rest_s} if rest_s else _("%s min") % minutes
    return _("%(h)s h %(min)s min") % {"h": hours, "min": rest_min} if rest_min else _("%s h") % hours


def offered_points(points: Sequence[str], most: int) -> str:
    """What was left open as the hand-over offers it, in no more characters than its box takes."""
    return as_many_as_fit(points, most, joint=" ", rest=more_points)


def more_points(n: int) -> str:
    return ngettext(
        "%s further open point stands in the record of this job, at its fit-up sheet and its torques.",
        "%s further open points stand in the record of this job, at its fit-up sheet and its torques.",
        n,
    ) % (n,)


def offered_people(names: Sequence[str], most: int) -> str:
    """Who had a lock on as the box for the locks offers them, in no more characters than it takes."""
    return as_many_as_fit(names, most, joint=", ", rest=more_people)


def more_people(n: int) -> str:
    return ngettext("%s more as named at the isolation", "%s more as named at the isolation", n) % (n,)


SIDE_WORDS = {
    SideOfDevice.UPSTREAM: gettext_lazy("upstream"),
    SideOfDevice.DOWNSTREAM: gettext_lazy("downstream"),
    SideOfDevice.AT_DEVICE: gettext_lazy("at the device"),
}


def side_words(sides: tuple[SideByTravel, ...]) -> str:
    """Where a station lies: one word for a belt that runs one way, both ways told for a reversing one."""
    if len({each.side for each in sides}) == 1:
        return str(SIDE_WORDS[sides[0].side])
    return ", ".join(
        _("%(side)s as it runs to the %(end)s")
        % {"side": SIDE_WORDS[each.side], "end": _("head") if each.travel > 0 else _("tail")}
        for each in sides
    )


def sides_legend(device_m: float, strand: str, *, reversing: bool) -> str:
    """Which chainages lie upstream and which downstream of a device, on its strand."""
    above, below = (station_sides(device_m + way, device_m, strand, reversing=reversing) for way in (1, -1))
    known = {"at": figure(device_m), "above": side_words(above), "below": side_words(below)}
    if reversing:
        return _("The belt reverses. Above %(at)s m: %(above)s. Below %(at)s m: %(below)s.") % known
    known["end"] = _("head") if above[0].travel > 0 else _("tail")
    known["strand"] = _("carry strand") if strand == "carry" else _("return strand")
    return (
        _("The %(strand)s runs to the %(end)s: above %(at)s m lies %(above)s of the device, below it %(below)s.")
        % known
    )
