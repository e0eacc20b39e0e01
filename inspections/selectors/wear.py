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

from inspections.calc.due_dates import DueDate, DueRule
from inspections.calc.wear import (
    READING_ERROR_MM,
    FleetRate,
    LimitForecast,
    Since,
    WearRule,
    WearTrend,
    fit_line,
    fleet_rate,
    limit_forecast,
    wear_trend,
)
from inspections.models import Reading
from installs.models import Installation, PartChange
from plant.calc.reasons import Reason
from plant.calc.running_hours import Ledger
from plant.models import Plant, Side
from plant.selectors.running_hours import ledgers_of

DIAMETERS = {"drive_diameter": Side.DRIVE.value, "off_diameter": Side.OFF.value}
# A roller that leaves thicker than it came by more than this is a new one (common practice, no source).
NEW_ROLLER_MM = 0.5
# Readings whose running hours are known for less than this share of the time are left out (common practice).
LEAST_COVERAGE = 0.8
# Days over which the daily hours are looked back at for the date of the limit.
RECENT_DAYS = 42


@dataclass(frozen=True)
class WearPoint:
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
    since_what: Since
    points: tuple[WearPoint, ...]
    n_left_out: int
    trend: WearTrend
    forecast: LimitForecast
    limit_on: date | None
    early_on: date | None
    late_on: date | None
    reasons: tuple[Reason, ...]


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
) -> tuple[datetime, Since, list[tuple[datetime, float]]]:
    """When the roller was new, how that is known, and the diameters since then."""
    since, what = installation.installed_at, Since.INSTALLATION
    before: float | None = None
    for at, stage, value in readings:
        if stage == Reading.Stage.AS_FOUND:
            before = value
        elif before is not None and value - before > NEW_ROLLER_MM:
            since, what = at, Since.VISIT
    latest = max(changes, default=None)
    if latest is not None and latest >= since:
        since, what = latest, Since.PART_CHANGE
    # At the very visit only what was left counts: what was found belongs to the old roller.
    kept = [
        (at, value) for at, stage, value in readings if at > since or (at == since and stage != Reading.Stage.AS_FOUND)
    ]
    as_left = {at for at, stage, _value in readings if stage != Reading.Stage.AS_FOUND and at > since}
    return since, what, [pair for pair in kept if pair[0] not in as_left] + one_each(readings, as_left)


def one_each(readings: Sequence[RawReading], visits: set[datetime]) -> list[tuple[datetime, float]]:
    """Of visits that measured as found and as left without a new roller, the reading as found."""
    return [(at, value) for at, stage, value in readings if at in visits and stage == Reading.Stage.AS_FOUND]


def points_of(
    ledger: Ledger, since: datetime, diameters: Sequence[tuple[datetime, float]]
) -> tuple[list[WearPoint], int]:
    """Readings with their running hours, and how many are left out because too few hours are known."""
    points, left_out = [], 0
    ordered = sorted(diameters)
    known = ledger.by_month([(since, max(at, since)) for at, _value in ordered])
    for (at, value), hours in zip(ordered, known, strict=True):
        if at <= since:
            points.append(WearPoint(at, 0.0, value))
        elif hours.coverage < LEAST_COVERAGE:
            left_out += 1
        else:
            points.append(WearPoint(at, hours.running_h / hours.coverage, value))
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
    ledgers = ledgers_of(each.conveyor for each in every.values())
    gathered = {}
    for each in every.values():
        for side in DIAMETERS.values():
            since, what, diameters = since_new(each, readings[each.pk, side], changes[each.pk, side])
            points, left_out = points_of(ledgers[each.conveyor_id], since, diameters)
            gathered[each.pk, side] = (since, what, points, left_out)
    fleets = fleet_rates(every, {key: points for key, (_since, _what, points, _out) in gathered.items()})
    found = {}
    for each in asked:
        new_mm, limit_mm = sensor_limits(each)
        per_day = daily_hours(ledgers[each.conveyor_id], now)
        sides = []
        for side in DIAMETERS.values():
            since, what, points, left_out = gathered[each.pk, side]
            # At a moment before the roller stood there another one did, of which its trend says nothing.
            if (points or left_out) and since <= now:
                sides.append(
                    side_wear(
                        side, since, what, points, left_out, new_mm, limit_mm,
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
    installations: Mapping[int, Installation], points: Mapping[tuple[int, str], Sequence[WearPoint]]
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
    what: Since,
    points: Sequence[WearPoint],
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
    reasons: list[Reason] = []
    if limit_mm is None:
        forecast = LimitForecast(None, None, None, ())
        reasons.append(Reason(WearRule.NO_LIMIT))
    else:
        forecast = limit_forecast(trend, limit_mm)
    reasons.extend(forecast.reasons or trend.reasons)
    if n_left_out:
        reasons.append(Reason(WearRule.LEFT_OUT, {"n": n_left_out}))
    days = {}
    if per_day is None:
        if forecast.early_h is not None:
            reasons.append(Reason(WearRule.NO_RECENT_HOURS))
    else:
        ran = ledger.hours(since, now)
        so_far = ran.running_h / ran.coverage if ran.coverage >= LEAST_COVERAGE else None
        if so_far is None:
            reasons.append(Reason(WearRule.FEW_HOURS))
        else:
            for name in ("early_h", "at_h", "late_h"):
                hours = getattr(forecast, name)
                if hours is not None:
                    days[name] = (now + timedelta(days=min((hours - so_far) / per_day, 3650))).date()
    return SideWear(
        side=side,
        label=str(Side(side).label),
        since=since,
        since_what=what,
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
    why = Reason(DueRule.WEAR, {"day": early_on, "plan": due.due_on})
    return replace(due, due_on=day, opens_on=due.opens_on - shift, closes_on=due.closes_on - shift, reason=why)
