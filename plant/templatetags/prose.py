"""Running text that a template puts together from parts."""

from __future__ import annotations

import re

from django import template
from django.utils.safestring import SafeString, mark_safe

register = template.Library()

BEFORE_STOP = re.compile(r"\s*\n\s*(?=[,;.:)])")
AFTER_BRACKET = re.compile(r"(?<=\()\s*\n\s*")


@register.simple_block_tag
def prose(content: SafeString) -> SafeString:
    """Text over several lines of a template as one would write it: no gap before a comma, a stop or inside brackets.

    {% prose %}
      {{ days }} days
      {% if kind %}
        , {{ kind }}
      {% endif %}
      .
    {% endprose %} -> 12 days, pulleys.

    Only line breaks go; what somebody typed in one line stays as it is.
    """
    return mark_safe(AFTER_BRACKET.sub("", BEFORE_STOP.sub("", content)).strip())
