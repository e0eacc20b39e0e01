"""Where a person's name stands in the book, and who wrote it there: the site, or somebody who typed it.

A name stands in a row of the person's own, in texts that the site wrote, and in texts that people typed. Apps say which
texts are the site's (`register_site_text`); everything else counts as typed, and is left to people.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db.models import CharField, FileField, JSONField, Model, Q, TextField
from django.db.models.functions import Cast

from plant.calc.names import Names, holds_name, in_all_texts, without_names, without_names_in
from plant.models import KeptResult, NameRemoval, Person, Plant
from plant.models.base import PlantQuerySet, plant_id_of

# Tables with a way of their own out of the book (plant/services/names.py), and those of the framework.
NOT_SEARCHED = {"auth", "contenttypes", "sessions", "axes"}


@dataclass(frozen=True)
class SiteText:
    """A column into which the site writes, in one model or in all that have it.

    Attributes
    ----------
    column : str
    models : sequence of type
        None: every model that has the column.
    sentence : str
        What the site writes there beside what people type; None: nobody else writes there.
    people : sequence of str
        Which places of the sentence name a person.
    """

    column: str
    models: Sequence[type[Model]] | None = None
    sentence: Any = None
    people: Sequence[str] = ("who",)

    def is_of(self, model: type[Model]) -> bool:
        return self.models is None or base_of(model) in self.models

    def without(self, text: str, names: Names, instead: str) -> str:
        if self.sentence is None:
            return without_names(text, names.of_the_site, instead)
        return without_names_in(text, str(self.sentence), self.people, names.of_the_site, instead)


_site_texts: list[SiteText] = []


def register_site_text(
    column: str, *models: type[Model], sentence: Any = None, people: Sequence[str] = ("who",)
) -> None:
    """Say that the site itself writes into a column, always or with one sentence; its history too."""
    _site_texts.append(SiteText(column, models or None, sentence, people))


def names_of(person: Person) -> Names:
    return Names(person.username, person.first_name, person.last_name, person.email)


def base_of(model: type[Model]) -> type[Model]:
    """The model whose history this one keeps, else itself."""
    found: type[Model] = getattr(model, "instance_type", model)
    return found


@dataclass(frozen=True)
class TextFound:
    """A text of the book that holds one of the names."""

    model: type[Model]
    pk: Any
    column: str
    value: Any

    @property
    def is_history(self) -> bool:
        return base_of(self.model) is not self.model

    def without(self, names: Names, instead: str) -> Any:
        """The value after the site's own words were rewritten; the same where a person typed the name."""
        value = self.value
        for each in _site_texts:
            if each.column == self.column and each.is_of(self.model):
                value = in_all_texts(value, lambda text, each=each: each.without(text, names, instead))
        return value


def text_columns(model: type[Model]) -> list[Any]:
    kinds = (CharField, TextField, JSONField, FileField)
    return [each for each in model._meta.local_concrete_fields if isinstance(each, kinds) and not each.choices]


def searched_models() -> Iterator[type[Model]]:
    for model in apps.get_models(include_auto_created=True):
        is_searched = model._meta.app_label not in NOT_SEARCHED and not model._meta.proxy
        if is_searched and model not in (Person, KeptResult, NameRemoval):
            yield model


def spellings(name: str) -> set[str]:
    """How a name may stand in a column: a data base may know no case of letters beyond ASCII, and JSON may write them
    as numbers."""
    cases = {name, name.lower(), name.upper(), name.title()}
    return cases | {json.dumps(each)[1:-1] for each in cases}


def texts_with(said: Iterable[str], models: Iterable[type[Model]] | None = None) -> Iterator[TextFound]:
    """Every text of the book that holds one of the names as a whole word; a query a table."""
    names = list(said)
    wanted = {each for name in names for each in spellings(name)}
    for model in models or searched_models():
        columns = text_columns(model)
        if not columns or not wanted:
            continue
        as_text = {f"{each.attname}_as_text": Cast(each.attname, TextField()) for each in columns}
        holds = Q()
        for label in as_text:
            for each in wanted:
                holds |= Q(**{f"{label}__icontains": each})
        rows = model._base_manager.annotate(**as_text).filter(holds).order_by("pk")
        for pk, *values in rows.values_list("pk", *(each.attname for each in columns)).iterator(chunk_size=500):
            for column, value in zip(columns, values, strict=True):
                if any(holds_name(text, names) for text in texts_in(value)):
                    yield TextFound(model, pk, column.name, value)


def texts_in(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, list):
        for each in value:
            yield from texts_in(each)
    elif isinstance(value, dict):
        for name, each in value.items():
            yield str(name)
            yield from texts_in(each)


@dataclass(frozen=True)
class TypedText:
    """A text that somebody typed and in which the name may still stand: for a person to look at."""

    what: str
    label: str
    pk: int
    plant: Plant | None
    url: str
    text: str


@dataclass(frozen=True)
class NameFound:
    """Where the name of a person stands.

    Attributes
    ----------
    by_site : list of TextFound
        Written by the site; rewritten with the name.
    typed : list of TypedText
        Typed by people, as it stands now.
    n_earlier : int
        Typed texts in versions of before, which the history keeps.
    """

    by_site: list[TextFound]
    typed: list[TypedText]
    n_earlier: int


def name_found(person: Person, instead: str) -> NameFound:
    """Where the name of a person stands beside the person's own row."""
    names = names_of(person)
    by_site, typed, n_earlier = [], [], 0
    for each in texts_with(names.said):
        after = each.without(names, instead)
        if after != each.value:
            by_site.append(each)
        if any(holds_name(text, names.said) for text in texts_in(after)):
            if each.is_history:
                n_earlier += 1
            else:
                typed.append(typed_text(each))
    return NameFound(by_site, typed, n_earlier)


def typed_text(found: TextFound) -> TypedText:
    row: Any = found.model._base_manager.get(pk=found.pk)
    manager = found.model._default_manager
    plant_pk = (plant_id_of(row) if isinstance(manager.all(), PlantQuerySet) else None) or 0
    return TypedText(
        what=str(found.model._meta.verbose_name),
        label=str(found.model._meta.get_field(found.column).verbose_name),  # type: ignore[union-attr]
        pk=found.pk,
        plant=Plant.objects.filter(pk=plant_pk).first(),
        url=row.get_absolute_url() if hasattr(row, "get_absolute_url") else "",
        text=" … ".join(texts_in(found.value))[:300],
    )


def name_removals() -> list[NameRemoval]:
    """Whose name was removed, by whom and why, newest first."""
    return list(NameRemoval.objects.select_related("person", "by"))


def may_have_left() -> list[Person]:
    """People who cannot sign in any more and still have their name."""
    return list(Person.objects.filter(is_active=False, name_removal__isnull=True).order_by("username"))
