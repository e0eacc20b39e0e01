"""Columns of the list of a plant's own words."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.import_columns import Column, ColumnKind
from plant.calc.own_words import NO, NOTHING, SHARED, YES, about_heads, about_of
from plant.models import PlantWord
from plant.services.import_subjects.shape import ImportSubject, import_subjects
from plant.tables.columns import MomentColumn, RegisterTable


def places_of() -> dict[str, tuple[ImportSubject, Column | None]]:
    """What each name means under which words are kept: a kind of rows, and the field unless it is its columns."""
    places: dict[str, tuple[ImportSubject, Column | None]] = {}
    for subject in import_subjects():
        places[about_heads(subject.name)] = (subject, None)
        for column in subject.columns:
            places.setdefault(about_of(subject.name, column), (subject, column))
    return places


class OwnWordTable(RegisterTable):
    written = tables.Column(verbose_name=gettext_lazy("Word in files"))
    means = tables.Column(verbose_name=gettext_lazy("Stands for"), empty_values=(), orderable=False)
    about = tables.Column(verbose_name=gettext_lazy("Where"))
    created_at = MomentColumn(verbose_name=gettext_lazy("Said"))
    by = tables.Column(verbose_name=gettext_lazy("By"), accessor="created_by__username", default="")
    forget = tables.Column(verbose_name="", empty_values=(), orderable=False, exclude_from_export=True)

    class Meta:
        model = PlantWord
        fields = ()
        order_by = ("about", "written")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.places = places_of()
        super().__init__(*args, **kwargs)

    def render_about(self, value: str) -> str:
        subject, column = self.places.get(value, (None, None))
        if subject is None:
            return value
        if column is None:
            return _("name of a column, %(rows)s") % {"rows": subject.label}
        if column.kind is ColumnKind.CONVEYOR or column.name in SHARED:
            return str(column.label)
        return _("%(field)s, %(rows)s") % {"field": column.label, "rows": subject.label}

    def render_means(self, record: PlantWord) -> str:
        return self.meaning_of(record)

    def value_means(self, record: PlantWord) -> str:
        return self.meaning_of(record)

    def meaning_of(self, word: PlantWord) -> str:
        """What it stands for, as people call it."""
        subject, column = self.places.get(word.about, (None, None))
        means = word.stands_for
        if subject is None:
            return means
        if column is None:
            named = next((each for each in subject.columns if each.name == means), None)
            return str(named.label) if named is not None else _("not used")
        if means == NOTHING:
            return _("nothing: the cell is left empty")
        if column.kind is ColumnKind.YES_NO:
            return {YES: _("yes"), NO: _("no")}.get(means, means)
        return str(next(iter(column.choices.get(means, ())), means))

    def render_forget(self, record: PlantWord) -> str:
        words = _("Forget what “%(word)s” stands for") % {"word": record.written}
        address = reverse("own-word-forget", args=[record.pk])
        return format_html('<a href="{}" aria-label="{}">{}</a>', address, words, _("forget"))
