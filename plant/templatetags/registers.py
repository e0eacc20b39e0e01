"""Tables whose rows become blocks on a phone: a heading is written once and stands at each cell of its column."""

from __future__ import annotations

import re
from collections.abc import Iterator

from django import template
from django.utils.html import strip_tags
from django.utils.safestring import SafeString, mark_safe

register = template.Library()

TAG = re.compile(r"<(/?)(table|thead|tr|th|td)\b((?:\"[^\"]*\"|'[^']*'|[^'\">])*)>")
COLSPAN = re.compile(r"\bcolspan=\"(\d+)\"")


@register.simple_block_tag
def register_table(content: SafeString, kind: str = "") -> SafeString:
    """A table with its headings at each cell, where a narrow screen shows them instead of the row of headings.

    {% register_table %}
      <thead><tr><th scope="col">Belt</th></tr></thead>
      <tbody><tr><td>A-1</td></tr></tbody>
    {% endregister_table %}

    A cell may name itself (`data-label`), also by nothing. `kind` is one more class of the table.
    """
    classes = f"{kind} register".strip()
    return mark_safe(f'<table class="{classes}">{labelled(content)}</table>')


def labelled(html: str) -> str:
    """The inside of a table with `data-label` at each cell of its body.

    Tables inside of cells are left as they are; so is one whose headings stand in several rows.
    """
    headings = headings_of(html)
    pieces, last = [], 0
    for tag, column in cells(html):
        label = headings[column] if column < len(headings) else ""
        if tag[2] == "td" and label and "data-label=" not in tag[3]:
            pieces += [html[last : tag.end(3)], f' data-label="{label}"']
            last = tag.end(3)
    return "".join([*pieces, html[last:]])


def headings_of(html: str) -> list[str]:
    """What the columns are called, as an attribute holds it; nothing where there is not one row of headings."""
    head, _sep, _body = html.partition("</thead>")
    if not _sep or len(re.findall(r"<tr\b", head)) != 1:
        return []
    found: list[str] = []
    for cell in re.finditer(r"<th\b([^>]*)>(.*?)</th>", head, re.DOTALL):
        words = " ".join(strip_tags(cell[2]).split()).replace('"', "&quot;")
        found += [words] * width(cell[1])
    return found


def cells(html: str) -> Iterator[tuple[re.Match[str], int]]:
    """The opening tags of the cells below the headings, each with the column that it begins in."""
    depth, column, is_head = 0, 0, False
    for tag in TAG.finditer(html):
        closes, name = tag[1] == "/", tag[2]
        if name == "table":
            depth += -1 if closes else 1
        elif depth:
            continue
        elif name == "thead":
            is_head = not closes
        elif name == "tr" and not closes:
            column = 0
        elif name in ("td", "th") and not closes and not is_head:
            yield tag, column
            column += width(tag[3])


def width(attributes: str) -> int:
    """How many columns a cell takes."""
    spans = COLSPAN.search(attributes)
    return int(spans[1]) if spans else 1
