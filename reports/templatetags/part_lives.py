"""Tags for the words of spares."""

from __future__ import annotations

from django import template

from reports.words import part_lives

register = template.Library()
register.filter(part_lives.how_words)
register.filter(part_lives.fit_words)
register.filter(part_lives.advice_words)
register.filter(part_lives.why_words)
register.filter(part_lives.missing_from)
register.filter(part_lives.spare_words)
