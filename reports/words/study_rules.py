"""What is compared with what, and how a verdict is reached, in words."""

from __future__ import annotations

from django.utils.translation import gettext as _

from plant.models import Plant
from reports.calc.verdicts import rule_text
from reports.selectors.studies import BEFORE_MONTHS, GROUP_DAYS, rules_of


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


def verdict_rules(plant: Plant) -> tuple[str, ...]:
    return rule_text(rules_of(plant))
