"""What a new edition of a month says otherwise than the one before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Difference:
    """One figure that reads otherwise.

    Attributes
    ----------
    name : str
    was, now : str
    rows_added, rows_taken : int
        Rows behind the figure that are new, and that are no longer there.
    """

    name: str
    was: str
    now: str
    rows_added: int
    rows_taken: int


def differences(
    before: Mapping[str, Any], rows_before: Mapping[str, Any], after: Mapping[str, Any], rows_after: Mapping[str, Any]
) -> tuple[Difference, ...]:
    """Figures that read otherwise, or rest on other rows, in a later edition.

    Parameters
    ----------
    before, after : mapping
        Content of the two editions, with "figures" as a list of mappings that have key, name and words.
    rows_before, rows_after : mapping
        Rows behind them by key, each with "rows".
    """
    known = {each["key"]: each for each in before.get("figures", ())}
    found = []
    for each in after.get("figures", ()):
        old = known.get(each["key"])
        added, taken = moved(rows_of(rows_before, each["key"]), rows_of(rows_after, each["key"]))
        was = old["words"] if old else "–"
        if was != each["words"] or added or taken:
            found.append(Difference(each["name"], was, each["words"], added, taken))
    return tuple(found)


def rows_of(rows: Mapping[str, Any], key: str) -> Sequence[Sequence[Any]]:
    found: Sequence[Sequence[Any]] = rows.get(key, {}).get("rows", ())
    return found


def moved(before: Sequence[Sequence[Any]], after: Sequence[Sequence[Any]]) -> tuple[int, int]:
    old, new = ([tuple(map(str, row)) for row in rows] for rows in (before, after))
    return sum(row not in set(old) for row in new), sum(row not in set(new) for row in old)
