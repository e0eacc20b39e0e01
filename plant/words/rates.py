"""Rates and ratios in words: how many incidents, and why there is no rate, no ratio or no limit of it."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from plant.calc.rates import RateRule
from plant.words.reasons import Texts

TEXTS: Texts = {
    RateRule.ONE_INCIDENT: _("%(n)d incident"),
    RateRule.INCIDENTS: _("%(n)d incidents"),
    RateRule.NO_HOURS: _("No running hours: no rate."),
    RateRule.INCIDENTS_IN_NO_HOURS: _("%(counted)s in 0 running hours: check the running hours."),
    RateRule.NO_HOURS_BEFORE: _("No running hours before."),
    RateRule.NO_HOURS_AFTER: _("No running hours after."),
    RateRule.INCIDENTS_BUT_NO_HOURS_BEFORE: _("%(counted)s but no running hours before: check the running hours."),
    RateRule.INCIDENTS_BUT_NO_HOURS_AFTER: _("%(counted)s but no running hours after: check the running hours."),
    RateRule.NO_INCIDENT: _("No incident on either side: nothing to compare."),
    RateRule.NO_INCIDENT_BEFORE: _("No incident before: the ratio has no upper limit."),
    RateRule.NO_INCIDENT_AFTER: _("No incident after: the ratio has no lower limit above 0."),
}
