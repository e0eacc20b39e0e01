"""What a device on trial adds to the strip of its belt."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from installs.selectors.device_on_trial import Trial
from installs.words.placement import stretch_words
from plant.calc.strip_shapes import StripDevice, StripStretch
from plant.calc.units import UnitSystem
from plant.charts.strip import StripLayer, StripRow
from plant.words.places import place_words

TRIAL_KEY = -1  # no installation has it


def trial_layer(trial: Trial, person: Any) -> StripLayer:
    """The device on trial and its zone, drawn apart from what stands there."""
    system = UnitSystem(person.unit_system)
    place, zones = trial.place, trial.judged.reach.zones
    where = place_words(place.strand, place.chainage_m, system)
    name = _("device on trial, %(place)s") % {"place": where}
    reach = _(" and ").join(stretch_words(each, system) for each in sorted(zones))
    steers = _("would steer %s") % reach if reach else _("would steer nothing: no belt lies downstream of it")
    return StripLayer(
        devices=(
            StripDevice(
                TRIAL_KEY, place.strand, place.chainage_m, _("trial"), f"{name}, {steers}", "#trial", tone="trial"
            ),
        ),
        zones=tuple(
            StripStretch(place.strand, each.low_m, each.high_m, f"{name}: {stretch_words(each, system)}", kind="trial")
            for each in zones
        ),
        rows=(StripRow(place.strand, place.chainage_m, where, _("Device on trial"), steers, "#trial"),),
    )
