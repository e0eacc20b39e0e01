"""What a new edition of a month says otherwise than the one before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class FigureDifference:
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
) -> tuple[FigureDifference, ...]:
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
            found.append(FigureDifference(each["name"], was, each["words"], added, taken))
    return tuple(found)


def rows_of(rows: Mapping[str, Any], key: str) -> Sequence[Sequence[Any]]:
    """The rows behind one figure of an edition; none where it has none."""
    found: Sequence[Sequence[Any]] = rows.get(key, {}).get("rows", ())
    return found


def moved(before: Sequence[Sequence[Any]], after: Sequence[Sequence[Any]]) -> tuple[int, int]:
    """How many rows an edition has that the other lacks, and the other way round."""
    old, new = ([tuple(map(str, row)) for row in rows] for rows in (before, after))
    return sum(row not in set(old) for row in new), sum(row not in set(new) for row in old)


@dataclass(frozen=True)
class RowStanding:
    """What became of a row that an edition keeps.

    Attributes
    ----------
    is_gone : bool
        Nothing in today's table tells of the same thing.
    changed : tuple of (column, value today)
        Columns counted from 0; empty where the row reads the same.
    """

    is_gone: bool
    changed: tuple[tuple[int, Any], ...] = ()

    @property
    def is_same(self) -> bool:
        return not self.is_gone and not self.changed


def rows_since(
    kept: Mapping[str, Any], today: Mapping[str, Any], successors: Mapping[str, str]
) -> tuple[list[RowStanding], list[tuple[str, list[Any]]]]:
    """Lay the rows of an edition beside those that the book gives today.

    Parameters
    ----------
    kept, today : mapping
        Each with "heads", "rows" and "links"; columns are matched by their heads.
    successors : mapping of address to address
        Where the thing that a row tells of was replaced by another.

    Returns
    -------
    standings : list of RowStanding
        One for each kept row.
    fresh : list of (address, cells)
        Rows of today that no kept row tells of.
    """
    now = {key_of(url, cells): cells for url, cells in zip(today["links"], today["rows"], strict=True)}
    pairs = [
        (here, today["heads"].index(head)) for here, head in enumerate(kept["heads"]) if head in set(today["heads"])
    ]
    seen, standings = set(), []
    for url, cells in zip(kept["links"], kept["rows"], strict=True):
        key = key_of(successors.get(url, url), cells)
        seen.add(key)
        current = now.get(key)
        if current is None:
            standings.append(RowStanding(is_gone=True))
        else:
            changed = tuple((here, current[there]) for here, there in pairs if not alike(cells[here], current[there]))
            standings.append(RowStanding(is_gone=False, changed=changed))
    fresh = [
        (url, list(cells))
        for url, cells in zip(today["links"], today["rows"], strict=True)
        if key_of(url, cells) not in seen
    ]
    return standings, fresh


def key_of(url: str, cells: Sequence[Any]) -> str:
    """What a row tells of: its address, else its first cell."""
    return url or str(cells[0])


def alike(one: Any, other: Any) -> bool:
    """Whether two cells say the same: numbers to 1e-9, nothing and empty text as one."""
    if isinstance(one, int | float) and isinstance(other, int | float):
        return abs(one - other) < 1e-9
    return (one in (None, "") and other in (None, "")) or one == other
