"""Why a quantity is outside the limits of its column: as a reason, so that each person reads it in their own units."""

from __future__ import annotations

from enum import StrEnum

from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind


class LimitRule(StrEnum):
    """On which side of its limit a quantity lies."""

    TOO_LITTLE = "limits.too_little"
    TOO_MUCH = "limits.too_much"


def outside(given: float, limit: float, kind: QuantityKind) -> Reason:
    """Why a quantity is refused by the limit of its column.

    Parameters
    ----------
    given, limit : float
        What was given, and the limit that it does not keep [stored unit of the kind].
    kind : QuantityKind
        What is measured.

    Returns
    -------
    Reason
        With the values `given` and `limit`, named like columns.

    Examples
    --------
    >>> outside(50.8, 100.0, QuantityKind.LENGTH_MM).values
    {'given_mm': 50.8, 'limit_mm': 100.0}
    """
    rule = LimitRule.TOO_LITTLE if given < limit else LimitRule.TOO_MUCH
    unit = f"_{kind.value}" if kind.value else ""
    return Reason(rule, {f"given{unit}": given, f"limit{unit}": limit})
