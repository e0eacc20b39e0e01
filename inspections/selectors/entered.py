"""What was entered for the checks of a visit: what is at fault, what is asked back, what each check comes to."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from inspections.calc.findings import Finding
from inspections.calc.grading import Grade
from inspections.check_rules.kinds import rule_of
from inspections.check_rules.wanted import (
    FOUND,
    LEFT,
    EntryRule,
    Typed,
    Values,
    Wanted,
    fault_of,
    question_about,
    reading_key,
)
from inspections.models import (
    Reading,
    Task,
    Visit,
)
from inspections.selectors.readings_wanted import wanted_of
from installs.selectors.torque import doubts_about
from plant.calc.reasons import NotAccepted, Reason

# What takes a torque tool out of date, of the rules by which it may be in doubt.
NOT_IN_DATE = ("retired", "never_calibrated", "out_of_calibration")


def tool_doubts(typed: Typed, each: Wanted, on: date) -> tuple[Reason, ...]:
    """Why the tool of a reading may have read wrong that day."""
    if typed.instrument is None:
        return ()
    torque = float(typed.value or 0) or each.limits.get("target_nm")
    return doubts_about(typed.instrument, torque, on) if torque else ()


def tool_faults(entered: Iterable[Entered], on: date) -> dict[str, Reason]:
    """Wrenches out of calibration that nobody says why they were used; out of range a wrench only marks the reading."""
    faults = {}
    for check in entered:
        for each in check.wanted:
            for by_code in check.values.values():
                typed = by_code.get(each.code)
                if typed is None or typed.tool_reason.strip():
                    continue
                doubts = tuple(one for one in tool_doubts(typed, each, on) if one.rule in NOT_IN_DATE)
                if doubts:
                    faults[f"t{check.task.pk}-tool_reason"] = Reason(
                        EntryRule.TOOL_IN_DOUBT, {"tool": str(typed.instrument), "doubts": doubts}
                    )
    return faults


@dataclass
class Entered:
    """One check of a visit: what was wanted, what was entered, what it comes to."""

    task: Task
    wanted: list[Wanted]
    values: Values
    finding: Finding


def take_in(
    tasks: Mapping[int, Task],
    wanted: Mapping[int, list[Wanted]],
    entries: Mapping[int, Mapping[str, Mapping[str, Any]]],
    confirmed: Collection[str],
) -> tuple[list[Entered], dict[str, Reason], dict[str, Reason]]:
    """The checks that were filled in, what is at fault by key, and what is asked back by key.

    Raises
    ------
    NotAccepted
        If a reading is given that its check does not ask for.
    """
    entered: list[Entered] = []
    faults: dict[str, Reason] = {}
    questions: dict[str, Reason] = {}
    for task_id, by_code in entries.items():
        task = tasks[task_id]
        values, wrong, asked = take_in_one(task, wanted[task_id], by_code, confirmed)
        faults.update(wrong)
        questions.update(asked)
        if not values[FOUND] and not values[LEFT]:
            continue
        missing = [each for each in wanted[task_id] if each.required and each.code not in values[FOUND]]
        for each in missing:
            faults[reading_key(task_id, each.code, FOUND)] = Reason(EntryRule.MISSING, {"label": each.label})
        if not values[FOUND] and not missing:
            first = wanted[task_id][0].code
            faults[reading_key(task_id, first, FOUND)] = Reason(EntryRule.NOTHING_AS_FOUND)
        if wrong or missing:
            continue
        try:
            entered.append(
                Entered(task, wanted[task_id], values, rule_of(task.check_kind).find(wanted[task_id], values))
            )
        except ValueError as error:
            faults[reading_key(task_id, wanted[task_id][0].code, FOUND)] = Reason(
                EntryRule.NOT_GRADED, {"why": str(error)}
            )
    return entered, faults, questions


def take_in_one(
    task: Task, wanted: list[Wanted], by_code: Mapping[str, Mapping[str, Any]], confirmed: Collection[str]
) -> tuple[Values, dict[str, Reason], dict[str, Reason]]:
    values: Values = {FOUND: {}, LEFT: {}}
    faults: dict[str, Reason] = {}
    questions: dict[str, Reason] = {}
    known = {each.code: each for each in wanted}
    for code, by_stage in by_code.items():
        each = known.get(code)
        if each is None:
            raise NotAccepted(Reason(EntryRule.NO_SUCH_READING, {"kind": str(task.check_kind), "code": code}))
        for stage, given in by_stage.items():
            typed = given if isinstance(given, Typed) else Typed(given)
            if typed.value is None or typed.value == "":
                continue
            key = reading_key(task.pk, code, stage)
            fault = fault_of(each, typed.value)
            if fault:
                faults[key] = fault
                continue
            values[stage][code] = typed
            if each.form == "number":
                asked = question_about(each, float(typed.value), stage)
                if asked and key not in confirmed:
                    questions[key] = asked
    return values, faults, questions


def at_act(entered: Iterable[Entered], questions: Mapping[str, Reason]) -> list[Entered]:
    """The checks found at act; a check with a reading in doubt has no grade yet, and so calls for nothing."""
    in_doubt = {int(key.split(":")[0]) for key in questions}
    return [each for each in entered if each.finding.grade is Grade.ACT and each.task.pk not in in_doubt]


def act_faults(to_act: Sequence[Entered], in_hand: Collection[int]) -> dict[str, Reason]:
    """What is at fault where a finding of act has no action of its own."""
    missing = [str(each.task.check_kind) for each in to_act if each.task.check_kind_id not in in_hand]
    if not missing:
        return {}
    return {"action_title": Reason(EntryRule.ACT_WITHOUT_ACTION, {"checks": ", ".join(missing)})}


def entries_of(rows: Collection[Reading]) -> dict[int, dict[str, dict[str, Typed]]]:
    entries: dict[int, dict[str, dict[str, Typed]]] = {}
    for row in rows:
        value = row.answer if row.value is None else row.value
        entries.setdefault(row.task_id, {}).setdefault(row.code, {})[row.stage] = Typed(
            value, row.typed, row.method, row.instrument
        )
    return entries


def unchanged(old: Mapping[str, Reading], entries: Mapping[int, Mapping[str, Mapping[str, Any]]]) -> set[str]:
    """Keys of readings that stay as they were: they were asked back when they were first entered."""
    same = set()
    for task_id, by_code in entries.items():
        for code, by_stage in by_code.items():
            for stage, given in by_stage.items():
                key = reading_key(task_id, code, stage)
                value = given.value if isinstance(given, Typed) else given
                if key in old and old[key].value is not None and old[key].value == value:
                    same.add(key)
    return same


def finding_at(task: Task, visit: Visit) -> Finding:
    """What the readings of one visit that count come to for a check, also by what they say together."""
    by_code = entries_of(list(Reading.objects.current().filter(visit=visit, task=task))).get(task.pk, {})
    wanted = wanted_of([task], visit.installation, before=visit.visited_at)[task.pk]
    values, _faults, _questions = take_in_one(task, wanted, by_code, ())
    return rule_of(task.check_kind).find(wanted, values)
