"""The year under a plan as it is kept: which plan it is of, and how it is written and read back."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.core import serializers
from django.db.models import Model

from inspections.calc import workload
from inspections.models import CheckKind, CheckPlan
from inspections.selectors.backlog import SkillLoad
from inspections.selectors.plan_advice import SkillYear, WhatIf, WhatIfWeek, Year
from inspections.selectors.wanted_tasks import Undated
from installs.models import Installation
from plant.calc import codec, reasons

YEAR = "year"
# What does not move a date.
LEFT_OUT = {"client_key", "created_at", "created_by", "version"}


@dataclass(frozen=True)
class KindOfPlan:
    """What is said of a plan that may not be saved: its kind of check."""

    check_kind: CheckKind


# --- the plan that is asked about -------------------------------------------------------------------------------------
def plan_as_text(plan: CheckPlan) -> str:
    """A plan, saved or not, as a job carries it to a worker."""
    names = [each.name for each in CheckPlan._meta.concrete_fields if each.name not in LEFT_OUT]
    return str(serializers.serialize("json", [plan], fields=names))


def plan_from_text(text: str) -> CheckPlan:
    (found,) = serializers.deserialize("json", text)
    plan: Any = found.object
    assert isinstance(plan, CheckPlan)
    return plan


def part_of(plan: CheckPlan) -> str:
    """The name of the year under a plan: the same for the same plan, whoever asks."""
    return hashlib.sha256(plan_as_text(plan).encode()).hexdigest()[:24]


# --- the year ---------------------------------------------------------------------------------------------------------
CLASSES = (
    *codec.classes_in(workload),
    *codec.classes_in(reasons),
    KindOfPlan,
    SkillLoad,
    SkillYear,
    Undated,
    WhatIf,
    WhatIfWeek,
    Year,
)
KINDS: dict[type[Model], str] = {Installation: "installation", CheckKind: "kind"}


def key_of(value: Any) -> codec.RowKey | None:
    kind = KINDS.get(type(value))
    return (kind, value.pk) if kind is not None else None


def rows_of(wanted: Mapping[str, set[int]]) -> dict[codec.RowKey, Any]:
    rows: dict[str, Any] = {
        "installation": Installation.objects.select_related("conveyor", "device"),
        "kind": CheckKind.objects.all(),
    }
    return {(kind, pk): row for kind, keys in wanted.items() for pk, row in rows[kind].in_bulk(list(keys)).items()}


def year_as_text(year: WhatIf) -> str:
    known: list[Any] = list(year.undated)
    undated = [
        replace(each, plan=KindOfPlan(each.plan.check_kind), reason=reasons.reason_kept(each.reason.kept()))
        for each in known
    ]
    return codec.write(replace(year, undated=undated), CLASSES, key_of=key_of)


def year_from_text(text: str) -> WhatIf:
    found: WhatIf = codec.read(text, CLASSES, rows_of=rows_of)
    return found
