"""The month as a spreadsheet: figures, definitions, and one sheet of typed rows for each figure."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from plant.calc.import_rows import guarded
from reports.selectors.month_data import BEFORE, YEAR_AGO
from reports.selectors.row_sets import DATE, MOMENT, TEXT, kinds_of, typed

FORMATS = {DATE: "yyyy-mm-dd", MOMENT: "yyyy-mm-dd hh:mm"}
BOLD = Font(bold=True)
WIDEST = 60


def month_xlsx(content: Mapping[str, Any], rows: Mapping[str, Mapping[str, Any]], head: Mapping[str, Any]) -> bytes:
    """The spreadsheet of an edition.

    Parameters
    ----------
    content, rows : mapping
        As `reports.services.kept_months.compose` makes them.
    head : mapping
        As `reports.services.months.report_head` makes it.
    """
    book = Workbook(write_only=True)
    zone = content.get("time_zone", "")
    write_sheet(book, _("about"), [_("what"), ""], about(content, head))
    write_sheet(book, _("figures"), *figure_table(content))
    write_sheet(
        book,
        _("definitions"),
        [_("figure"), _("unit"), _("definition"), _("formed as"), _("what to do when it is bad")],
        [[each[name] for name in ("name", "unit", "definition", "formula", "act")] for each in content["figures"]],
    )
    for key, table in rows.items():
        if key.endswith((BEFORE, YEAR_AGO)):
            continue
        # The months that a figure is compared with stand in the same sheet, told apart by the first column.
        parts = [(_("this month"), table)]
        parts += [
            (words, rows[f"{key}{suffix}"])
            for suffix, words in ((BEFORE, _("month before")), (YEAR_AGO, _("a year ago")))
            if f"{key}{suffix}" in rows
        ]
        kinds = kinds_of(table)
        heads = [
            f"{name} [{zone}]" if kind == MOMENT and zone else name
            for name, kind in zip(table["heads"], kinds, strict=True)
        ]
        is_many = len(parts) > 1
        write_sheet(
            book,
            key,
            [_("of"), *heads] if is_many else heads,
            [[words, *cells] if is_many else cells for words, part in parts for cells in part["rows"]],
            [TEXT, *kinds] if is_many else kinds,
        )
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def about(content: Mapping[str, Any], head: Mapping[str, Any]) -> list[list[Any]]:
    state = (
        _("published %(when)s by %(who)s") % {"when": head["published_at"], "who": head["published_by"]}
        if head["published_at"]
        else _("draft: figures may still change")
    )
    return [
        [_("plant"), content["plant"]],
        [_("month"), content["month"]],
        [_("edition"), head["edition"]],
        [_("why a new edition"), head["reason"]],
        [_("state"), state],
        [_("code"), head["code_version"]],
        [_("times are in"), content.get("time_zone", "")],
        [_("first words"), content["lede"]],
        [_("the engineer's comment"), head["comment"]],
    ]


def figure_table(content: Mapping[str, Any]) -> tuple[list[str], list[list[Any]]]:
    """Each value as a number to reckon with, and as it reads."""
    heads = [_("figure"), _("unit"), _("this month"), _("in words"), _("behind it"), _("month before"), _("in words")]
    heads += [_("a year ago"), _("in words"), _("behind it")]
    rows = [
        [
            each["name"],
            each["unit"],
            each["value"],
            each["words"],
            each["note"],
            each.get("before_value"),
            each["before"],
            each.get("year_ago_value"),
            each["year_ago"],
            each.get("year_ago_note", ""),
        ]
        for each in content["figures"]
    ]
    return heads, rows


def write_sheet(
    book: Workbook, name: str, heads: Sequence[str], rows: Iterable[Sequence[Any]], kinds: Sequence[str] = ()
) -> None:
    lines = list(rows)
    sheet = book.create_sheet(name[:31])
    sheet.freeze_panes = "A2"
    for column, head in enumerate(heads):
        longest = max([len(head), *(len(str(line[column] or "")) for line in lines)])
        sheet.column_dimensions[get_column_letter(column + 1)].width = min(longest + 2, WIDEST)
    sheet.append([cell_of(sheet, head, TEXT, is_head=True) for head in heads])
    of = [*kinds, *[TEXT] * (len(heads) - len(kinds))]
    for line in lines:
        sheet.append([cell_of(sheet, value, kind) for value, kind in zip(line, of, strict=True)])


def cell_of(sheet: Any, value: Any, kind: str, *, is_head: bool = False) -> WriteOnlyCell:
    known = typed(value, kind)
    if isinstance(known, dt.datetime):
        known = known.replace(tzinfo=None)  # a spreadsheet knows no zones; the head names the plant's
    cell = WriteOnlyCell(sheet, value=guarded(known) if isinstance(known, str) else known)
    if isinstance(known, str):
        cell.data_type = "s"  # never a formula, whatever the text begins with
    elif kind in FORMATS and known is not None:
        cell.number_format = FORMATS[kind]
    if is_head:
        cell.font = BOLD
    return cell
