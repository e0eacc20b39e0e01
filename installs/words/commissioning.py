"""What commissioning says: how a belt stands against its target, what was moved, times that cannot be.

Lengths in mm were read on a tape.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from installs.calc.adjustments import (
    Adjustment,
    AdjustmentRule,
    AnswerRule,
    Balance,
    GapChange,
    OffsetRule,
    what_was_moved,
)
from installs.calc.commissioning import AcceptanceRule, BeltSide, Load, SideRule
from installs.calc.run_times import TimeDoubt, TimeRule
from installs.calc.trial_runs import SideByTravel, SideOfDevice, station_sides
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.calc.wording import as_many_as_fit, figure
from plant.words.reasons import Texts, sentence, sentences


class CommissioningRule(StrEnum):
    """What is said beside the calculations."""

    WORST_OFFSET = "commissioning.worst_offset"
    UNEQUAL = "commissioning.unequal"
    STOPPED = "commissioning.stopped"
    NOT_ACCEPTED = "commissioning.not_accepted"
    OPEN_WORK = "commissioning.open_work"
    RUN_AGAIN = "commissioning.run_again"
    FINISH = "commissioning.finish"
    LEGEND_ONE_WAY = "commissioning.legend_one_way"
    LEGEND_BOTH_WAYS = "commissioning.legend_both_ways"


TEXTS: Texts = {
    AcceptanceRule.NO_RUN: gettext_lazy("No trial run %(load)s is recorded after the last adjustment."),
    AcceptanceRule.SIDE_LACKING: gettext_lazy("No station was measured %(load)s %(where)s."),
    AcceptanceRule.SIDES_LACKING: gettext_lazy("No station was measured %(load)s %(where)s and none %(other)s."),
    AcceptanceRule.WATCHED: gettext_lazy(
        "Watched %(load)s for %(watched_min)s, %(turns)s revolutions of the belt; wanted at least %(least_min)s and "
        "%(least_turns)s revolutions."
    ),
    AcceptanceRule.TIME_DOUBTED: gettext_lazy(
        "Entered as watched %(load)s for %(watched_min)s, %(turns)s revolutions of the belt; wanted at least "
        "%(least_min)s and %(least_turns)s revolutions. The clock does not bear this out; it was confirmed with a "
        "reason, which stands with the run."
    ),
    AcceptanceRule.NO_OFFSET: gettext_lazy("No offset was measured %(load)s."),
    AcceptanceRule.OFFSET_WITHIN: gettext_lazy(
        "Worst offset %(load)s: %(worst_mm)s at %(station_m)s%(side)s; wanted at most %(target_mm)s, every station is "
        "within it."
    ),
    AcceptanceRule.STATION_BEYOND: gettext_lazy(
        "Worst offset %(load)s: %(worst_mm)s at %(station_m)s%(side)s; wanted at most %(target_mm)s, %(n_beyond)s of "
        "%(n_stations)s stations lies beyond it."
    ),
    AcceptanceRule.STATIONS_BEYOND: gettext_lazy(
        "Worst offset %(load)s: %(worst_mm)s at %(station_m)s%(side)s; wanted at most %(target_mm)s, %(n_beyond)s of "
        "%(n_stations)s stations lie beyond it."
    ),
    AcceptanceRule.CONTACT: gettext_lazy("Something touched the structure in the run %(load)s."),
    AcceptanceRule.FRAME_HELD: gettext_lazy("The frame was held%(side)s in the run %(load)s."),
    AcceptanceRule.FRAME_HUNTING: gettext_lazy("The frame swung to and fro in the run %(load)s."),
    AcceptanceRule.NOISE: gettext_lazy("There was unusual noise in the run %(load)s."),
    SideRule.ONE_WAY: gettext_lazy("%(side)s of the device, which on this strand is %(place)s"),
    SideRule.BOTH_WAYS: gettext_lazy(
        "%(place)s, %(to_head)s as it runs to the head and %(to_tail)s as it runs to the tail"
    ),
    SideRule.ABOVE: gettext_lazy("above %(device_m)s"),
    SideRule.BELOW: gettext_lazy("below %(device_m)s"),
    Load.EMPTY: gettext_lazy("empty"),
    Load.LOADED: gettext_lazy("loaded"),
    BeltSide.DRIVE: gettext_lazy(" to the drive side"),
    BeltSide.OFF: gettext_lazy(" to the off side"),
    BeltSide.CENTRE: "",
    SideOfDevice.UPSTREAM: gettext_lazy("upstream"),
    SideOfDevice.DOWNSTREAM: gettext_lazy("downstream"),
    SideOfDevice.AT_DEVICE: gettext_lazy("at the device"),
    Balance.NOT_MOVED: gettext_lazy("Nothing was moved."),
    Balance.NOT_KNOWN: gettext_lazy("%(drive)s; what was moved on the off side was not kept."),
    Balance.KEPT: gettext_lazy("%(drive)s, %(off)s: the sum of the gaps stays."),
    Balance.WITHIN_READING: gettext_lazy(
        "%(drive)s, %(off)s: the sum of the gaps becomes %(change_mm)s %(way)s, no more than two readings of a tape "
        "differ by."
    ),
    Balance.CHANGED: gettext_lazy("%(drive)s, %(off)s: the sum of the gaps becomes %(change_mm)s %(way)s."),
    AdjustmentRule.DRIVE_IN: gettext_lazy("%(moved_mm)s inward on the drive side"),
    AdjustmentRule.DRIVE_OUT: gettext_lazy("%(moved_mm)s outward on the drive side"),
    AdjustmentRule.DRIVE_STAYED: gettext_lazy("nothing on the drive side"),
    AdjustmentRule.OFF_IN: gettext_lazy("%(moved_mm)s inward on the off side"),
    AdjustmentRule.OFF_OUT: gettext_lazy("%(moved_mm)s outward on the off side"),
    AdjustmentRule.OFF_STAYED: gettext_lazy("nothing on the off side"),
    GapChange.WIDER: gettext_lazy("wider"),
    GapChange.NARROWER: gettext_lazy("narrower"),
    OffsetRule.DRIVE: "+%(offset_mm)s",
    OffsetRule.OFF: "-%(offset_mm)s",
    AnswerRule.STOP: gettext_lazy(
        "The belt answered %(n_wrong)s moves the wrong way. Stop adjusting: the device is mirrored, the direction of "
        "travel is the other one, or the cause lies elsewhere."
    ),
    AnswerRule.NOTHING_COMPARED: gettext_lazy(
        "No adjustment can be compared yet: it takes the same stations before and after a move."
    ),
    AnswerRule.RIGHT: gettext_lazy(
        "The belt answered the last move the right way (%(before)s before, %(after)s after at %(station_m)s)."
    ),
    AnswerRule.WRONG: gettext_lazy(
        "The belt answered the last move the wrong way (%(before)s before, %(after)s after at %(station_m)s). A "
        "second time means: stop."
    ),
    AnswerRule.NONE: gettext_lazy(
        "The belt did not answer the last move (%(before)s before, %(after)s after at %(station_m)s; less than "
        "%(error_mm)s is reading error)."
    ),
    CommissioningRule.WORST_OFFSET: gettext_lazy(
        "Worst offset %(worst_mm)s at %(station_m)s, wanted at most %(target_mm)s; watched for %(watched_min)s."
    ),
    CommissioningRule.UNEQUAL: gettext_lazy(
        "%(moved)s Move in on one side and out on the other by the same amount, or say in the note why they differ."
    ),
    CommissioningRule.STOPPED: gettext_lazy("%(advice)s Say in the note which cause was found."),
    CommissioningRule.NOT_ACCEPTED: "%(said)s",
    CommissioningRule.OPEN_WORK: "%(words)s",
    CommissioningRule.RUN_AGAIN: gettext_lazy("Say why it is accepted all the same, or adjust and run again."),
    CommissioningRule.FINISH: gettext_lazy(
        "Finish it, or say why it is accepted all the same; the reason stays visible."
    ),
    CommissioningRule.LEGEND_ONE_WAY: gettext_lazy(
        "The %(strand)s runs to the %(end)s: above %(device_m)s lies %(above)s of the device, below it %(below)s."
    ),
    CommissioningRule.LEGEND_BOTH_WAYS: gettext_lazy(
        "The belt reverses. Above %(device_m)s: %(above)s. Below %(device_m)s: %(below)s."
    ),
}
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


def commissioning_words(reasons: Reason | Iterable[Reason], system: UnitSystem) -> str:
    """A line of an acceptance, an answer of the belt or an adjustment; several with a space between them."""
    return sentences([reasons] if isinstance(reasons, Reason) else reasons, TEXTS, system, tape=True)


def adjustment_words(adjustment: Adjustment, system: UnitSystem) -> str:
    """What was moved on each side, and what that does to the sum of the sensor gaps."""
    return commissioning_words(what_was_moved(adjustment), system)


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


def side_words(sides: tuple[SideByTravel, ...]) -> str:
    """Where a station lies: one word for a belt that runs one way, both ways told for a reversing one."""
    if len({each.side for each in sides}) == 1:
        return str(TEXTS[sides[0].side])
    return ", ".join(
        _("%(side)s as it runs to the %(end)s")
        % {"side": TEXTS[each.side], "end": _("head") if each.travel > 0 else _("tail")}
        for each in sides
    )


def sides_legend(device_m: float, strand: str, system: UnitSystem, *, reversing: bool) -> str:
    """Which chainages lie upstream and which downstream of a device, on its strand."""
    above, below = (station_sides(device_m + way, device_m, strand, reversing=reversing) for way in (1, -1))
    known: dict[str, Any] = {"device_m": device_m, "above": side_words(above), "below": side_words(below)}
    if reversing:
        return sentence(Reason(CommissioningRule.LEGEND_BOTH_WAYS, known), TEXTS, system)
    known["end"] = _("head") if above[0].travel > 0 else _("tail")
    known["strand"] = _("carry strand") if strand == "carry" else _("return strand")
    return sentence(Reason(CommissioningRule.LEGEND_ONE_WAY, known), TEXTS, system)
