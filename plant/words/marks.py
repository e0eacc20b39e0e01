"""Grades and verdicts as a mark and a word."""

from __future__ import annotations

from django.utils.html import format_html
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

# Mark and word: the shape says it without colour.
MARKS = {
    "sound": '<circle cx="7" cy="7" r="6" fill="currentColor"/>',
    "watch": '<path d="M7 1 13 13H1Z" fill="currentColor"/>',
    "act": '<path d="M7 0 14 7 7 14 0 7Z" fill="currentColor"/>',
    "fewer": '<path d="M1 3H13L7 12Z" fill="currentColor"/>',
    "more": '<path d="M7 2 13 11H1Z" fill="currentColor"/>',
    "flat": '<path d="M1 7H13" stroke="currentColor" stroke-width="3"/>',
    "little": '<path d="M1 5H13M1 9H13" stroke="currentColor" stroke-width="2"/>',
    "early": '<circle cx="7" cy="7" r="5.5" fill="none" stroke="currentColor" stroke-width="2" '
    'stroke-dasharray="3 2.4"/>',
    "few": '<circle cx="3" cy="7" r="2" fill="currentColor"/><circle cx="11" cy="7" r="2" fill="currentColor"/>',
    "unjudged": '<path d="M2 2 12 12M12 2 2 12" stroke="currentColor" stroke-width="2"/>',
}
COLOURS = {"fewer": "sound", "more": "act", "little": "flat", "few": "flat", "unjudged": "flat"}


def mark(kind: str, words: str = "") -> str:
    """A grade or verdict as a mark and a word: mark("watch"), mark("fewer", "fewer incidents")."""
    shape = MARKS.get(kind)
    if shape is None:
        return words
    named = {"sound": _("sound"), "watch": _("watch"), "act": _("act")}
    return format_html(
        '<span class="mark {}"><svg viewBox="0 0 14 14" aria-hidden="true">{}</svg>{}</span>',
        COLOURS.get(kind, kind),
        mark_safe(shape),  # the shapes are constants of this module
        words or named.get(kind, kind),
    )
