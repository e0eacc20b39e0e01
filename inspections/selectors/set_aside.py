"""Entries of phones that could not be settled, as they were typed."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from inspections.models import (
    ReadingField,
    SetAside,
    Task,
)
from plant.models import Plant


def set_aside_at(plant: Plant) -> QuerySet[SetAside]:
    """What phones could not get into the book and nobody has settled."""
    rows = SetAside.objects.of_plant(plant).open()
    return rows.select_related("installation__conveyor", "installation__device", "created_by")


# Boxes of the phone's pages that hold no reading, in the order in which they are shown; what is not named is left out.
BOXES = ("lockout_confirmed", "permit_reference", "note", "action_title", "action_due_on", "no_action_reason")
READING_BOX = re.compile(r"t(-?[0-9]{1,18})-(.{1,80})")
STAGES = ("as_found", "as_left")
TICKED = "lockout_confirmed"


@dataclass(frozen=True)
class TypedLine:
    """What was typed into one box.

    Attributes
    ----------
    box : str
        Its name, of `BOXES` or "system"; empty for a reading.
    value : str
        As it was typed; of a box that is ticked empty.
    kind, label, stage : str
        Of a reading: the kind of check and the reading, as far as the book knows them, and which of `STAGES`.
    """

    box: str
    value: str
    kind: str = ""
    label: str = ""
    stage: str = ""


def text_of(value: Any) -> str:
    """A value as text that a page can hold: a half of a pair of characters becomes a question mark."""
    return str(value).encode(errors="replace").decode()


def typed_lines(row: SetAside) -> list[TypedLine]:
    """What was typed, line by line, as far as the text can be read; it is never asked more of than that."""
    try:
        told = json.loads(row.content)
        given = {
            name: text_of(", ".join(map(str, each)) if isinstance(each, list) else each)
            for name, each in told["fields"].items()
        }
        lines = [TypedLine("system", text_of(told["system"]))] if told.get("system") else []
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return []
    lines += [TypedLine(name, "" if name == TICKED else given[name]) for name in BOXES if given.get(name)]
    boxes = [(found[1], found[2], given[name]) for name in given if (found := READING_BOX.fullmatch(name))]
    tasks = Task.objects.filter(installation=row.installation, pk__in={int(pk) for pk, _name, _value in boxes})
    kinds = dict(tasks.values_list("pk", "check_kind__name"))
    own = ReadingField.objects.filter(check_kind__tasks__in=tasks)
    labels = {(task, code): label for task, code, label in own.values_list("check_kind__tasks", "code", "label")}
    for pk, name, value in boxes:
        stage = next((each for each in STAGES if name.endswith(f"-{each}")), "")
        code = name.removesuffix(f"-{stage}") if stage else name
        label = labels.get((int(pk), code)) or text_of(code).replace("_", " ").replace("-", ", ")
        if value:
            lines.append(TypedLine("", value, kinds.get(int(pk), ""), label, stage))
    return lines
