"""Reads for comparisons: windows, counts and running hours of every installation, gathered belt by belt.

`studies_of` asks the data base the same few questions whatever the number of installations; `study_of` the same for
one. Each result says what was left out and why.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import Q

from inspections.selectors.part_ends import PartFailure, part_failures_of
from installs.calc.effect_zones import Zone, detectors_in, overlaps, union
from installs.models import Installation
from installs.selectors.installations import zones_of
from plant.calc.rates import Rate, RateRatio, compare_each, rate_with_interval
from plant.calc.reasons import Reason
from plant.calc.running_hours import Exposure
from plant.models import Conveyor, Plant
from reports.calc.smallest_change import SmallestChange, smallest_change
from reports.calc.study_windows import Cut, StudyWindows, Window, WindowRule, lay_windows, settling_end
from reports.calc.verdicts import EffectVerdict, Judgement, VerdictRules, judge
from reports.models import StudyNote, StudyWindow
from reports.selectors.belts import Belt, belts_of, incidents_url
from reports.selectors.kept_effect import kept_reference
from reports.selectors.reference_groups import (
    Answers,
    Reference,
    answers_of,
    reference_of,
)

BEFORE_MONTHS = 12
# Devices whose zones overlap and that were fitted within so many days are one act and judged as one; own rule.
GROUP_DAYS = 60


@dataclass(frozen=True)
class StudySide:
    """One side of a comparison."""

    window: Window
    n: int
    exposure: Exposure
    rate: Rate
    n_unknown_hours: int  # in the zone, at a time whose running hours are not known: left out
    n_without_place: int  # on the strand or on none, at no known chainage: left out
    n_without_time: int  # in the zone, on a day that an edge of the window cuts, at no known time: left out
    url: str

    @property
    def hours(self) -> float:
        return self.exposure.running_h


@dataclass(frozen=True)
class TimeLeftOut:
    """Time that is in neither window, with what it held and why it is left out."""

    window: Window
    n: int
    running_h: float
    reason: Reason


@dataclass(frozen=True)
class Study:
    """The comparison of one installation, or of several that are judged as one."""

    members: tuple[Installation, ...]
    belt: Belt
    zones: tuple[Zone, ...]
    windows: StudyWindows
    before: StudySide
    after: StudySide
    left_out: tuple[TimeLeftOut, ...]
    n_detectors: int
    ratio: RateRatio
    judgement: Judgement
    rules: VerdictRules
    chosen: StudyWindow | None
    neighbours: tuple[Installation, ...]  # zones overlap, yet they are not judged along
    now: dt.datetime
    answers: Answers | None = None
    failure: PartFailure | None = None  # the first of a part in the window after, as it was run
    sound: Study | None = None  # the same comparison with the window after cut where the part was last found sound

    @property
    def installation(self) -> Installation:
        return self.members[0]

    @property
    def conveyor(self) -> Conveyor:
        return self.belt.conveyor

    @property
    def verdict(self) -> EffectVerdict:
        return self.judgement.verdict

    @property
    def is_standing(self) -> bool:
        """One of the devices at least stood in its place at the moment of the comparison."""
        return any(each.removed_at is None or each.removed_at > self.now for each in self.members)

    @property
    def is_whole(self) -> bool:
        """All of the devices stood in their places then."""
        return all(each.removed_at is None or each.removed_at > self.now for each in self.members)

    @property
    def is_closed(self) -> bool:
        """No further hours will come: a cut or a removal ended the window after."""
        return self.windows.after.end < self.now


def devices_in(studies: Iterable[Study]) -> int:
    """How many devices are compared; one that was moved has a comparison at each of its places and counts once."""
    return len({each.device_id for one in studies for each in one.members})


def rules_of(plant: Plant) -> VerdictRules:
    """The plant's numbers as the verdict takes them."""
    return VerdictRules(
        least_coverage=plant.least_coverage_pct / 100.0,
        # A margin that does not enclose 1 would call no change a change; the nearest one that does is taken.
        margin=(min(plant.margin_low, 0.99), max(plant.margin_high, 1.01)),
    )


def chosen_windows(installations: Iterable[Installation], at: dt.datetime | None = None) -> dict[int, StudyWindow]:
    """The engineer's window of each installation, where there is one; the latest counts.

    With a moment, the windows that held then: what was set or taken back later had not been.
    """
    rows = StudyWindow.objects.filter(installation__in=list(installations), is_withdrawn=False)
    if at is None:
        rows = rows.current()
    else:
        later = Q(corrected_by__isnull=True) | Q(corrected_by__created_at__gte=at)
        rows = rows.filter(later, created_at__lt=at)
    rows = rows.select_related("created_by")
    return {row.installation_id: row for row in rows.order_by("created_at", "pk")}


# --- who is judged with whom ------------------------------------------------------------------------------------------
def switches_in(belt: Belt, zones: Sequence[Zone]) -> int:
    """Drift switches in the zones that stand there."""
    return len(detectors_in(zones, [each.chainage_m for each in belt.standing_switches]))


def stations_in(belt: Belt, strand: str, zones: Sequence[Zone], windows: StudyWindows) -> int:
    """Stations in the zones that people logged on both sides of the comparison, from its first day to its last."""
    zone = belt.conveyor.plant.zone
    first, last = (
        at.astimezone(zone).date() for at in (windows.before.start, windows.after.end - dt.timedelta(seconds=1))
    )
    logged = [
        each.chainage_m
        for each in belt.stations
        if each.strand == strand and each.from_on <= first and (each.to_on is None or each.to_on >= last)
    ]
    return len(detectors_in(zones, logged))


def share_a_stretch(one: Installation, other: Installation) -> bool:
    return one.strand == other.strand and any(overlaps((a, b)) for a in zones_of(one) for b in zones_of(other))


def stood_together(one: Installation, other: Installation) -> bool:
    return (one.removed_at is None or other.installed_at < one.removed_at) and (
        other.removed_at is None or one.installed_at < other.removed_at
    )


def group_of(installation: Installation, belt: Belt) -> tuple[Installation, ...]:
    """Devices that are judged as one with this one, itself among them, by chainage.

    Their zones overlap, directly or through others, they were fitted within `GROUP_DAYS` of each other, and a drift
    switch stands in the zone of each: a device whose stretch nobody sees is judged alone (it cannot be).
    """
    seen = [each for each in belt.installations if switches_in(belt, zones_of(each))]
    group = [installation]
    if not any(each.pk == installation.pk for each in seen):
        return (installation,)
    for member in group:  # grows while it is walked, so that chains of overlaps end as one group
        for other in seen:
            if any(other.pk == each.pk for each in group):
                continue
            days_apart = abs(other.installed_at - member.installed_at) / dt.timedelta(days=1)
            if days_apart <= GROUP_DAYS and stood_together(member, other) and share_a_stretch(member, other):
                group.append(other)
    return tuple(sorted(group, key=lambda each: (each.chainage_m, each.pk)))


def cuts_of(belt: Belt, members: Sequence[Installation]) -> tuple[list[Cut], list[Installation]]:
    """Other changes that end a comparison: work on the belt, devices whose zones overlap, out of service."""
    cuts = [
        Cut(
            change.changed_at,
            Reason(WindowRule.WORK, {"kind": change.get_kind_display(), "description": change.description}),
        )
        for change in belt.changes
        if change.cuts_comparison
    ]
    own = {each.pk for each in members}
    for each in members:
        # No effect is claimed for a device that stands still, nor for what it does after.
        for spell in each.out_of_service.all():
            told = {"number": each.device.number, "reason": spell.reason}
            cuts.append(Cut(spell.begins_at, Reason(WindowRule.OUT_OF_SERVICE, told)))
    first = min(each.installed_at for each in members)
    neighbours = []
    for other in belt.installations:
        if other.pk in own or not any(share_a_stretch(other, each) for each in members):
            continue
        neighbours.append(other)
        known = {"number": other.device.number}
        # Fitted together with these, yet not judged along (no switch there): part of the same act, no cut.
        if abs(other.installed_at - first) > dt.timedelta(days=GROUP_DAYS):
            cuts.append(Cut(other.installed_at, Reason(WindowRule.OVERLAPPING_FITTED, known)))
        if other.removed_at is not None:
            cuts.append(Cut(other.removed_at, Reason(WindowRule.OVERLAPPING_REMOVED, known)))
    return cuts, neighbours


def side_of(belt: Belt, strand: str, zones: Sequence[Zone], window: Window, level: float) -> StudySide:
    incidents, exposure = belt.incidents, belt.ledger.hours(window.start, window.end)
    then = incidents.within(window)
    here = then & incidents.in_zones(strand, zones)
    n = int(np.count_nonzero(here & incidents.is_covered))
    return StudySide(
        window=window,
        n=n,
        exposure=exposure,
        rate=rate_with_interval(n, exposure.running_h, level=level),
        n_unknown_hours=int(np.count_nonzero(here & ~incidents.is_covered)),
        n_without_place=int(np.count_nonzero(then & incidents.without_place(strand))),
        n_without_time=int(np.count_nonzero(incidents.cut_by(window) & incidents.in_zones(strand, zones))),
        url=incidents_url(belt.conveyor, window, strand, zones),
    )


@dataclass(frozen=True, eq=False)
class Sides:
    """What one comparison counts, before it is judged."""

    members: tuple[Installation, ...]
    belt: Belt
    chosen: StudyWindow | None
    now: dt.datetime
    zones: tuple[Zone, ...]
    windows: StudyWindows
    uncut: StudyWindows
    neighbours: tuple[Installation, ...]
    before: StudySide
    after: StudySide

    @property
    def counts(self) -> tuple[int, float, int, float]:
        return self.before.n, self.before.hours, self.after.n, self.after.hours


def sides_of(
    members: Sequence[Installation],
    belt: Belt,
    *,
    chosen: StudyWindow | None,
    now: dt.datetime,
    sound_until: dt.datetime | None = None,
    settled_at: dt.datetime | None = None,
) -> Sides:
    """Both windows of one installation or group, with incidents and hours.

    `settled_at` is `settled_of` of these, where it is known already.
    """
    strand = members[0].strand
    zones = union(zone for each in members for zone in zones_of(each))
    cuts, neighbours = cuts_of(belt, members)
    if sound_until is not None:
        cuts.append(Cut(sound_until, Reason(WindowRule.LAST_SOUND)))
    settled_at = settled_at or settled_of(members, belt)
    windows, uncut = windows_of(members, chosen=chosen, cuts=cuts, now=now, settled_at=settled_at)
    level = rules_of(members[0].plant).level
    before, after = (side_of(belt, strand, zones, window, level) for window in (windows.before, windows.after))
    return Sides(tuple(members), belt, chosen, now, zones, windows, uncut, tuple(neighbours), before, after)


def ratios_of(sides: Sequence[Sides]) -> list[RateRatio]:
    """The ratio of each of several comparisons of one plant."""
    if not sides:
        return []
    return compare_each([each.counts for each in sides], level=rules_of(sides[0].members[0].plant).level)


def study(
    members: Sequence[Installation],
    belt: Belt,
    *,
    chosen: StudyWindow | None,
    now: dt.datetime,
    reference: Reference | None = None,
    failures: Mapping[int, Sequence[PartFailure]] | None = None,
    sound_until: dt.datetime | None = None,
) -> Study:
    """The comparison of one installation or group on a belt that was gathered before.

    Without a reference the counts stand alone; with one they must agree with what the rest of the plant tells. With the
    failures of parts by installation the answer while the parts were sound stands beside the one as it was run.
    """
    sides = sides_of(members, belt, chosen=chosen, now=now, sound_until=sound_until)
    return judged(sides, ratios_of([sides])[0], reference, failures)


def judged(
    sides: Sides,
    ratio: RateRatio,
    reference: Reference | None = None,
    failures: Mapping[int, Sequence[PartFailure]] | None = None,
) -> Study:
    """The comparison of what was counted."""
    members, belt, chosen, now = sides.members, sides.belt, sides.chosen, sides.now
    before, after, windows, zones = sides.before, sides.after, sides.windows, sides.zones
    strand, rules = members[0].strand, rules_of(members[0].plant)
    n_detectors = switches_in(belt, zones) + stations_in(belt, strand, zones, windows)
    answers = None
    if reference is not None:
        answers = answers_of(belt, strand, zones, before, after, reference, rules.level)
    failure = first_failure(members, windows.after, failures or {})
    sound = None
    if failure is not None and failure.sound_until is not None and failure.sound_until > windows.after.start:
        sound = study(members, belt, chosen=chosen, now=now, reference=reference, sound_until=failure.sound_until)
    return Study(
        members=members,
        belt=belt,
        zones=zones,
        windows=windows,
        before=before,
        after=after,
        left_out=left_out_of(members, belt, zones, windows, sides.uncut, chosen, now),
        n_detectors=n_detectors,
        ratio=ratio,
        judgement=judge(
            ratio,
            coverage_before=coverage_of(before),
            coverage_after=coverage_of(after),
            n_detectors=n_detectors,
            rules=rules,
            spells=answers.spells if answers else None,
            shrunk=answers.shrunk if answers else None,
            compared=answers.compared if answers else None,
        ),
        rules=rules,
        chosen=chosen,
        neighbours=sides.neighbours,
        now=now,
        answers=answers,
        failure=failure,
        sound=sound,
    )


def settled_of(members: Sequence[Installation], belt: Belt) -> dt.datetime:
    """When these devices had settled in."""
    plant, last = members[0].plant, max(each.installed_at for each in members)
    return settling_end(last, days=plant.settling_in_days, running_h=plant.settling_in_h, ledger=belt.ledger)


def windows_of(
    members: Sequence[Installation],
    *,
    chosen: StudyWindow | None,
    cuts: Sequence[Cut],
    now: dt.datetime,
    settled_at: dt.datetime,
) -> tuple[StudyWindows, StudyWindows]:
    """The windows of one comparison by the rule, or as an engineer chose them: shortened by these cuts, and without."""
    tz = members[0].plant.zone
    first = min(each.installed_at for each in members)
    until = min([now, *(each.removed_at for each in members if each.removed_at is not None)])
    after_from = None
    before_months = BEFORE_MONTHS
    if chosen is not None:
        before_months = chosen.before_months
        if chosen.after_from is not None:
            after_from = start_of_day(chosen.after_from, tz)
        if chosen.after_until is not None:
            until = min(until, start_of_day(chosen.after_until + dt.timedelta(days=1), tz))
    shortened, uncut = (
        lay_windows(
            first_installed_at=first,
            settled_at=settled_at,
            until=until,
            before_months=before_months,
            cuts=each,
            tz=tz,
            after_from=after_from,
        )
        for each in (cuts, ())
    )
    return shortened, uncut


def first_failure(
    members: Sequence[Installation], after: Window, failures: Mapping[int, Sequence[PartFailure]]
) -> PartFailure | None:
    """The first part of these devices that was found failed in the window after."""
    found = [one for each in members for one in failures.get(each.pk, ()) if after.start < one.found_at < after.end]
    return min(found, key=lambda one: one.found_at, default=None)


def start_of_day(day: dt.date, tz: dt.tzinfo) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(), tzinfo=tz).astimezone(dt.UTC)


def coverage_of(side: StudySide) -> float:
    """Of an empty window nothing is unknown: too early then, not badly kept books."""
    return 1.0 if side.window.is_empty else side.exposure.coverage


def left_out_of(
    members: Sequence[Installation],
    belt: Belt,
    zones: Sequence[Zone],
    windows: StudyWindows,
    uncut: StudyWindows,
    chosen: StudyWindow | None,
    now: dt.datetime,
) -> tuple[TimeLeftOut, ...]:
    """Stretches of time in neither window."""
    plant, strand = members[0].plant, members[0].strand
    is_start_set = chosen is not None and chosen.after_from is not None
    is_removed = any(each.removed_at is not None for each in members)
    rows: list[tuple[Window, Reason]] = []
    for cut in windows.cuts:
        if cut.side == "before":
            lost = Window(uncut.before.start, windows.before.start)
            rows.append((lost, Reason(WindowRule.BEFORE_A_CHANGE, {"change": cut.what})))
    settling = Reason(WindowRule.SETTLING_IN, {"days": plant.settling_in_days, "running_h": plant.settling_in_h})
    rows.append((windows.settling, Reason(WindowRule.BEFORE_THE_SET_WINDOW) if is_start_set else settling))
    for cut in windows.cuts:
        if cut.side == "after":
            lost = Window(windows.after.end, max(uncut.after.end, windows.after.end))
            rows.append((lost, Reason(WindowRule.AFTER_A_CHANGE, {"change": cut.what})))
    if uncut.after.end < now:
        rule = WindowRule.AFTER_THE_REMOVAL if is_removed else WindowRule.AFTER_THE_SET_WINDOW
        rows.append((Window(uncut.after.end, now), Reason(rule)))
    found = []
    for window, reason in rows:
        if window.is_empty:
            continue
        side = side_of(belt, strand, zones, window, 0.95)
        found.append(TimeLeftOut(window, side.n, side.hours, reason))
    return tuple(found)


def study_of(
    installation: Installation, now: dt.datetime, reference: Reference | None = None, belt: Belt | None = None
) -> Study:
    """The comparison of one installation, with those that are judged as one with it.

    A page gives the reference and the belt that it has at hand; without them it is true to the book of this moment.
    """
    belt = belt or belts_of([installation.conveyor])[installation.conveyor_id]
    members = group_of(next(each for each in belt.installations if each.pk == installation.pk), belt)
    return study(
        members,
        belt,
        chosen=latest_choice(members, chosen_windows(members)),
        now=now,
        reference=reference or reference_for(installation.plant, now),
        failures=part_failures_of(members),
    )


def reference_for(plant: Plant, now: dt.datetime, belts: Sequence[Belt] | None = None) -> Reference:
    """The plant's stretches without a device, true to the book: as they are kept where that holds, else gathered."""
    return kept_reference(plant, now) or gather_reference(plant, now, belts)


def gather_reference(plant: Plant, now: dt.datetime, belts: Sequence[Belt] | None = None) -> Reference:
    """The plant's stretches without a device, from the rows."""
    if belts is None:
        belts = tuple(
            belts_of(Conveyor.objects.of_plant(plant).select_related("area", "plant").order_by("tag")).values()
        )
    return reference_of([each.as_of(now) for each in belts], now)


def latest_choice(members: Sequence[Installation], chosen: dict[int, StudyWindow]) -> StudyWindow | None:
    found = [chosen[each.pk] for each in members if each.pk in chosen]
    return max(found, key=lambda row: row.created_at) if found else None


def notes_of(one: Study) -> Any:
    """Notes on a comparison, or on any of those judged as one; newest first."""
    return StudyNote.objects.current().filter(installation__in=one.members).select_related("created_by")


def smallest_change_of(one: Study) -> SmallestChange:
    """What the comparison would have shown with these incidents before and these hours, bad spells taken in."""
    dispersion = one.answers.spells.widening if one.answers else 1.0
    return smallest_change(
        one.before.n, one.before.hours, one.after.hours, dispersion=dispersion, level=one.rules.level
    )


def by_the_rule(one: Study, reference: Reference | None = None) -> Study:
    """The same comparison with the windows of the rule, where an engineer set others."""
    reference = reference or reference_for(one.conveyor.plant, one.now)
    return study(one.members, one.belt, chosen=None, now=one.now, reference=reference)


@dataclass(frozen=True, eq=False)
class Book:
    """Every belt of a plant with what comparisons need, and every comparison."""

    plant: Plant
    now: dt.datetime
    belts: tuple[Belt, ...]
    studies: tuple[Study, ...]
    reference: Reference

    def changed_since(self, then: dt.datetime) -> list[tuple[Study, Study]]:
        """Comparisons whose verdict is another one than it was then: (now, then). No further query."""
        pairs = []
        for one in self.studies:
            if max(each.installed_at for each in one.members) >= then:
                continue
            earlier = study(one.members, one.belt, chosen=one.chosen, now=then, reference=self.reference)
            if earlier.verdict != one.verdict:
                pairs.append((one, earlier))
        return pairs


def book_of(plant: Plant, now: dt.datetime) -> Book:
    """Comparisons of a plant as it stood at a moment, groups once, by tag and chainage; a fixed number of queries.

    Incidents and hours are those that the book holds today, also where they were entered later; devices, switches and
    windows set by a person are those of that moment.
    """
    known = belts_of(Conveyor.objects.of_plant(plant).select_related("area", "plant").order_by("tag"))
    belts = tuple(each.as_of(now) for each in known.values())
    chosen = chosen_windows((each for belt in belts for each in belt.installations), at=now)
    reference = reference_for(plant, now, belts)
    failures = part_failures_of(each for belt in belts for each in belt.installations)
    counted: list[Sides] = []
    seen: set[int] = set()
    for belt in belts:
        for installation in belt.installations:
            if installation.pk in seen:
                continue
            members = group_of(installation, belt)
            seen |= {each.pk for each in members}
            counted.append(sides_of(members, belt, chosen=latest_choice(members, chosen), now=now))
    ratios = ratios_of(counted)
    found = [judged(sides, ratio, reference, failures) for sides, ratio in zip(counted, ratios, strict=True)]
    return Book(plant, now, belts, tuple(found), reference)


def studies_of(plant: Plant, now: dt.datetime) -> tuple[Study, ...]:
    """Every comparison of a plant."""
    return book_of(plant, now).studies
