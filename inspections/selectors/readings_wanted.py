"""What to read at a device for each of its checks, with the limits and with the readings before beside each."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _

from inspections.calc.findings import (
    MARK,
)
from inspections.calc.grading import Grade
from inspections.check_rules.wanted import LEFT, Wanted
from inspections.models import (
    CheckKind,
    Reading,
    ReadingField,
    Task,
)
from inspections.selectors.wear import DeviceWear, wear_of
from installs.calc.specs import DeviceSpec
from installs.models import Installation
from installs.selectors.belt_offsets import permitted_on, stations_of
from plant.calc.units import QuantityKind, UnitSystem, unit_label
from plant.calc.wording import figure

Rule = CheckKind.Rule
# What a reading can be at all, against what the model states: common practice, no source.
LEAST_OF_LIMIT, MOST_OF_NEW, MOST_OF_TARGET = 0.75, 1.05, 2.5


def readings_wanted(task: Task) -> list[Wanted]:
    """What to fill in for one check, with the reading before beside each."""
    return wanted_of([task], task.installation)[task.pk]


def wanted_of(
    tasks: Sequence[Task],
    installation: Installation,
    *,
    before: datetime | None = None,
    wear: DeviceWear | None = None,
) -> dict[int, list[Wanted]]:
    """What to fill in for each of several checks at one device; the readings before it in one query.

    With the device's own wear a diameter far off its trend is asked back.
    """
    known = readings_before(installation, {task.check_kind_id for task in tasks}, before=before)
    own = list(
        ReadingField.objects.filter(
            check_kind__in={task.check_kind_id for task in tasks if task.check_kind.rule == Rule.LIMITS}
        )
    )
    wanted = {}
    for task in tasks:
        before_it = {code: row for (kind_id, code), row in known.items() if kind_id == task.check_kind_id}
        fields = [each for each in own if each.check_kind_id == task.check_kind_id]
        previous = {code: row.standing for code, row in before_it.items()}
        nothing = Before()
        wanted[task.pk] = [
            replace(
                each,
                found_before=like_the_last(before_it.get(each.code, nothing).found),
                left_last=before_it.get(each.code, nothing).left_last,
            )
            for each in wanted_by_rule(task.check_kind, installation, fields, previous)
        ]
        if wear is not None and task.check_kind.rule == Rule.SENSOR_WEAR:
            wanted[task.pk] = with_trend(wanted[task.pk], wear, before or timezone.now())
    return wanted


def own_wear(tasks: Iterable[Task], installation: Installation, now: datetime) -> DeviceWear | None:
    """The wear of one device, where one of the checks reads its rollers."""
    if not any(task.check_kind.rule == Rule.SENSOR_WEAR for task in tasks):
        return None
    return wear_of([installation], now=now).get(installation.pk)


def with_trend(wanted: Iterable[Wanted], wear: DeviceWear, at: datetime) -> list[Wanted]:
    """The same with what each roller's own trend expects at a moment, and how far a reading scatters about it."""
    sides = {each.side: each for each in wear.sides if each.trend.way != "none"}
    more = []
    for each in wanted:
        side = sides.get(each.side) if each.plausible.get("quantity") == "diameter" else None
        if side is None or wear.hours_per_day is None or at < side.points[-1].at:
            more.append(each)
            continue
        last = side.points[-1]
        hours = last.hours + wear.hours_per_day * ((at - last.at) / timedelta(days=1))
        known = {"expected": round(side.trend.at(hours), 3), "sigma": round(side.trend.spread(hours), 3)}
        more.append(replace(each, plausible={**each.plausible, **known}))
    return more


@dataclass
class Before:
    """The readings of one code at the last visits, the latest first: as found, and as left."""

    found: list[Reading] = field(default_factory=list)
    left: list[Reading] = field(default_factory=list)

    @property
    def left_last(self) -> Reading | None:
        return self.left[0] if self.left else None

    @property
    def standing(self) -> Reading:
        """What it was after the last visit: as left stands for as found where there is both."""
        latest = [*self.left[:1], *self.found[:1]]
        return max(latest, key=lambda row: row.visit.visited_at)


def readings_before(
    installation: Installation, kind_ids: Collection[int], *, before: datetime | None = None, most: int = 3
) -> dict[tuple[int, str], Before]:
    """The last readings by check kind and code, `most` of each stage."""
    rows = (
        Reading.objects.current()
        .filter(visit__installation=installation, task__check_kind_id__in=kind_ids)
        .select_related("visit", "task")
        .order_by("-visit__visited_at", "-pk")
    )
    if before is not None:
        rows = rows.filter(visit__visited_at__lt=before)
    found: dict[tuple[int, str], Before] = {}
    for row in rows[:400]:
        known = found.setdefault((row.task.check_kind_id, row.code), Before())
        of_stage = known.left if row.stage == LEFT else known.found
        if len(of_stage) < most and all(each.visit_id != row.visit_id for each in of_stage):
            of_stage.append(row)
    return found


def like_the_last(rows: Sequence[Reading]) -> tuple[Reading, ...]:
    """Readings that compare with the last one: torques by another method do not, and stay out."""
    return tuple(each for each in rows if each.method == rows[0].method)


def wanted_by_rule(
    kind: CheckKind, installation: Installation, fields: list[ReadingField], previous: Mapping[str, Reading]
) -> list[Wanted]:
    spec = installation.spec
    if kind.rule == Rule.SENSOR_WEAR:
        return wanted_of_sensors(spec, previous)
    if kind.rule == Rule.PIVOT_FREEDOM:
        return wanted_of_pivot(spec, previous)
    if kind.rule == Rule.FASTENER_TORQUE:
        return wanted_of_fasteners(spec, previous)
    if kind.rule == Rule.OFFSETS:
        return wanted_of_stations(installation, previous)
    return [wanted_of_field(each, previous.get(each.code)) for each in fields]


def wanted_of_sensors(spec: DeviceSpec, previous: Mapping[str, Reading]) -> list[Wanted]:
    new, limit = spec.sensor_new_mm, spec.sensor_limit_mm
    is_stated = new is not None and limit is not None
    bounds = {"low": LEAST_OF_LIMIT * (limit or 0.0), "high": MOST_OF_NEW * (new or 0.0)} if is_stated else {}
    states = (("round", _("round, turns")), ("flat_spot", _("flat spot")), ("seized", _("does not turn")))
    wanted = []
    for side, name in (("drive", _("Drive side")), ("off", _("Off side"))):
        last = previous.get(f"{side}_diameter")
        wanted.append(
            Wanted(
                code=f"{side}_diameter",
                label=name,
                form="number",
                quantity=QuantityKind.LENGTH_MM.value,
                side=side,
                asks_as_left=True,
                limits={"new_mm": new, "limit_mm": limit},
                plausible={"quantity": "diameter", "previous": last.value if last else None, **bounds},
                previous=last,
            )
        )
    for side, name in (("drive", _("Drive side roller")), ("off", _("Off side roller"))):
        code = f"{side}_state"
        wanted.append(
            Wanted(code=code, label=name, form="choice", side=side, options=states, previous=previous.get(code))
        )
    return wanted


def wanted_of_pivot(spec: DeviceSpec, previous: Mapping[str, Reading]) -> list[Wanted]:
    states = (("free", _("free")), ("stiff", _("stiff")), ("seized", _("seized")))
    limit = spec.breakaway_limit_n
    return [
        Wanted(
            code="pivot",
            label=_("Pivot"),
            form="choice",
            options=states,
            required=True,
            previous=previous.get("pivot"),
        ),
        Wanted(
            code="breakaway",
            label=_("Breakaway force"),
            form="number",
            quantity=QuantityKind.FORCE_N.value,
            limits={"limit_n": limit},
            previous=previous.get("breakaway"),
        ),
    ]


def wanted_of_fasteners(spec: DeviceSpec, previous: Mapping[str, Reading]) -> list[Wanted]:
    wanted = []
    for group in spec.fasteners:
        for n in range(1, group.count + 1):
            code = f"{slugify(group.place).replace('-', '_')[:50] or 'fastener'}_{n}"
            bounds = {"high": MOST_OF_TARGET * group.torque_nm, "low": 0} if group.torque_nm else {}
            wanted.append(
                Wanted(
                    code=code,
                    label=f"{group.place} {n}" if group.count > 1 else group.place,
                    form="number",
                    quantity=QuantityKind.TORQUE_NM.value,
                    asks_as_left=True,
                    limits={"target_nm": group.torque_nm, "tolerance_pct": group.tolerance_pct},
                    plausible={"quantity": "torque", **bounds},
                    previous=previous.get(code),
                )
            )
    return [*wanted, *map(wanted_mark, wanted)]


def wanted_mark(torque: Wanted) -> Wanted:
    """The witness mark of a fastener: a nut that turned is a finding of its own, whatever torque it shows."""
    return Wanted(
        code=f"{torque.code}{MARK}",
        label=_("%(fastener)s, witness mark") % {"fastener": torque.label},
        form="choice",
        options=(("in_line", _("in line")), ("rotated", _("turned past it"))),
    )


def wanted_of_stations(installation: Installation, previous: Mapping[str, Reading]) -> list[Wanted]:
    """Each station of the survey, empty and loaded."""
    permitted_mm = permitted_on(installation.conveyor)
    wanted = []
    for at in stations_of(installation):
        for load, words in (("empty", _("empty")), ("loaded", _("loaded"))):
            code = station_code(at, load)
            wanted.append(
                Wanted(
                    code=code,
                    label=f"{figure(at)} m, {words}",
                    form="number",
                    quantity=QuantityKind.LENGTH_MM.value,
                    is_signed=True,
                    limits={"permitted_mm": permitted_mm},
                    plausible={
                        "quantity": "other",
                        "unit": "mm",
                        "low": 0,
                        "high": installation.conveyor.belt_width_mm,
                    },
                    previous=previous.get(code),
                )
            )
    return wanted


def station_code(chainage_m: float, load: str) -> str:
    return f"at_{f'{chainage_m:g}'.replace('.', '_')}_{load}"


def wanted_of_field(each: ReadingField, last: Reading | None) -> Wanted:
    if each.form == ReadingField.Form.NUMBER:
        unit = unit_label(QuantityKind(each.quantity), UnitSystem.METRIC)
        return Wanted(
            code=each.code,
            label=each.label,
            form="number",
            quantity=each.quantity,
            asks_as_left=each.asks_as_left,
            required=each.is_required,
            limits={
                "watch_low": each.watch_below,
                "watch_high": each.watch_above,
                "act_low": each.act_below,
                "act_high": each.act_above,
                "unit": unit,
            },
            plausible={"quantity": "other", "unit": unit, "previous": last.value if last else None},
            previous=last,
        )
    answers = each.choices or [{"value": "yes", "label": _("yes")}, {"value": "no", "label": _("no")}]
    return Wanted(
        code=each.code,
        label=each.label,
        form="choice",
        asks_as_left=each.asks_as_left,
        required=each.is_required,
        options=tuple((str(one["value"]), str(one.get("label") or one["value"])) for one in answers),
        limits={"grades": {str(one["value"]): str(one.get("grade") or "") for one in answers}},
        previous=last,
    )


def times_running(installation: Installation, kind_id: int, *, besides: int | None = None) -> int:
    """How often a kind of check said act at this place since it last did not; `besides` is a task left out."""
    done = Task.objects.read().filter(installation=installation, check_kind=kind_id)
    if besides is not None:
        done = done.exclude(pk=besides)
    grades = done.order_by("-closed_at", "-pk").values_list("grade", flat=True)[:50]
    return sum(1 for _grade in itertools.takewhile(lambda grade: grade == Grade.ACT.value, grades))


def chosen_check(installation: Installation, kind: CheckKind, on: date) -> Task:
    """A check that nobody asked for, as the pages show it: no row stands for it before it was done."""
    return Task(
        pk=-kind.pk,
        plant=installation.plant,
        installation=installation,
        check_kind=kind,
        origin=Task.Origin.BY_HAND,
        due_on=on,
        opens_on=on,
        closes_on=on,
    )
