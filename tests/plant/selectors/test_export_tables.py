"""What goes out of a plant is said by every model, column by column, and each column says what it holds."""

from __future__ import annotations

import re

import pytest
from django.apps import apps

from plant.calc.export_cells import CellKind
from plant.models.exported import OF_OTHERS, Exported, NotExported
from plant.selectors.export_rows import plant_path
from plant.selectors.export_tables import (
    NOT_SAID,
    TableKind,
    exported_models,
    is_history,
    is_keyed,
    own_models,
    said_by,
    said_of,
    tables,
)
from plant.words.plant_export import meaning_of


def test_every_model_says_whether_it_goes_out():
    models = [each for each in apps.get_models() if not is_history(each)]
    assert [each._meta.label for each in models if said_by(each) is None] == []
    assert len(exported_models()) > 45
    assert set(OF_OTHERS) == {
        each._meta.label for each in models if each not in own_models() and not each._meta.auto_created
    }


def test_what_stays_says_why():
    for model in own_models():
        said = said_by(model)
        reasons = [said.why] if isinstance(said, NotExported) else said.stays.values()
        assert all(len(str(each)) > 8 for each in reasons), model


def test_every_column_goes_out_or_is_said_to_stay():
    for model in exported_models():
        said = said_of(model)
        known = {each.name for each in model._meta.get_fields() if each.concrete}
        assert set(said.stays) <= known, model
        rows = {each.field.name for each in columns_of_rows(model)}
        links = {each.name for each in model._meta.local_many_to_many} - set(said.stays)
        there = {each.file for each in tables()}
        assert {f"{said.file}_{name}" for name in links} <= there
        assert rows | set(said.stays) | links | NOT_SAID >= known, model


def columns_of_rows(model):
    return next(each.columns for each in tables() if each.model is model and each.kind == TableKind.ROWS)


def test_what_a_model_says_is_about_columns_that_it_has():
    for model in exported_models():
        said = said_of(model)
        names = {each.name for each in model._meta.get_fields()}
        for given in (said.key, said.stays, said.meanings, said.units, said.keys_in, said.addresses_in):
            assert set(given) <= names, model


def test_the_key_of_a_model_is_one_that_its_data_base_holds():
    """Rows that other files name by what people call them, or that have no row key, must not meet."""
    for model in exported_models():
        said = said_of(model)
        if not said.key:
            assert is_keyed(model), f"{model} has neither a key of its own nor a row key"
            continue
        path = plant_path(model) if model._meta.label != "plant.Person" else ""
        unique = [{*each.fields} for each in model._meta.constraints if hasattr(each, "fields")]
        unique += [{each.name} for each in model._meta.fields if each.unique]
        # The tag is unique by its spelling, which `tag_key` holds.
        key = {{"tag": "tag_key"}.get(each, each) for each in said.key}
        assert key in unique or key | {path.split("__")[0]} in unique, (model, key, unique)


def test_no_meaning_is_empty_and_no_number_without_a_unit():
    unsaid = [(table.file, each.name) for table in tables() for each in table.columns if not meaning_of(table, each)]
    assert unsaid == []
    bare = [
        (table.file, each.name)
        for table in tables()
        for each in table.columns
        if each.kind in (CellKind.NUMBER, CellKind.WHOLE)
        and not each.unit
        and not each.field.choices
        and each.name not in ("row_key", "version")
    ]
    assert bare == []


def test_what_goes_out_points_only_to_what_goes_out():
    files = {each.file for each in tables()} | {"roles"}
    assert {each.points_to for table in tables() for each in table.columns if each.target_model} <= files


def test_names_of_files_and_columns_are_plain_and_once():
    files = [each.file for each in tables()]
    assert len(files) == len(set(files))
    for table in tables():
        names = [each.name for each in table.columns]
        assert len(names) == len(set(names)), table.file
        assert all(re.fullmatch(r"[a-z][a-z0-9_]*", name) for name in (table.file, *names))


@pytest.mark.parametrize("name", ["password", "email", "is_superuser", "calendar_key", "job"])
def test_secrets_have_no_column(name):
    assert [table.file for table in tables() for each in table.columns if each.field.name == name] == []


def test_a_model_that_says_nothing_is_seen():
    class Silent:
        class _meta:
            label = "plant.Silent"

    assert said_by(Silent) is None
    assert isinstance(said_by(apps.get_model("plant.Incident")), Exported)
