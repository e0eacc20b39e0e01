"""Spec sheets as pages and print show them: in groups, with units, and what differs between two versions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Model
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.specs import differences
from installs.models import DeviceModel, Fastener, ModelPart
from installs.selectors.sheets import SheetState
from plant.calc.units import QuantityKind, UnitSystem, format_reading, kind_of
from plant.models import label_of

GROUPS: tuple[tuple[Any, tuple[str, ...]], ...] = (
    (
        gettext_lazy("Where it fits"),
        (
            "trough_angle_deg",
            "belt_width_least_mm",
            "belt_width_most_mm",
            "speed_least_m_s",
            "speed_most_m_s",
            "clearance_below_mm",
            "clearance_beside_mm",
            "clearance_along_mm",
            "mass_kg",
        ),
    ),
    (
        gettext_lazy("Frame and fit-up"),
        (
            "pivot_range_deg",
            "tilt_range_deg",
            "frame_length_least_mm",
            "frame_length_most_mm",
            "extension_most_mm",
            "end_play_least_mm",
            "end_play_most_mm",
            "roller_drop_mm",
            "belt_lift_least_mm",
            "belt_lift_most_mm",
            "sensor_gap_mm",
            "sensor_gap_tolerance_mm",
            "sensor_gap_sum_mm",
        ),
    ),
    (gettext_lazy("Effect downstream"), ("effect_length_least_m", "effect_length_m", "effect_length_most_m")),
    (gettext_lazy("Wear and force"), ("sensor_new_mm", "sensor_limit_mm", "breakaway_limit_n")),
)


@dataclass(frozen=True)
class Stated:
    """One figure of a sheet; `kind` is the quantity, None where the value is a word."""

    label: str
    value: Any
    kind: str | None


@dataclass(frozen=True)
class SpecGroup:
    label: str
    facts: list[Stated]


def stated(name: str, value: Any) -> Stated:
    kind = kind_of(name)
    return Stated(label_of(DeviceModel, name), value, kind.value if kind else None)


def spec_groups(model: DeviceModel) -> list[SpecGroup]:
    """The figures of a sheet in groups."""
    return [SpecGroup(str(label), [stated(name, getattr(model, name)) for name in names]) for label, names in GROUPS]


@dataclass(frozen=True)
class Changed:
    """What two sheets state differently, in words."""

    what: str
    before: str
    after: str


def value_words(name: str, value: Any, system: UnitSystem, model: type[Model] = DeviceModel) -> str:
    if value is None or value == "":
        return _("not stated")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    kind = kind_of(name)
    if kind is not None and kind is not QuantityKind.PLAIN and isinstance(value, (int, float)):
        return format_reading(value, kind, system)
    choices = dict(getattr(model._meta.get_field(name), "choices", None) or ())
    return str(choices.get(value, value))


def row_words(
    row: Mapping[str, Any] | None, other: Mapping[str, Any] | None, model: type[Model], system: UnitSystem
) -> str:
    """A row of fasteners or parts: only what the other version states differently."""
    if row is None:
        return _("not on this sheet")
    names = [name for name in row if other is None or row.get(name) != other.get(name)]
    labels = {each.name: each.verbose_name for each in model._meta.concrete_fields}
    return ", ".join(f"{labels.get(name, name)}: {value_words(name, row[name], system, model)}" for name in names)


def changed_words(before: Mapping[str, Any], after: Mapping[str, Any], system: UnitSystem) -> list[Changed]:
    """What differs between two contents of a sheet, one line each."""
    lines = []
    for each in differences(before, after):
        if each.group:
            model = Fastener if each.group == "fasteners" else ModelPart
            lines.append(
                Changed(
                    str(each.what),
                    row_words(each.before, each.after, model, system),
                    row_words(each.after, each.before, model, system),
                )
            )
        else:
            label = label_of(DeviceModel, str(each.what))
            words = [value_words(each.what, value, system) for value in (each.before, each.after)]
            lines.append(Changed(label, *words))
    return lines


def changes_since_fitted(state: SheetState, system: UnitSystem) -> list[Changed]:
    """What the newest sheet states otherwise than the one that an installation was fitted to."""
    if state.fitted is None or state.newest is None or state.is_newest:
        return []
    return changed_words(state.fitted.content, state.newest.content, system)
