"""Tags for the words of belt offsets."""

from __future__ import annotations

from django import template

from reports.words import offset_studies

register = template.Library()
register.filter(offset_studies.offset_reason)
register.filter(offset_studies.offset_answer)
register.filter(offset_studies.offset_mark)
register.filter(offset_studies.occasion_words)
register.filter(offset_studies.lacking_words)
