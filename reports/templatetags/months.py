"""Rows of a month as people read them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import template

from reports.selectors.month_rows import RowPage, cell_words

register = template.Library()


@register.filter
def columns(page: RowPage) -> list[tuple[str, str]]:
    """Head and kind of each column."""
    return list(zip(page.heads, page.kinds, strict=True))


@register.filter
def cells_of(page: RowPage, cells: Sequence[Any]) -> list[tuple[str, str, str]]:
    """Head, kind and words of each cell of a row."""
    return [
        (head, kind, cell_words(cell, kind)) for head, kind, cell in zip(page.heads, page.kinds, cells, strict=True)
    ]
