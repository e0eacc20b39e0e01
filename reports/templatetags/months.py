"""Tags for the words of a month's rows."""

from __future__ import annotations

from django import template

from reports.words import month_rows

register = template.Library()
register.filter(month_rows.since_words)
register.filter(month_rows.columns)
register.filter(month_rows.cells_of)
register.filter(month_rows.kept_day)
