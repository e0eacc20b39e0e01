"""What is said of the lines of a fit-up sheet."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.translation import gettext as _

from installs.calc.fit_up import Line

NAMED_LINES = 4  # so many lines of the fit-up are named; the rest are counted


def named(lines: Sequence[Line]) -> str:
    labels = [line.label for line in lines[:NAMED_LINES]]
    more = len(lines) - len(labels)
    return ", ".join(labels) + (" " + _("and %s more") % more if more else "")
