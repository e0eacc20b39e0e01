"""Rounds whose person is planned to be at a fitting at the same time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from inspections.models import Round, Stop
from inspections.selectors.round_problems import (
    fittings_of,
)
from installs.models import Fitting


@dataclass(frozen=True)
class FittingClash:
    """A fitting to which the person of a round is planned, and the open stops that lie in its time."""

    round: Round
    fitting: Fitting
    span: tuple[datetime, datetime]
    stops: tuple[Stop, ...]


def clash_of(row: Round, fitting: Fitting, span: tuple[datetime, datetime]) -> FittingClash:
    begin, end = span
    stops = [stop for stop in row.stops.all() if stop.starts_at < end and begin < stop.ends_at and not stop.is_done]
    return FittingClash(row, fitting, span, tuple(stops))


def jobs_in(row: Round) -> list[FittingClash]:
    """The fittings to which the person of a round is planned in its shift."""
    jobs = fittings_of([row.shift])[row.shift_id]
    return [clash_of(row, fitting, span) for fitting in jobs if (span := fitting.planned_span) is not None]


def clashes_of(fitting: Fitting) -> list[FittingClash]:
    """Rounds that stand and have open stops while the crew is planned to be at a fitting."""
    span = fitting.planned_span
    if span is None:
        return []
    begin, end = span
    rows = Round.objects.with_stops().filter(
        plant_id=fitting.plant_id,
        superseded_at__isnull=True,
        shift__person__in=fitting.crew.all(),
        shift__starts_at__lt=end,
        shift__ends_at__gt=begin,
    )
    in_order = rows.order_by("shift__starts_at", "shift__person__username", "published_at")
    return [clash for row in in_order if (clash := clash_of(row, fitting, span)).stops]
