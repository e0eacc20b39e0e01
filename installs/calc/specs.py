"""The spec sheet of a device type as plain values. What the maker does not state is None and never a number."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any


@dataclass(frozen=True)
class FastenerSpec:
    """A group of like fasteners as a sheet states it; torque in N·m, tolerance in percent."""

    place: str
    count: int = 1
    size: str = ""
    thread: str = ""
    strength_class: str = ""
    nut_factor: float | None = None
    preload_fraction: float | None = None
    torque_nm: float | None = None
    tolerance_pct: float = 10


@dataclass(frozen=True)
class DeviceSpec:
    """What a check needs of a sheet: diameters in mm, force in N, length in m, and the fasteners."""

    sensor_new_mm: float | None = None
    sensor_limit_mm: float | None = None
    breakaway_limit_n: float | None = None
    effect_length_m: float | None = None
    fasteners: tuple[FastenerSpec, ...] = field(default=())


@dataclass(frozen=True)
class Difference:
    """One thing that two sheets state differently; `what` is a field, or the place or name of a row."""

    group: str
    what: str
    before: Any
    after: Any


def known_only(cls: type, content: Mapping[str, Any]) -> dict[str, Any]:
    """The values that a dataclass has a field for: a sheet may have been kept by a later version of the site."""
    names = {each.name for each in fields(cls)}
    return {name: value for name, value in content.items() if name in names}


def spec_from(content: Mapping[str, Any]) -> DeviceSpec:
    """Read the content of a sheet.

    Parameters
    ----------
    content : mapping
        Field names with values; "fasteners" a list of mappings. Names that are not known here are left out.

    Returns
    -------
    DeviceSpec

    Examples
    --------
    >>> spec_from({"sensor_new_mm": 76.0, "fasteners": [{"place": "clamp", "count": 4}]}).fasteners[0].count
    4
    >>> spec_from({}).sensor_new_mm is None
    True
    """
    given = known_only(DeviceSpec, content)
    groups = given.pop("fasteners", ())
    return DeviceSpec(**given, fasteners=tuple(FastenerSpec(**known_only(FastenerSpec, each)) for each in groups))


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Difference]:
    """What differs between two versions of a sheet.

    Parameters
    ----------
    before, after : mapping
        Contents of two sheets: field names with values, "fasteners" and "parts" as lists of mappings.

    Returns
    -------
    list of Difference
        Fields first (group ""), then fasteners by place and parts by name; a row that one of them lacks is None there.

    Examples
    --------
    >>> differences({"mass_kg": 71.0}, {"mass_kg": 72.5})
    [Difference(group='', what='mass_kg', before=71.0, after=72.5)]
    """
    lists = {"fasteners": ("place",), "parts": ("kind", "name")}
    names = [*dict.fromkeys([*before, *after])]
    found = [
        Difference("", name, before.get(name), after.get(name))
        for name in names
        if name not in lists and before.get(name) != after.get(name)
    ]
    for group, keys in lists.items():
        old, new = by_key(before.get(group, ()), keys), by_key(after.get(group, ()), keys)
        found += [
            Difference(group, key[-1], old.get(key), new.get(key))
            for key in dict.fromkeys([*old, *new])
            if old.get(key) != new.get(key)
        ]
    return found


def by_key(rows: Sequence[Mapping[str, Any]], keys: Sequence[str]) -> dict[tuple[Any, ...], Mapping[str, Any]]:
    """Rows by the values of these keys, to pair those of two versions of a sheet."""
    return {tuple(row.get(key) for key in keys): row for row in rows}
