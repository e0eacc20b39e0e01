"""When rollers and pivots ended, and of what."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from django.db.models.functions import Coalesce

from inspections.calc.grading import Grade
from inspections.models import (
    CheckKind,
    Reading,
    Task,
)
from inspections.selectors.tasks import pivot_changes
from inspections.selectors.wear import DIAMETERS, NEW_ROLLER_MM, readings_of
from installs.models import Installation, PartChange

# --- ends of parts ----------------------------------------------------------------------------------------------------
# Why a part was changed: failures, against one that was changed while still sound.
FAILURES = {PartChange.Why.WORN, PartChange.Why.FAILED, PartChange.Why.SEIZED}


class EndRule(StrEnum):
    """How a part ended of which nobody wrote why it was changed."""

    AT_ACT_AND_CHANGED = "part_end.at_act_and_changed"
    CHANGED_NOT_AT_ACT = "part_end.changed_not_at_act"
    SEIZED_OR_BEYOND_LIMIT = "part_end.seized_or_beyond_limit"


@dataclass(frozen=True)
class PartEnd:
    """A part that was changed, or was found failed."""

    at: datetime
    is_failure: bool
    how: str  # a `PartChange.Why` or an `EndRule`; in words `inspections.words.part_ends`


def ends_of_rollers(installations: Iterable[Installation]) -> dict[tuple[int, str], list[PartEnd]]:
    """Roller changes that were written as part changes, and those that a visit's diameters show."""
    those = list(installations)
    found: dict[tuple[int, str], list[PartEnd]] = defaultdict(list)
    changes = PartChange.objects.current().filter(installation__in=those, part=PartChange.Part.SENSOR_ROLLERS)
    for change in changes:
        for side in (change.side,) if change.side else DIAMETERS.values():
            found[change.installation_id, side].append(PartEnd(change.changed_at, change.why in FAILURES, change.why))
    at_act = set(
        Reading.objects.current()
        .as_found()
        .filter(visit__installation__in=those, code__in=DIAMETERS, grade="act")
        .values_list("visit__installation_id", "side", "visit__visited_at")
    )
    for (place, side), readings in readings_of(those).items():
        before: float | None = None
        for at, stage, value in readings:
            if stage == Reading.Stage.AS_FOUND:
                before = value
            elif before is not None and value - before > NEW_ROLLER_MM:
                known = any(abs(each.at - at) < timedelta(days=2) for each in found[place, side])
                if not known:
                    is_failure = (place, side, at) in at_act
                    how = EndRule.AT_ACT_AND_CHANGED if is_failure else EndRule.CHANGED_NOT_AT_ACT
                    found[place, side].append(PartEnd(at, is_failure, how))
    return found


def ends_of_pivots(installations: Iterable[Installation]) -> dict[tuple[int, str], list[PartEnd]]:
    """Pivots that were changed, and first findings of act: the pivot did not work then, whatever was done to it.

    A pivot that was found so and then changed failed once: its end is the finding, and the change is no second one.
    The pivot that was put in then is another one; found at act in its turn, it failed as well.
    """
    those = list(installations)
    found: dict[tuple[int, str], list[PartEnd]] = defaultdict(list)
    changed = pivot_changes(those)
    rows = (
        Task.objects.done()
        .filter(installation__in=those, check_kind__rule=CheckKind.Rule.PIVOT_FREEDOM)
        .exclude(grade="")  # done, but nothing was found by it
        .order_by("closed_at")
        .annotate(done_at=Coalesce("visit__visited_at", "closed_at"))
        .values_list("installation_id", "grade", "done_at")
    )
    act_at: dict[int, datetime] = {}  # since when the pivot that is in has been at act
    looks: dict[int, dict[datetime, str]] = defaultdict(dict)
    for place, grade, at in rows:
        looks[place][at] = grade
        if grade != Grade.ACT.value:
            act_at.pop(place, None)
            continue
        since = act_at.get(place)
        if since is None or any(since <= change.changed_at < at for change in changed[place]):
            found[place, ""].append(PartEnd(at, True, EndRule.SEIZED_OR_BEYOND_LIMIT))
        act_at[place] = at
    for place, of_place in changed.items():
        looked = looks[place]
        for change in of_place:
            last = max((at for at in looked if at <= change.changed_at), default=None)
            if last is not None and looked[last] == "act":
                continue
            found[place, ""].append(PartEnd(change.changed_at, change.why in FAILURES, change.why))
    return found


@dataclass(frozen=True)
class PartFailure:
    """A part that was found failed, and the last look before at which it was not.

    Attributes
    ----------
    sound_until : datetime or None
        When the same kind of check last found it better than act; None where nobody had looked since it was fitted.
    """

    part: str
    found_at: datetime
    sound_until: datetime | None


RULE_OF = {
    PartChange.Part.SENSOR_ROLLERS.value: CheckKind.Rule.SENSOR_WEAR,
    PartChange.Part.PIVOT.value: CheckKind.Rule.PIVOT_FREEDOM,
}


def part_failures_of(installations: Iterable[Installation]) -> dict[int, list[PartFailure]]:
    """Failures of sensor rollers and pivots, the earliest first, by installation; the same ends as in their lives.

    A look counts for the part that was in when it was made: one before the part was fitted says nothing of it.
    """
    those = list(installations)
    looks: dict[tuple[int, str], list[datetime]] = defaultdict(list)
    rows = Task.objects.done().filter(installation__in=those, check_kind__rule__in=RULE_OF.values())
    better = rows.filter(grade__in=[Grade.SOUND.value, Grade.WATCH.value])
    done_at = Coalesce("visit__visited_at", "closed_at")
    for place, rule, at in better.values_list("installation_id", "check_kind__rule", done_at):
        looks[place, rule].append(at)
    rollers, pivots = ends_of_rollers(those), ends_of_pivots(those)
    # Each end of a roller is its change; a pivot's may be a finding, and then it stays in until it is changed.
    fitted = {
        PartChange.Part.SENSOR_ROLLERS.value: {at: [end.at for end in ends] for at, ends in rollers.items()},
        PartChange.Part.PIVOT.value: {
            (place, ""): [change.changed_at for change in changes] for place, changes in pivot_changes(those).items()
        },
    }
    found: dict[int, set[PartFailure]] = defaultdict(set)
    for part, ends in (
        (PartChange.Part.SENSOR_ROLLERS.value, rollers),
        (PartChange.Part.PIVOT.value, pivots),
    ):
        for (place, side), of_place in ends.items():
            for end in of_place:
                if not end.is_failure:
                    continue
                since = max((at for at in fitted[part].get((place, side), ()) if at < end.at), default=None)
                # At the visit that changed it the part before it was found; what came after was found of this one.
                own = [at for at in looks[place, RULE_OF[part]] if at < end.at and (since is None or at > since)]
                found[place].add(PartFailure(part, end.at, max(own, default=None)))
    return {place: sorted(each, key=lambda one: (one.found_at, one.part)) for place, each in found.items()}
