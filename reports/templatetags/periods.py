"""Tags for the words of two periods."""

from __future__ import annotations

from django import template

from reports.words import periods

register = template.Library()
register.filter(periods.scope_words)
register.filter(periods.period_sides)
register.filter(periods.last_day)
register.filter(periods.period_sentence)
register.filter(periods.answer_words)
register.filter(periods.season_words)
register.filter(periods.lies_in)
