"""What a person asks of the life of parts."""

from __future__ import annotations

from django import forms
from django.core.validators import MinValueValidator
from django.utils.translation import gettext_lazy as _

from plant.forms.base import PersonForm
from reports.selectors.part_lives import PIVOTS, ROLLERS


class LifeForm(PersonForm):
    # Left out in an address that names the costs alone: then rollers are meant.
    part = forms.ChoiceField(
        label=_("part"),
        choices=[(ROLLERS, _("sensor rollers")), (PIVOTS, _("pivots"))],
        initial=ROLLERS,
        required=False,
    )
    # No start values: only the plant knows what a change costs.
    cost_planned = forms.FloatField(
        label=_("cost of a change in time"), required=False, validators=[MinValueValidator(0.01)]
    )
    cost_failure = forms.FloatField(
        label=_("cost of a change after a failure"), required=False, validators=[MinValueValidator(0.01)]
    )
