"""A typed reading that is hard to believe: every way to read it, of which a person presses one."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from inspections.calc.plausible import implausible, slip_of
from plant.calc.box_texts import in_own_unit
from plant.calc.typed_quantities import Unclear, Way, parse_quantity, ways_to_read
from plant.calc.units import QuantityKind, UnitSystem


def ways_of(
    text: str,
    kind: QuantityKind,
    system: UnitSystem,
    plausible: Mapping[str, Any],
    *,
    allow_negative: bool = False,
) -> tuple[Way, ...]:
    """What a person may have meant by a reading that is asked back.

    Parameters
    ----------
    text : str
        As typed.
    kind : QuantityKind
        What is measured.
    system : UnitSystem
        The person's own.
    plausible : mapping
        What `implausible` is asked with: quantity, previous, low, high, expected, sigma; those that are known.
    allow_negative : bool, optional
        Accept a leading minus.

    Returns
    -------
    tuple of Way
        As it is read comes first. The others are those that are believable: another unit, a slipped decimal point.
        Where the text alone may mean several things, all of these. Empty where nothing is understood.

    Examples
    --------
    >>> bounds = {"quantity": "diameter", "low": 51, "high": 79.8}
    >>> [way.shown for way in ways_of("2.75", QuantityKind.LENGTH_MM, UnitSystem.METRIC, bounds)]
    ['2.75 mm', '2.75 in = 69.9 mm']
    >>> [way.shown for way in ways_of("7.5", QuantityKind.LENGTH_MM, UnitSystem.METRIC, bounds)]
    ['7.5 mm', '75 mm']
    """
    try:
        parse_quantity(text, kind, system, allow_negative=allow_negative)
    except Unclear as unclear:
        return unclear.ways
    except ValueError:
        return ()
    first, *others = ways_to_read(text, kind, system, allow_negative=allow_negative)
    ways = [first, *(way for way in others if way.value < 0 or implausible(way.value, **plausible) is None)]
    previous, low, high = (plausible.get(name) for name in ("previous", "low", "high"))
    slip = slip_of(first.value, previous, low, high, kind.value)
    if slip is not None and not any(math.isclose(slip.value, way.value, rel_tol=1e-9) for way in ways):
        ways += ways_to_read(in_own_unit(slip.value, kind, system), kind, system)[:1]
    return tuple(ways)
