"""What commissioning says: adjustments as they were read, and what they mean. Lengths in mm, for `sentence_in`."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.commissioning import Adjustment, Balance, judge_adjustment

UNEQUAL_HINT = gettext_lazy(
    "Move in on one side and out on the other by the same amount, or say in the note why they differ."
)
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
        "mm": f"{abs(change):g}",
        "way": _("wider") if change > 0 else _("narrower"),
    }


def _moved(inwards_mm: float) -> str:
    if not inwards_mm:
        return _("nothing")
    amount = f"{abs(inwards_mm):g}"
    return _("%s mm in") % amount if inwards_mm > 0 else _("%s mm out") % amount
