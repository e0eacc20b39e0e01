"""A plant taken out and read in again is the same book."""

from __future__ import annotations

import csv
import json

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from inspections.models import CheckKind, RoundLaying, Stop, TechnicianProfile, Visit
from installs.models import Fitting
from plant.models import Conveyor, Incident, Membership, OutageWindow, Person, Photo, Plant
from plant.selectors.export_rows import hashes_of_plant
from plant.selectors.export_tables import tables
from plant.services.names import removed_name
from plant.services.plant_import.writing import import_plant
from reports.models import MonthlyReport
from tests.plant_folders import HARD, empty_site, full_plant, made_once, taken_out, texts_of

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def folder(django_db_setup, django_db_blocker, tmp_path_factory):
    return made_once(django_db_blocker, tmp_path_factory.mktemp("plant") / "out")


def rows_of(folder, name):
    with (folder / "csv" / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_every_table_has_a_row_in_this_plant(folder):
    """Else the tests of this file would say nothing of it."""
    assert [each.file for each in tables() if not rows_of(folder, each.file)] == []


def test_the_book_is_the_same_and_the_folder_byte_for_byte(tmp_path):
    folder = taken_out(full_plant(), tmp_path / "out")
    before = hashes_of_plant(Plant.objects.get(), connection.alias)
    old_pk = Plant.objects.get().pk
    empty_site()
    done = import_plant(folder)
    assert hashes_of_plant(done.plant, connection.alias) == before
    assert done.plant.pk != old_pk, "or else keys of the data base were never translated"
    again = taken_out(done.plant, tmp_path / "again")
    one, other = texts_of(folder), texts_of(again)
    assert sorted(one) == sorted(other)
    assert [name for name in one if one[name] != other[name]] == []


def test_texts_come_back_letter_by_letter(folder):
    import_plant(folder)
    notes = set(Incident.objects.values_list("note", flat=True))
    assert set(HARD) <= notes
    assert Incident.objects.filter(note=HARD[0], was_loaded=None, consequence="").exists()


def test_what_rows_name_is_found_again(folder):
    import_plant(folder)
    assert Incident.objects.exclude(corrects=None).get().corrects.import_batch.subject == "conveyors"
    stop = Stop.objects.get()
    assert stop.task_order == [stop.tasks.get().pk]
    assert RoundLaying.objects.get().left_out[0]["tasks"] == stop.task_order
    month = MonthlyReport.objects.published().get()
    belt, incident = Conveyor.objects.get(), Incident.objects.get(note="of the published month")
    assert month.rows["incidents"]["links"] == [incident.get_absolute_url()]
    assert any(f"conveyor={belt.pk}&" in link for link in month.rows["belts"]["links"])
    assert belt.tag_key
    assert TechnicianProfile.objects.get().calendar_key
    with Photo.objects.get().file.open() as picture:
        assert picture.read() == b"\x89PNG not really"
    assert str(belt.plant_id) in Photo.objects.get().file.name


def test_history_comes_in_with_what_is_gone(folder):
    import_plant(folder)
    fitting = Fitting.objects.get()
    named = {row.outage_window_id for row in fitting.history.all()} - {None}
    gone = OutageWindow.history.filter(history_type="-").get()
    assert named == {gone.id}
    assert not OutageWindow.objects.filter(pk=gone.id).exists()
    # A row that is made later never gets the key of one that is gone.
    fresh = OutageWindow.objects.create(conveyor=fitting.conveyor, starts_at=gone.starts_at, ends_at=gone.ends_at)
    assert OutageWindow.history.filter(id=fresh.pk).count() == 1
    acts = Membership.history.filter(person__username="Altechnician", role__name="planner").order_by("history_id")
    assert [row.history_type for row in acts] == ["+", "-", "+"]
    assert acts[0].id == acts[1].id != acts[2].id
    assert acts[2].id == Membership.objects.get(person__username="Altechnician", role__name="planner").pk


def test_people_come_without_passwords_and_are_known_by_name(folder):
    assert b"password" not in b"".join(texts_of(folder).values()).replace(b"first password", b"").replace(
        b"passwords", b""
    )
    known = Person.objects.create_user("alplanner", password="pass-word-1", first_name="Known")
    done = import_plant(folder)
    assert done.people_known == ["alplanner"]
    assert "Altechnician" in done.people_made
    tech = Person.objects.get(username="Altechnician")
    assert not tech.has_usable_password()
    assert tech.email == ""
    known.refresh_from_db()
    assert known.first_name == "Known"
    assert known.has_usable_password()
    assert Membership.objects.filter(person=known, plant=done.plant, role__name="planner").exists()


def test_two_whose_names_were_removed_stay_two_people(tmp_path):
    """A number stands for one of them on one site only."""
    plant = full_plant()
    tech = Person.objects.get(username="Altechnician")
    Person.objects.filter(pk=tech.pk).update(username="a person whose name was removed, no. 3", is_active=False)
    out = taken_out(plant, tmp_path / "out")
    empty_site()
    other = Person.objects.create(username="a person whose name was removed, no. 3", is_active=False)
    done = import_plant(out)
    assert done.people_known == []
    assert other.username not in done.people_made
    visitor = Visit.objects.first().visited_by
    assert visitor != other
    assert visitor.username == removed_name(visitor)
    assert (visitor.is_active, visitor.has_usable_password()) == (False, False)


def test_only_people_whom_the_plant_names_go_out(folder, tmp_path):
    names = {row["username"] for row in rows_of(folder, "people")}
    assert names == {"Altechnician", "Alplanner", "Alengineer", "Almanager", "Aleveryone"}


def test_a_second_plant_of_the_site_stays_where_it_is(folder, tmp_path):
    other = full_plant("Other Works", "Zqx")
    before = hashes_of_plant(other, connection.alias)
    import_plant(folder)
    assert hashes_of_plant(other, connection.alias) == before
    assert CheckKind.objects.filter(plant=None).count() == 4
    for path in (taken_out(Plant.objects.get(name="Alder Pit"), tmp_path / "again")).rglob("*.csv"):
        assert b"Zqx" not in path.read_bytes(), path.name


def test_a_zip_file_is_read_like_its_folder(folder, tmp_path):
    from plant.files.plant_export import zip_folder

    zip_folder(folder, tmp_path / "alder-pit.zip")
    assert import_plant(tmp_path / "alder-pit.zip").plant.name == "Alder Pit"


def test_the_commands_say_what_they_did(tmp_path, capsys):
    full_plant()
    call_command("export_plant", "Alder Pit", to=tmp_path / "out")
    assert "Read README.txt" in capsys.readouterr().out
    with pytest.raises(CommandError, match="is there already"):
        call_command("export_plant", "Alder Pit", to=tmp_path / "out")
    with pytest.raises(CommandError, match="there are: Alder Pit"):
        call_command("export_plant", "Elder Pit", to=tmp_path / "other")
    with pytest.raises(CommandError, match="Nothing was written"):
        call_command("import_plant", tmp_path / "out")
    assert "in the book of this site already, as Alder Pit" in capsys.readouterr().err
    empty_site()
    call_command("import_plant", tmp_path / "out")
    told = capsys.readouterr().out
    assert "equal to those of the folder" in told
    assert (
        "first password: Aleveryone, Almanager, Alplanner, Alengineer, Altechnician" in told or "Altechnician" in told
    )


def test_the_manifest_names_every_file(folder):
    manifest = json.loads((folder / "manifest.json").read_text())
    there = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()} - {"manifest.json"}
    assert set(manifest["files"]) == there
    assert manifest["plant"] == "Alder Pit"
    assert manifest["time_zone"] == "Europe/Berlin"


def test_a_dry_run_looks_everything_over_and_writes_nothing(folder, capsys):
    Person.objects.create_user("alplanner")
    call_command("import_plant", folder, "--dry")
    told = capsys.readouterr().out
    assert "Alder Pit: nothing is wrong with its " in told
    assert "make sure that they are the same people: alplanner." in told
    assert "New would be: Alengineer, Aleveryone, Almanager, Altechnician." in told
    assert not Plant.objects.exists()
    assert Person.objects.count() == 1


def test_one_number_for_the_book_of_a_plant(folder, capsys):
    """The same on every site that holds it, whatever else is there; another when a row changes."""
    import_plant(folder)
    call_command("book_hash", plant="Alder Pit")
    first = capsys.readouterr().out
    empty_site()
    full_plant("Other Works", "Zqx")
    import_plant(folder)
    call_command("book_hash", plant="Alder Pit")
    assert capsys.readouterr().out == first
    Conveyor.objects.filter(tag="AlC-1").update(lift_m=11.5)
    call_command("book_hash", plant="Alder Pit")
    assert capsys.readouterr().out != first
    with pytest.raises(CommandError, match="There is no plant"):
        call_command("book_hash", plant="Elder Pit")
