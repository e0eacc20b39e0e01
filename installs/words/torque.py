"""What is said of fasteners: which ones, and why one was passed over."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext as _

from installs.models import Fastener, PassedFastener
from plant.words.moments import moment_words


def fastener_names(fasteners: Iterable[tuple[Fastener, int]]) -> str:
    """Each by its place and number: clamp 2, pivot 1."""
    return ", ".join(f"{fastener.place} {number}" for fastener, number in fasteners)


def passed_words(row: PassedFastener) -> str:
    """One that was passed over: which, why, who and when."""
    return _("%(which)s passed over: %(why)s (%(who)s, %(when)s)") % {
        "which": fastener_names([(row.fastener, row.number)]),
        "why": row.reason,
        "who": row.passed_by,
        "when": moment_words(row.passed_at),
    }
