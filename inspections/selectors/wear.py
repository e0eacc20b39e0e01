"""Wear of sensor rollers, gathered: running hours since new rollers, the line through the readings, the limit's date.

New rollers are known from a part change that was written, or from a visit that left a thicker roller than it found;
without either the line begins at the installation.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.calc.due_dates import DueDate
from inspections.calc.wear import (
    READING_ERROR_MM,
    FleetRate,
    LimitForecast,
    WearTrend,
    fit_line,
    fleet_rate,
    limit_forecast,
    wear_trend,
)
from inspections.models import Reading
from installs.models import Installation, PartChange
from plant.calc.running_hours import Ledger
from plant.models import Plant, Side
from plant.selectors.running_hours import hours_of

DIAMETERS = {"drive_diameter": Side.DRIVE.value, "off_diameter": Side.OFF.value}
# A roller that leaves thicker than it came by more than this is a new one (common practice, no source).
NEW_ROLLER_MM = 0.5
# Readings whose running hours are known for less than this share of the time are left out (common practice).
LEAST_COVERAGE = 0.8
# Days over which the daily hours are looked back at for the date of the limit.
RECENT_DAYS = 42


@dataclass(frozen=True)
class Point:
    """A diameter at some running hours since new rollers."""

    at: datetime
    hours: float
    diameter_mm: float


@dataclass(frozen=True)
class SideWear:
    """One roller: its readings since it was new, their line, and when the limit is reached."""

    side: str
    label: str
    since: datetime
    since_words: str
    points: tuple[Point, ...]
    n_left_out: int
    trend: WearTrend
    forecast: LimitForecast
    limit_on: date | None
    early_on: date | None
    late_on: date | None
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class DeviceWear:
    """Both rollers of a device."""

    installation: Installation
    new_mm: float | None
    limit_mm: float | None
    sides: tuple[SideWear, ...]
    hours_per_day: float | None
    now: datetime

    @property
    def early_on(self) -> date | None:
        """The first day on which a roller may be at its limit."""
        return min((each.early_on for each in self.sides if each.early_on), default=None)

    @property
    def first(self) -> SideWear | None:
        """The roller that reaches its limit first."""
        known = [each for each in self.sides if each.limit_on]
        return min(known, key=lambda each: each.limit_on or date.max, default=None)


RawReading = tuple[datetime, str, float]  # when, stage, diameter


def readings_of(installations: Iterable[Installation]) -> dict[tuple[int, str], list[RawReading]]:
    rows = (
        Reading.objects.current()
        .filter(visit__installation__in=installations, code__in=DIAMETERS, value__isnull=False)
        .order_by("visit__visited_at", "pk")
    )
    found: dict[tuple[int, str], list[RawReading]] = defaultdict(list)
    for at, place, code, stage, value in rows.values_list(
        "visit__visited_at", "visit__installation_id", "code", "stage", "value"
    ):
        if value is not None:
            found[place, DIAMETERS[code]].append((at, stage, value))
    return found


def changes_of(installations: Iterable[Installation]) -> dict[tuple[int, str], list[datetime]]:
    rows = PartChange.objects.current().filter(installation__in=installations, part=PartChange.Part.SENSOR_ROLLERS)
    found: dict[tuple[int, str], list[datetime]] = defaultdict(list)
    for place, side, at in rows.values_list("installation_id", "side", "changed_at"):
        for each in (side,) if side else DIAMETERS.values():
            found[place, each].append(at)
    return found


def since_new(
    installation: Installation, readings: Sequence[RawReading], changes: Sequence[datetime]
) -> tuple[datetime, str, list[tuple[datetime, float]]]:
    """When the roller was new, how that is known, and the diameters since then."""
    since, words = installation.installed_at, str(_("since the installation"))
    before: float | None = None
    for at, stage, value in readings:
        if stage == Reading.Stage.AS_FOUND:
            before = value
        elif before is not None and value - before > NEW_ROLLER_MM:
            since, words = at, str(_("since new rollers at a visit"))
    latest = max(changes, default=None)
    if latest is not None and latest >= since:
        since, words = latest, str(_("since the part change"))
    # At the very visit only what was left counts: what was found belongs to the old roller.
    kept = [
        (at, value) for at, stage, value in readings if at > since or (at == since and stage != Reading.Stage.AS_FOUND)
    ]
    as_left = {at for at, stage, _value in readings if stage != Reading.Stage.AS_FOUND and at > since}
    return since, words, [pair for pair in kept if pair[0] not in as_left] + one_each(readings, as_left)


def one_each(readings: Sequence[RawReading], visits: set[datetime]) -> list[tuple[datetime, float]]:
    """Of visits that measured as found and as left without a new roller, the reading as found."""
    return [(at, value) for at, stage, value in readings if at in visits and stage == Reading.Stage.AS_FOUND]


def points_of(ledger: Ledger, since: datetime, diameters: Sequence[tuple[datetime, float]]) -> tuple[list[Point], int]:
    """Readings with their running hours, and how many are left out because too few hours are known."""
    points, left_out = [], 0
    for at, value in sorted(diameters):
        if at <= since:
            points.append(Point(at, 0.0, value))
            continue
        known = ledger.hours(since, at)
        if known.coverage < LEAST_COVERAGE:
            left_out += 1
        else:
            points.append(Point(at, known.running_h / known.coverage, value))
    return points, left_out


def daily_hours(ledger: Ledger, now: datetime) -> float | None:
    """Running hours a day of the last weeks; None where too little is known."""
    recent = ledger.hours(now - timedelta(days=RECENT_DAYS), now)
    if recent.coverage < LEAST_COVERAGE or recent.running_h <= 0:
        return None
    return recent.running_h / recent.coverage / RECENT_DAYS


def wear_of_plant(plant: Plant, now: datetime | None = None) -> dict[int, DeviceWear]:
    """Wear of every device in place, by installation."""
    standing = Installation.objects.of_plant(plant).in_place()
    return wear_of(standing.select_related("conveyor", "device__device_model", "sheet", "plant"), now=now)


def wear_of(
    installations: Iterable[Installation], *, now: datetime | None = None, fleet: Iterable[Installation] | None = None
) -> dict[int, DeviceWear]:
    """Wear of several devices; a fixed number of queries whatever their number.

    Parameters
    ----------
    installations : iterable of Installation
        With conveyor, device and its model loaded.
    fleet : iterable of Installation, optional
        Like devices whose rates are taken in where a device has few readings; left out: those that are asked for.
    """
    now = now or timezone.now()
    asked = list(installations)
    every = {each.pk: each for each in [*asked, *(fleet or ())]}
    readings, changes = readings_of(every.values()), changes_of(every.values())
    ledgers = {pk: hours.ledger for pk, hours in hours_of({each.conveyor for each in every.values()}).items()}
    gathered = {}
    for each in every.values():
        for side in DIAMETERS.values():
            since, words, diameters = since_new(each, readings[each.pk, side], changes[each.pk, side])
            points, left_out = points_of(ledgers[each.conveyor_id], since, diameters)
            gathered[each.pk, side] = (since, words, points, left_out)
    fleets = fleet_rates(every, {key: points for key, (_since, _words, points, _out) in gathered.items()})
    found = {}
    for each in asked:
        new_mm, limit_mm = sensor_limits(each)
        per_day = daily_hours(ledgers[each.conveyor_id], now)
        sides = []
        for side in DIAMETERS.values():
            since, words, points, left_out = gathered[each.pk, side]
            if points or left_out:
                sides.append(
                    side_wear(
                        side, since, words, points, left_out, new_mm, limit_mm,
                        fleets.get(likeness(each)), ledgers[each.conveyor_id], per_day, now,
                    )
                )  # fmt: skip
        found[each.pk] = DeviceWear(each, new_mm, limit_mm, tuple(sides), per_day, now)
    return found


def sensor_limits(installation: Installation) -> tuple[float | None, float | None]:
    """New and limit diameter by the sheet that it was fitted to, else by the model; no further query."""
    stated = installation.sheet.content if installation.sheet else vars(installation.device.device_model)
    return stated.get("sensor_new_mm"), stated.get("sensor_limit_mm")


def likeness(installation: Installation) -> tuple[int, str]:
    """Devices of one model on belts of one duty wear alike."""
    return installation.device.device_model_id, installation.conveyor.duty


def fleet_rates(
    installations: Mapping[int, Installation], points: Mapping[tuple[int, str], Sequence[Point]]
) -> dict[tuple[int, str], FleetRate]:
    rates: dict[tuple[int, str], list[tuple[float, float]]] = defaultdict(list)
    for (pk, _side), those in points.items():
        hours = [each.hours for each in those]
        if len(set(hours)) < 2:
            continue
        line = fit_line(hours, [each.diameter_mm for each in those])
        error = READING_ERROR_MM / line.s_xx**0.5
        rates[likeness(installations[pk])].append((-1000 * line.slope, 1000 * error))
    found = {key: fleet_rate(*zip(*those, strict=True)) for key, those in rates.items()}
    return {key: rate for key, rate in found.items() if rate is not None}


def side_wear(
    side: str,
    since: datetime,
    words: str,
    points: Sequence[Point],
    n_left_out: int,
    new_mm: float | None,
    limit_mm: float | None,
    fleet: FleetRate | None,
    ledger: Ledger,
    per_day: float | None,
    now: datetime,
) -> SideWear:
    trend = wear_trend(
        [each.hours for each in points], [each.diameter_mm for each in points], new_mm=new_mm, fleet=fleet
    )
    reasons: list[str] = []
    if limit_mm is None:
        forecast = LimitForecast(None, None, None, ())
        reasons.append(_("The model states no limit diameter: no date can be told."))
    else:
        forecast = limit_forecast(trend, limit_mm)
    reasons.extend(forecast.reasons or trend.reasons)
    if n_left_out:
        reasons.append(_("%(n)s readings are left out: their running hours are not known.") % {"n": n_left_out})
    days = {}
    if per_day is None:
        if forecast.early_h is not None:
            reasons.append(_("The running hours of the last weeks are not known: hours cannot be turned into a date."))
    else:
        ran = ledger.hours(since, now)
        so_far = ran.running_h / ran.coverage if ran.coverage >= LEAST_COVERAGE else None
        if so_far is None:
            reasons.append(_("Too few running hours are known since the rollers were new."))
        else:
            for name in ("early_h", "at_h", "late_h"):
                hours = getattr(forecast, name)
                if hours is not None:
                    days[name] = (now + timedelta(days=min((hours - so_far) / per_day, 3650))).date()
    return SideWear(
        side=side,
        label=str(Side(side).label),
        since=since,
        since_words=words,
        points=tuple(points),
        n_left_out=n_left_out,
        trend=trend,
        forecast=forecast,
        limit_on=days.get("at_h"),
        early_on=days.get("early_h"),
        late_on=days.get("late_h"),
        reasons=tuple(dict.fromkeys(reasons)),
    )


def pulled_forward(due: DueDate, wear: DeviceWear | None, today: date) -> DueDate:
    """The same check, due no later than the day on which a roller may be at its limit.

    Taken is the early edge of the forecast's band: waiting for the middle would be late every second time.
    """
    early_on = wear.early_on if wear is not None else None
    if early_on is None or due.due_on is None or due.opens_on is None or due.closes_on is None:
        return due
    day = max(early_on, today)
    if day >= due.due_on:
        return due
    shift = due.due_on - day
    words = _("wear: a sensor roller may be at its limit on %(day)s; by plan on %(plan)s") % {
        "day": early_on.isoformat(),
        "plan": due.due_on.isoformat(),
    }
    return replace(due, due_on=day, opens_on=due.opens_on - shift, closes_on=due.closes_on - shift, reason=words)
