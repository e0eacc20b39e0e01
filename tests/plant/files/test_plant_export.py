"""The folder in which a plant is taken out: CSV, Parquet, the dictionary, the page on top; nothing half is left."""

from __future__ import annotations

import csv
import datetime as dt
import json

import pandas as pd
import pytest
from django.db import connection

from plant.calc.export_cells import CellKind, value_of
from plant.calc.export_folder import rows_of_table
from plant.files import plant_export
from plant.files.plant_export import write_folder, zip_folder
from plant.selectors.export_rows import hashes_of_plant
from plant.selectors.export_tables import tables
from tests import make
from tests.plant_folders import full_plant, made_once
from tests.test_exports import is_harmful

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 20, 12, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def folder(django_db_setup, django_db_blocker, tmp_path_factory):
    return made_once(django_db_blocker, tmp_path_factory.mktemp("plant") / "out")


def cells_of_frame(frame, kinds):
    """Values of a frame as Python has them; None where nothing is stated."""
    columns = [
        [None if pd.isna(each) else each.to_pydatetime() if kind == CellKind.MOMENT else each for each in frame[name]]
        for name, kind in zip(frame.columns, kinds, strict=True)
    ]
    return [tuple(row) for row in zip(*columns, strict=True)]


def test_parquet_holds_what_csv_holds(folder):
    """Read by pandas, as people would; in CSV, JSON is a text like any other."""
    n_empty = n_not_stated = 0
    for table in tables():
        heads = [each.name for each in table.columns]
        kinds = [CellKind.TEXT if each.kind == CellKind.JSON else each.kind for each in table.columns]
        rows = [
            tuple(value_of(cell, kind) for cell, kind in zip(cells, kinds, strict=True))
            for _row, cells in rows_of_table(folder / "csv" / f"{table.file}.csv", heads)
        ]
        frame = pd.read_parquet(folder / "parquet" / f"{table.file}.parquet", dtype_backend="pyarrow")
        assert list(frame.columns) == heads
        assert cells_of_frame(frame, table.kinds) == rows, table.file
        n_empty += sum(each == "" for row in rows for each in row)
        n_not_stated += sum(each is None for row in rows for each in row)
    assert n_empty > 20
    assert n_not_stated > 20


def test_the_dictionary_names_every_column_and_says_what_it_means(folder):
    with (folder / "dictionary.csv").open(newline="", encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    assert [(each["file"], each["column"]) for each in lines] == [
        (table.file, each.name) for table in tables() for each in table.columns
    ]
    assert [each for each in lines if not each["meaning"] or not each["type"]] == []
    known = {(each["file"], each["column"]): each for each in lines}
    lift = known["conveyors", "lift_m"]
    assert (lift["unit"], lift["type"], lift["may_be_empty"]) == ("m", "number", "no")
    assert lift["meaning"] == "lift. Height of the head above the tail; negative where the belt goes down."
    assert known["incidents", "conveyor"]["points_to"] == "conveyors.tag"
    assert known["readings", "visit"]["points_to"] == "visits.row_key"
    assert "trip = trip: drift switch stopped the belt" in known["incidents", "severity"]["values"]
    assert known["memberships", "role"]["points_to"] == "roles"
    assert known["plant", "cost_of_stop_hour"]["unit"] == "currency/h"
    assert known["devices_history", "row_key"]["meaning"] == "key of the row that was made, changed or removed"
    assert known["memberships", "row_key"]["meaning"].startswith("number of the row;")


def test_no_cell_is_a_formula(folder):
    """What a spreadsheet would reckon stands behind an apostrophe, in the dictionary too."""
    n_guarded = 0
    for path in (*(folder / "csv").iterdir(), folder / "dictionary.csv"):
        with path.open(newline="", encoding="utf-8") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        assert [cell for cell in cells if is_harmful(cell)] == [], path.name
        n_guarded += sum(cell.startswith(("'=", "'-")) for cell in cells)
    assert n_guarded > 1


def test_the_page_on_top_says_how_to_read_it(folder):
    text = (folder / "README.txt").read_text(encoding="utf-8")
    assert text.startswith("Alder Pit\n=========\n")
    for words in ("Europe/Berlin", "EUR", "sensor-wear", "import_plant", "apostrophe"):
        assert words in text
    assert max(map(len, text.splitlines())) <= 120


def test_nothing_half_is_left(tmp_path, monkeypatch):
    plant = make.plant()

    def full_disk(folder):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(plant_export, "write_dictionary", full_disk)
    with pytest.raises(OSError, match="No space"):
        write_folder(plant, tmp_path / "out", now=NOW)
    assert list(tmp_path.iterdir()) == []


def test_what_stands_there_is_not_written_over(tmp_path):
    (tmp_path / "out").mkdir()
    with pytest.raises(FileExistsError):
        write_folder(make.plant(), tmp_path / "out", now=NOW)


def test_a_picture_that_the_site_lost_is_named(tmp_path):
    plant = full_plant()
    photo = plant_photo(plant)
    photo.file.storage.delete(photo.file.name)
    write_folder(plant, tmp_path / "out", now=NOW)
    files = json.loads((tmp_path / "out" / "manifest.json").read_text())["files"]
    assert files[f"photos/{photo.client_key}.png"] == {"missing": True}
    assert hashes_of_plant(plant, connection.alias)[f"photos/{photo.client_key}.png"] == "lost"


def plant_photo(plant):
    from plant.models import Photo

    return Photo.objects.get(plant=plant)


def test_rows_are_told_and_a_zip_holds_one_folder(tmp_path):
    import zipfile

    told = []
    n = write_folder(make.plant(), tmp_path / "out", now=NOW, tell=lambda done, total: told.append((done, total)))
    assert n > 0
    assert told[-1][0] == told[-1][1]
    size = zip_folder(tmp_path / "out", tmp_path / "alder-pit.zip")
    with zipfile.ZipFile(tmp_path / "alder-pit.zip") as archive:
        assert archive.testzip() is None
        assert {each.split("/")[0] for each in archive.namelist()} == {"alder-pit"}
        assert "alder-pit/README.txt" in archive.namelist()
    assert size == (tmp_path / "alder-pit.zip").stat().st_size


def test_the_number_of_queries_does_not_grow_with_the_rows(tmp_path, django_assert_max_num_queries):
    plant = make.plant()
    belt = make.conveyor(plant)
    make.incident(belt, NOW)
    with django_assert_max_num_queries(400) as few:
        write_folder(plant, tmp_path / "few", now=NOW)
    for n in range(200):
        make.incident(belt, NOW - dt.timedelta(hours=n + 1))
    with django_assert_max_num_queries(len(few)):
        write_folder(plant, tmp_path / "many", now=NOW)
