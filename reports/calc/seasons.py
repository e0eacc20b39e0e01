"""Do two periods hold the same months of the year in the same shares?

A wet quarter against a dry one says more about weather than about anything that was changed between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

ALIKE = 0.9  # days in months that both periods hold in equal share; own rule


@dataclass(frozen=True)
class SeasonCheck:
    """Share of days in months that both periods hold alike, and the months of which each holds clearly more."""

    alike: float
    more_in_first: tuple[int, ...]
    more_in_second: tuple[int, ...]

    @property
    def is_alike(self) -> bool:
        return self.alike >= ALIKE


def compare_seasons(first_days: Sequence[float], second_days: Sequence[float]) -> SeasonCheck:
    """Compare the months of the year of two periods.

    Parameters
    ----------
    first_days, second_days : sequence of float, length 12
        Days (or running hours) of each period in January, February and so on, 0 or more.

    Returns
    -------
    SeasonCheck
        alike is 1 for whole years and 0 for periods without a common month; months from 1 to 12 whose share differs by
        more than 2 percent of the period.

    Raises
    ------
    ValueError
        If there are not twelve values or a period is empty.

    Examples
    --------
    >>> winter, summer = [31, 28, 0, 0, 0, 0, 0, 0, 0, 0, 0, 31], [0, 0, 0, 0, 0, 30, 31, 31, 0, 0, 0, 0]
    >>> compare_seasons(winter, summer).alike
    0.0
    """
    shares = []
    for name, days in (("first_days", first_days), ("second_days", second_days)):
        if len(days) != 12 or any(not each >= 0 for each in days) or sum(days) <= 0:
            raise ValueError(f"{name} is {list(days)}; give twelve values from 0 up, not all 0")
        shares.append([each / sum(days) for each in days])
    first, second = shares
    return SeasonCheck(
        alike=sum(min(a, b) for a, b in zip(first, second, strict=True)),
        more_in_first=tuple(month for month in range(1, 13) if first[month - 1] - second[month - 1] > 0.02),
        more_in_second=tuple(month for month in range(1, 13) if second[month - 1] - first[month - 1] > 0.02),
    )
