"""Entries of phones that could not be settled: what each box is called into which something was typed."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext_lazy as _

from inspections.selectors.set_aside import TICKED, TypedLine
from plant.words.reasons import Texts

BOX_WORDS: Texts = {
    "system": _("Units of the phone"),
    TICKED: _("Lockout confirmed"),
    "permit_reference": _("Permit reference"),
    "note": _("Note"),
    "action_title": _("Action: what is to be done"),
    "action_due_on": _("Action: due"),
    "no_action_reason": _("Why no action is needed"),
}
STAGE_WORDS: Texts = {"as_found": _("as found"), "as_left": _("as left")}


def lines_told(lines: Iterable[TypedLine]) -> list[tuple[str, str]]:
    """What was typed, line by line: what the box is called, and the text."""
    return [(box_words(each), str(_("yes")) if each.box == TICKED else each.value) for each in lines]


def box_words(line: TypedLine) -> str:
    if line.box:
        return str(BOX_WORDS[line.box])
    return ", ".join(filter(None, [line.kind, line.label, str(STAGE_WORDS.get(line.stage, ""))]))
