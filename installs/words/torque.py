"""What is said of fasteners: which ones, and why one was passed over."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext as _

from installs.models import Fastener, PassedFastener
from plant.words.moments import moment_words


def fastener_names(fasteners: Iterable[tuple[Fastener, int]]) -> str:
    """Each by its place and number: clamp 2, pivot 1."""
    return ", ".join(f"{fastener.place} {number}" for fastener, number in fasteners)


def passed_words(*rows: PassedFastener) -> str:
    """One that was passed over, or several alike: which, why, who and when."""
    return _("%(which)s passed over: %(why)s (%(who)s, %(when)s)") % {
        "which": fastener_names((row.fastener, row.number) for row in rows),
        "why": rows[0].reason,
        "who": rows[0].passed_by,
        "when": moment_words(rows[0].passed_at),
    }


def passed_together(rows: Iterable[PassedFastener]) -> list[str]:
    """Several that were passed over: those with one reason, of one person and moment, in one breath."""
    alike: dict[tuple[object, ...], list[PassedFastener]] = {}
    for row in rows:
        alike.setdefault((row.reason, row.passed_by_id, row.passed_at), []).append(row)
    return [passed_words(*each) for each in alike.values()]
