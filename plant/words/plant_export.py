"""A plant taken out of the site, in words: what each column holds, and the page that lies on top of the folder."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.selectors.export_tables import (
    NUMBERED,
    PEOPLE,
    ROLES,
    ROW_KEY,
    ExportColumn,
    ExportTable,
    Pointing,
    TableKind,
)

# Columns that many files have.
SHARED: Mapping[str, str | Promise] = {
    ROW_KEY: gettext_lazy("key of the row, the same on every site; other files name it by this"),
    "version": gettext_lazy("how often it was written, the first time with it"),
    "corrects": gettext_lazy("the row of this file that this one takes the place of; that one no longer counts"),
    "import_batch": gettext_lazy("the file that brought it; empty where a person wrote it"),
    "history_at": gettext_lazy("when it was done"),
    "history_act": gettext_lazy("what was done; the other columns say how the row stood then"),
    "history_by": gettext_lazy("who did it; empty where it was the site itself"),
    "history_reason": gettext_lazy("why it was done"),
}
ROW_NUMBER = gettext_lazy("number of the row; its history names it by this")
OLD_ROW_KEY = gettext_lazy("key of the row that was made, changed or removed")
OLD_ROW_NUMBER = gettext_lazy("number of the row that was made or removed; one that no file has is gone")


def meaning_of(table: ExportTable, column: ExportColumn) -> str:
    """What a column holds, in words; empty only where nobody has said it."""
    if column.name == ROW_KEY:
        is_numbered = column is NUMBERED
        if table.kind == TableKind.HISTORY:
            return str(OLD_ROW_NUMBER if is_numbered else OLD_ROW_KEY)
        return str(ROW_NUMBER if is_numbered else SHARED[ROW_KEY])
    said = table.said.meanings.get(column.field.name)
    if said is None and table.kind == TableKind.LINKS:
        said = column.target_model._meta.verbose_name if column.target_model is not None else ""
    if said is None:
        said = SHARED.get(column.name)
    if said is None:
        # Django makes a name of the column where the model gives none: that says nothing.
        named = column.field.verbose_name
        said = named if isinstance(named, Promise) else ""
    help_text = str(column.field.help_text or "")
    return f"{said}. {help_text}" if said and help_text else str(said)


def values_of(column: ExportColumn) -> str:
    """The words that a column may hold, each with what it stands for; empty where anything may stand."""
    return "; ".join(f"{value} = {label}" for value, label in column.field.flatchoices) if column.field.choices else ""


def points_to(column: ExportColumn) -> str:
    """The file and the column of it that a cell names; empty where it names none."""
    if column.target_model is None:
        return ""
    if column.points_to == ROLES:
        return ROLES
    known_by = column.path.rpartition("__")[2] if column.pointing == Pointing.NAME else ROW_KEY
    return f"{column.points_to}.{known_by}"


def readme(*, plant: str, zone: str, currency: str, built_in: Iterable[str]) -> str:
    """The page on top of the folder."""
    return _(
        """%(plant)s
%(line)s

This is the whole book of one plant, in open files that any program can read.

csv/            one file for each kind of row, and one with its history where there is any
parquet/        the same rows for programs that compute with them
dictionary.csv  what every column of every file means, its unit, and which file it points to
photos/         pictures; import_batches/ has files that were sent in, papers/ published months as PDF
manifest.json   every file with its checksum, and when the folder was written

How to read it
- Texts are UTF-8. The first line of a CSV file names the columns; commas part them.
- Numbers are in SI units as the dictionary says them, with a decimal point. Money is in %(currency)s.
- Times are in UTC, for example 2026-11-30T11:05:00Z. The plant's own clock is %(zone)s.
  Days have no clock: they are days of the plant.
- Nothing between two commas means "not stated". Two quotation marks mean an empty text.
- In CSV a text that a spreadsheet would take for a formula has an apostrophe in front. In Parquet it has none.
- Rows that were corrected or withdrawn are there too. A row counts if no other names it under "corrects" and
  "is_withdrawn" is false.
- Files name rows of other files by what people call them, such as a tag or a number, else by their row key.
- Checks that every site knows are named by their code alone:
  %(built_in)s.
- People are there by name and role. Their passwords, addresses and sign-ins are not.
- Results that the site computes from these rows, such as verdicts, are not there, but for months that were published.

How to have it read in again
On a site of this version or a later one, which has no plant of this name, whoever runs the site says:
    manage.py import_plant THIS-FOLDER
Every row is checked before anything is written, and all of it is written or nothing. People who are new to that site
cannot sign in before they are given a first password.
"""
    ) % {
        "plant": plant,
        "line": "=" * len(plant),
        "zone": zone,
        "currency": currency or _("no currency: none is set"),
        "built_in": ", ".join(built_in),
    }


__all__ = ["PEOPLE", "meaning_of", "points_to", "readme", "values_of"]
