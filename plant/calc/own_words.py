"""Words of a plant in its own files: which stand in a column of choices, and what each is taken for."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from plant.calc.chainage import tag_key
from plant.calc.import_cells import choice_words, is_empty, read_yes_no, word_key
from plant.calc.import_columns import Column, ColumnKind, plain_name
from plant.calc.import_rows import Cell, cell_text, split_head
from plant.calc.reasons import NotAccepted

NOTHING = ""  # what a word stands for that says nothing in this column
YES, NO = "yes", "no"
WORDED = (ColumnKind.CHOICE, ColumnKind.YES_NO, ColumnKind.CONVEYOR)
LONGEST_WORD = 120
# Fields that mean the same in every kind of rows: a word said of one file is taken in all of them.
SHARED = frozenset({"strand", "side"})
# A name that tells where the column stands, because it has none or another column has the same.
NO_NAME = re.compile(r"(?:^|\()column [A-Z]+\)?$")


def about_of(subject: str, column: Column) -> str:
    """The name under which the words of a field are kept.

    Parameters
    ----------
    subject : str
        The kind of rows.
    column : Column
        The field.
    """
    if column.kind is ColumnKind.CONVEYOR or column.name in SHARED:
        return column.name
    return f"{subject}.{column.name}"


def about_heads(subject: str) -> str:
    """The name under which the plant's names of columns are kept; what they mean are fields.

    Parameters
    ----------
    subject : str
        The kind of rows.
    """
    return f"columns.{subject}"


def head_key(head: str) -> str:
    """What tells one name of a column from another, without its unit; empty where the column has no name of its own.

    Parameters
    ----------
    head : str
        As `plant.calc.import_rows.column_names` gives it.

    Examples
    --------
    >>> head_key("Lage [m]"), head_key("column C")
    ('lage', '')
    """
    return "" if NO_NAME.search(head) else word_key(split_head(head)[0])


@dataclass(frozen=True)
class FoundWord:
    """A word that stands in a column of choices of a file.

    Attributes
    ----------
    column : Column
        The field that the column fills.
    written : str
        As it stands there first.
    key : str
        What tells it from other words (`plant.calc.import_cells.word_key`).
    n : int
        How many of the rows looked at hold it.
    means : str or None
        The code or tag that it is taken for, `NOTHING`, or None where it is not understood.
    is_own : bool
        Whether the plant said what it means.
    """

    column: Column
    written: str
    key: str
    n: int
    means: str | None
    is_own: bool = False


def words_in(column: Column, cells: Iterable[Cell], own: Mapping[str, str], tags: Mapping[str, str]) -> list[FoundWord]:
    """Every word of a column with what it is taken for: those not understood first, the commonest on top.

    Parameters
    ----------
    column : Column
        Of one of the kinds in `WORDED`.
    cells : iterable of Cell
        The column, from the top.
    own : mapping of str to str
        What the plant's own words of this field mean, by key.
    tags : mapping of str to str
        Tags of the plant's conveyors by key (`plant.calc.chainage.tag_key`); read for columns of tags alone.

    Returns
    -------
    list of FoundWord
        Empty cells, and texts too long for a word, are left out.
    """
    n_of: dict[str, int] = {}
    written: dict[str, str] = {}
    for cell in cells:
        text = cell_text(cell)
        key = word_key(text)
        # A word may be longer as it is compared than as it is written: one ß is two s.
        if is_empty(text) or max(len(text), len(key)) > LONGEST_WORD:
            continue
        n_of[key] = n_of.get(key, 0) + 1
        written.setdefault(key, text)
    known = tags if column.kind is ColumnKind.CONVEYOR else choice_words(column)
    found = [
        FoundWord(
            column,
            text,
            key,
            n_of[key],
            own[key] if key in own else meaning_of(text, column, known),
            is_own=key in own,
        )
        for key, text in written.items()
    ]
    return sorted(found, key=lambda each: (each.means is not None, -each.n))


def meaning_of(text: str, column: Column, known: Mapping[str, str]) -> str | None:
    """What a word is taken for where the plant has no word of its own; None where it is not understood.

    Parameters
    ----------
    text : str
    column : Column
    known : mapping of str to str
        Codes by plain name, or tags by their key.
    """
    if column.kind is ColumnKind.CONVEYOR:
        return known.get(tag_key(text))
    if column.kind is ColumnKind.CHOICE:
        return known.get(plain_name(text))
    try:
        answer = read_yes_no(text, column)
    except NotAccepted:
        return None
    return NOTHING if answer is None else YES if answer else NO
