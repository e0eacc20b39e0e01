"""What is said of fasteners: which ones, and why one was passed over."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.utils.translation import gettext as _

from installs.models import Fastener, PassedFastener
from installs.selectors.torque import FastenerRow, open_fasteners, passed_over
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


def torques_left_open(rows: Sequence[FastenerRow]) -> list[str]:
    """How many fasteners are signed off where not all are, which are open, and each one passed over with its reason."""
    left, passed = open_fasteners(rows), passed_over(rows)
    if not left and not passed:
        return []
    words = _("Torque: %(n)s of %(wanted)s fasteners signed off") % {
        "n": sum(row.n_signed for row in rows),
        "wanted": sum(len(row.signed) for row in rows),
    }
    if left:
        words += _("; open: %s") % fastener_names(left)
    return [f"{words}.", *(f"{words}." for words in passed_together(passed))]
