"""Results about the effect of devices as they are kept: which classes stand in them, and how they are read back."""

from __future__ import annotations

import datetime as dt

from installs.calc import effect_zones
from plant.calc import codec, reasons
from plant.models import Plant
from plant.selectors.kept import fresh_of
from reports.calc import reference_model
from reports.selectors import reference_groups
from reports.selectors.reference_groups import Reference

REFERENCE, WHOLE = "reference", "whole"
# Everything that these say may stand in it.
MODULES = (effect_zones, reasons, reference_model, reference_groups)
CLASSES_OF_REFERENCE = tuple(each for module in MODULES for each in codec.classes_in(module))


def reference_as_text(reference: Reference) -> str:
    return codec.write(reference, CLASSES_OF_REFERENCE)


def reference_from_text(text: str) -> Reference:
    found: Reference = codec.read(text, CLASSES_OF_REFERENCE)
    return found


def kept_reference(plant: Plant, now: dt.datetime) -> Reference | None:
    """The reference of the plant that is kept, where it holds for that day and no row has come since."""
    kept = fresh_of(plant, REFERENCE, WHOLE, now, reference_from_text)
    return kept.value if kept is not None else None
