"""Indicators of the month, each defined once in words and as a formula; page, paper and workbook print the same."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from reports.calc.indicators import IndicatorKey


@dataclass(frozen=True)
class Indicator:
    """One indicator: what it is, how it is formed, and what a person does about it.

    Attributes
    ----------
    key : IndicatorKey
    name : Promise
    unit : str or Promise
        Unit or kind of the figure.
    definition, formula : Promise
        In words, and as a formula in words.
    act : Promise
        What a reader does when it is bad.
    better : {"higher", "lower"}
    """

    key: IndicatorKey
    name: Promise
    unit: str | Promise
    definition: Promise
    formula: Promise
    act: Promise
    better: str


INDICATORS: dict[IndicatorKey, Indicator] = {
    each.key: each
    for each in (
        Indicator(
            IndicatorKey.INCIDENTS,
            _("Incidents per 1000 running hours"),
            _("per 1000 h"),
            _("Incidents of mistracking of all belts at times whose running hours are known, against those hours."),
            _("1000 x incidents / running hours; interval exact for a Poisson count"),
            _("Open the belts with the highest rate; look for a cause to be cured first."),
            "lower",
        ),
        Indicator(
            IndicatorKey.STOP_MINUTES,
            _("Minutes lost"),
            "min",
            _(
                "Minutes that people or the control system wrote with incidents; trips without minutes are counted "
                "beside. Tonnes not conveyed follow where the belt's usual tonnage is known."
            ),
            _("sum of minutes lost; tonnes = minutes / 60 x usual tonnes per hour of the belt"),
            _("See which belts lost most; fill in minutes that are missing."),
            "lower",
        ),
        Indicator(
            IndicatorKey.SPILLED,
            _("Spilled"),
            "t",
            _("Tonnes written with incidents that spilled. Spills without tonnes are counted beside."),
            _("sum of tonnes spilled"),
            _("See where; weigh or estimate spills that have no tonnes."),
            "lower",
        ),
        Indicator(
            IndicatorKey.SCHEDULE_COMPLIANCE,
            _("Checks done in their window"),
            "%",
            _(
                "Of the checks whose window closed in the month, the share done inside it, both ends included. Done "
                "before it opened is not inside. A check that was put off counts by its new window, in the month in "
                "which that closes; those that went to a later month are counted beside. Withdrawn before it closed, "
                "or tried and not safe to do, is left out."
            ),
            _("done inside the window / windows that closed in the month"),
            _("See what was late and why; ask for outage windows."),
            "higher",
        ),
        Indicator(
            IndicatorKey.OVERDUE,
            _("Checks late at the end of the month"),
            _("checks"),
            _("Open checks whose window had closed, by whole days since. Late begins at 00:00 of the next day."),
            _("count by age: up to 7, 8 to 30, more than 30 days"),
            _("Plan those late by more than 30 days, or decide that they are not needed."),
            "lower",
        ),
        Indicator(
            IndicatorKey.DAYS_TO_CLOSE,
            _("Days to close an action"),
            "d",
            _(
                "Median of whole days from raising to closing, of actions closed in the month; beside it the oldest "
                "open one."
            ),
            _("median of (closed - raised)"),
            _("Ask the owner of the oldest open action what is in the way."),
            "lower",
        ),
        Indicator(
            IndicatorKey.AVAILABILITY,
            _("Devices in service and sound"),
            "%",
            _(
                "Of the days that devices stood in their places and a check had been done there, the share without a "
                "spell out of service and without a check at act that was not put right. Before its first check a "
                "device is not known to be sound: those days are counted beside."
            ),
            _("days in service and not at act / (days in place - days not known)"),
            _("See which devices stand without working."),
            "higher",
        ),
        Indicator(
            IndicatorKey.COST,
            _("Cost of mistracking"),
            _("money"),
            _(
                "Minutes lost and tonnes spilled at the plant's own unit costs; repairs are not in it. A unit cost "
                "that the plant has not given is missing, never zero: the figure then reads “at least”."
            ),
            _("minutes / 60 x cost of an hour + tonnes x cost of a tonne"),
            _("Give the unit costs that are missing."),
            "lower",
        ),
    )
}
