"""Say what a word of the plant's own files stands for, or forget it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from plant.calc.import_cells import word_key
from plant.calc.import_columns import Column, ColumnKind
from plant.calc.import_rows import split_head
from plant.calc.own_words import LONGEST_WORD, NO, NOTHING, WORDED, YES, about_heads, about_of, head_key
from plant.errors import Refused
from plant.models import Conveyor, Plant, PlantWord
from plant.services.import_subjects.shape import ImportSubject
from plant.services.records import change_record, create_record


@dataclass(frozen=True)
class SaidWord:
    """A person's word on a word: which field it stands in, and what it stands for."""

    column: Column
    written: str
    means: str


@transaction.atomic
def say_words(*, plant: Plant, by: Any, subject: ImportSubject, said: Iterable[SaidWord]) -> int:
    """Keep what words of a plant stand for, in the place of what was said before. How many are new or other.

    Raises
    ------
    Refused
        If a field has no such choice, or the plant no such conveyor; nothing is kept then.
    """
    return sum(say_word(plant, by, subject, each) for each in said)


def say_word(plant: Plant, by: Any, subject: ImportSubject, said: SaidWord) -> bool:
    conveyor, means = None, said.means
    if said.column.kind is ColumnKind.CONVEYOR and means != NOTHING:
        conveyor, means = conveyor_meant(plant, means), ""
    else:
        check_means(said.column, means)
    return keep_word(plant, by, about_of(subject.name, said.column), said.written, means, conveyor)


def keep_word(plant: Plant, by: Any, about: str, written: str, means: str, conveyor: Conveyor | None = None) -> bool:
    """Whether it was not known so before."""
    key = word_key(written)
    if not key or max(len(written), len(key)) > LONGEST_WORD:
        raise Refused(_("“%(word)s” is no word of a list.") % {"word": written[:40]}, code="no_word")
    known = PlantWord.objects.filter(plant=plant, about=about, word_key=key).first()
    if known is None:
        create_record(
            PlantWord, by=by, plant=plant, about=about, word_key=key, written=written, means=means, conveyor=conveyor
        )
        return True
    if (known.means, known.conveyor_id) == (means, conveyor.pk if conveyor else None):
        return False
    change_record(known, by=by, version=known.version, means=means, conveyor=conveyor)
    return True


def check_means(column: Column, means: str) -> None:
    """Raises Refused where a field has no such choice."""
    offered = {YES, NO} if column.kind is ColumnKind.YES_NO else set(column.choices)
    if (
        column.kind not in WORDED
        or (means != NOTHING and means not in offered)
        or (means == NOTHING and column.required)
    ):
        words = _("“%(given)s” is no choice for %(name)s.") % {"given": means, "name": column.label}
        raise Refused(words, code="no_choice")


def conveyor_meant(plant: Plant, tag: str) -> Conveyor:
    found: Conveyor | None = Conveyor.objects.by_tag(plant, tag).first()
    if found is None:
        words = _("There is no conveyor “%(tag)s” in %(plant)s.") % {"tag": tag, "plant": plant}
        raise Refused(words, code="unknown_tag")
    return found


@transaction.atomic
def say_columns(*, plant: Plant, by: Any, subject: ImportSubject, heads: Iterable[tuple[str, str]]) -> int:
    """Keep which field a column of the plant's files fills, by its name. How many are new or other.

    Parameters
    ----------
    heads : iterable of (str, str)
        Name of the column and the field, empty where the column fills none. Columns without a name are left out.
    """
    about = about_heads(subject.name)
    named = [(split_head(head)[0], name) for head, name in heads if head_key(head)]
    short = [(head, name) for head, name in named if max(len(head), len(word_key(head))) <= LONGEST_WORD]
    return sum(keep_word(plant, by, about, head, name) for head, name in short)


@transaction.atomic
def forget_word(*, word: PlantWord, by: Any) -> None:
    """From now on it is read as if nobody had said what it stands for. Rows that were written stay."""
    word._history_user = by
    word.delete()
