"""Rows of readings: written with a visit, withdrawn, and carried on to the belt's own offsets."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from inspections.check_rules.kinds import rule_of
from inspections.check_rules.wanted import FOUND, LEFT, Method, Typed, reading_key
from inspections.models import (
    Reading,
    Visit,
)
from inspections.selectors.entered import Entered, tool_doubts
from inspections.selectors.wanted_tasks import local_day
from inspections.words.check_rules import label_words
from inspections.words.entered import doubt_words
from installs.models import BeltOffset
from installs.selectors.torque import deviation_of
from installs.services.belt_offsets import set_offset
from plant.models import Person


def write_readings(visit: Visit, each: Entered, by: Person, replaced: Mapping[str, Reading] | None = None) -> None:
    replaced = replaced or {}
    on = local_day(visit.visited_at, visit.plant)
    rows = []
    for wanted in each.wanted:
        for stage in (FOUND, LEFT):
            typed = each.values[stage].get(wanted.code)
            if typed is None or typed.value is None:
                continue
            graded = each.finding.parts.get(wanted.code) if stage == FOUND else None
            because = graded.reason if graded else each.finding.left.get(wanted.code) if stage == LEFT else None
            corrected = replaced.get(reading_key(each.task.pk, wanted.code, stage))
            is_torque = rule_of(each.task.check_kind).names_tool and wanted.form == "number"
            rows.append(
                Reading(
                    visit=visit,
                    task=each.task,
                    code=wanted.code,
                    label=label_words(wanted),
                    side=wanted.side,
                    stage=stage,
                    value=float(typed.value) if wanted.form == "number" else None,
                    quantity=wanted.quantity,
                    answer=str(typed.value) if wanted.form == "choice" else "",
                    typed=typed.text[:60],
                    grade=graded.grade.value if graded and graded.grade else "",
                    grade_because=because.kept() if because else {},
                    method=method_at(stage, typed) if is_torque else "",
                    instrument=typed.instrument if is_torque else None,
                    deviation_pct=deviation_of(typed.instrument) if is_torque else None,
                    doubt=kept_doubt(typed, corrected) or doubt_words(tool_doubts(typed, wanted, on), typed.tool_reason)
                    if is_torque
                    else "",
                    corrects=corrected,
                    correction_reason=visit.correction_reason if corrected else "",
                    created_by=by,
                )
            )
    Reading.objects.bulk_create(rows)


def kept_doubt(typed: Typed, corrected: Reading | None) -> str:
    """What was said of the same wrench when the reading was first entered, with the reason why it was used."""
    if corrected is None or typed.tool_reason or corrected.instrument != typed.instrument:
        return ""
    return corrected.doubt


def method_at(stage: str, typed: Typed) -> str:
    """What is left was set while tightening, however it was read as found; nothing is guessed where nobody said."""
    return Method.TIGHTENING.value if stage == LEFT and typed.method else typed.method


def write_offsets(visit: Visit, each: Entered, by: Person, *, reason: str = "") -> None:
    """Offsets of a visit also go to the belt's own rows, which the comparison before and after reads."""
    installation = visit.installation
    measured = rule_of(each.task.check_kind).belt_offsets(installation, each.values)
    if not measured:
        return
    first: Any = visit
    while first.corrects is not None:
        first = first.corrects
    for at, is_loaded, offset_mm in measured:
        set_offset(
            root=uuid.uuid5(first.client_key, f"offsets {each.task.pk}"),
            conveyor=installation.conveyor,
            strand=installation.strand,
            chainage_m=at,
            is_loaded=is_loaded,
            offset_mm=offset_mm,
            taken_at=visit.visited_at,
            occasion=BeltOffset.Occasion.FOLLOW_UP,
            by=by,
            reason=reason or visit.correction_reason,
            installation=installation,
        )


def withdraw_reading(row: Reading, fresh: Visit, by: Person) -> None:
    Reading.objects.create(
        visit=fresh,
        task=row.task,
        code=row.code,
        label=row.label,
        side=row.side,
        stage=row.stage,
        value=row.value,
        quantity=row.quantity,
        answer=row.answer,
        typed=row.typed,
        method=row.method,
        instrument=row.instrument,
        deviation_pct=row.deviation_pct,
        doubt=row.doubt,
        corrects=row,
        correction_reason=fresh.correction_reason,
        is_withdrawn=True,
        created_by=by,
    )
