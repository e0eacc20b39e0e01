"""What is compared with what, and how a verdict is reached, in words."""

from __future__ import annotations

from django.utils.translation import gettext as _

from plant.calc.wording import figure
from plant.models import Plant
from reports.calc.verdicts import VerdictRules
from reports.selectors.studies import BEFORE_MONTHS, GROUP_DAYS


def window_rules(plant: Plant) -> list[str]:
    """What is compared with what, for the page."""
    return [
        _("Before: the %(months)s months up to the installation, fixed by this rule and not by what triggered it.")
        % {"months": BEFORE_MONTHS},
        _(
            "Settling-in is left out: %(days)s days or %(hours)s running hours after the installation, "
            "whichever comes first."
        )
        % {"days": plant.settling_in_days, "hours": plant.settling_in_h},
        _("After: from then until today, or until the device was removed."),
        _(
            "Another change to the belt ends a comparison: before starts after the last one ahead of the installation, "
            "after ends at the first one behind it. So does a device with an overlapping zone that comes or goes."
        ),
        _("Counted are incidents of the strand whose place lies in the stretch that the device steers, ends included."),
        _(
            "Devices whose zones overlap and that were fitted within %(days)s days are judged as one, where a drift "
            "switch stands in the zone of each."
        )
        % {"days": GROUP_DAYS},
        _("An incident at a time whose running hours are not known, or at an unknown place, is left out and said."),
        _("So is one of which only the day is known, where the window begins or ends within that day."),
        _(
            "Watched after that: the good rate is learnt in the first %(hours)s running hours, and taken as at least "
            "%(share)s %% of the rate before. Bad days that come thrice as often raise an alarm; it is over once the "
            "rate "
            "has come back. A device that stays at its learnt rate raises one for nothing once in about %(years)s "
            "years "
            "at most; one whose rate was learnt too low by luck raises more, so how many alarms chance alone would "
            "bring "
            "is told with them."
        )
        % {"hours": plant.watch_learn_h, "share": plant.watch_least_share_pct, "years": plant.watch_alarm_years},
    ]


def verdict_rules(rules: VerdictRules) -> tuple[str, ...]:
    """The rules of the verdict in the order in which they are tried; the first that holds decides."""
    known = {
        "least": percent(rules.least_coverage),
        "level": percent(rules.level),
        "wrong": percent(1.0 - rules.level),
        "low": figure(rules.margin[0]),
        "high": figure(rules.margin[1]),
        "share": figure(rules.least_after_share),
    }
    return (
        _(
            "Cannot be judged: no switch or logged station stands in the zone, or running hours are known for less "
            "than %(least)s of either period, or there are no running hours before."
        )
        % known,
        _(
            "Fewer or more incidents: the exact %(level)s interval of the ratio leaves out 1 (widened where incidents "
            "come in bad spells), and so does, on the same side, the one-sided %(level)s limit after allowing for "
            "devices being put where it was worst and for what untreated stretches did. Where too few stretches are "
            "untreated for that, the answer compared with them takes its place; where that is missing too, the counts "
            "decide alone and the verdict says so. The promise: looked at once, a device that does nothing is called "
            "fewer or more in at most %(wrong)s of cases, both together, as far as the model of untreated stretches "
            "fits and their rates do not drift apart. Without that model nothing of the kind is promised, and who "
            "looks again and again sees a wrong verdict more often."
        )
        % known,
        _("Shown to change little: all of these intervals lie between %(low)s and %(high)s, a margin fixed beforehand.")
        % known,
        _("Too early to tell: fewer than %(share)s times the hours before have been run after.") % known,
        _(
            "Too few incidents to tell: none of these, and with no incident at all after the interval would not have "
            "left out 1 either: there were too few before. Such a comparison is counted neither where chance is "
            "reckoned with nor among those that have to stand together."
        ),
        _("No clear change: none of these; it does not say that the device does nothing."),
    )


def percent(share: float) -> str:
    return f"{figure(100.0 * share)} %"
