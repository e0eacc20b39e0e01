"""A folder that something happened to is refused whole, with the file, the row and what to do."""

from __future__ import annotations

import hashlib
import json
import random
import shutil
from pathlib import Path

import pytest
from django.conf import settings

from plant.calc.export_folder import FolderRule
from plant.models import Conveyor, Person, Plant
from plant.services.plant_import.folders import FolderRefused
from plant.services.plant_import.writing import import_plant
from plant.words.plant_import import fault_words
from tests.plant_folders import made_once

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def whole(django_db_setup, django_db_blocker, tmp_path_factory):
    return made_once(django_db_blocker, tmp_path_factory.mktemp("plant") / "out")


@pytest.fixture
def folder(whole, tmp_path):
    return Path(shutil.copytree(whole, tmp_path / "out"))


def refused(folder):
    """The faults that a folder is refused with; nothing may be written."""
    with pytest.raises(FolderRefused) as caught:
        import_plant(folder)
    assert not Plant.objects.exists()
    assert not Person.objects.exists()
    for fault in caught.value.faults:
        assert "%(" not in fault_words(fault)
    return caught.value.faults


def only(faults):
    [fault] = faults
    return fault.rule, fault.values, fault_words(fault)


def csv_of(folder, name):
    return folder / "csv" / f"{name}.csv"


def spoil(folder, name, change):
    path = csv_of(folder, name)
    path.write_bytes(change(path.read_bytes()))


def signed_again(folder, *names):
    """The manifest as if the site had written these files so: what stands in the way then is what they say."""
    path = folder / "manifest.json"
    manifest = json.loads(path.read_text())
    for name in names:
        content = csv_of(folder, name).read_bytes()
        known = manifest["files"][f"csv/{name}.csv"]
        known |= {"sha256": hashlib.sha256(content).hexdigest(), "rows": content.count(b"\n") - 1}
    path.write_text(json.dumps(manifest))


def test_a_file_that_breaks_off(folder):
    spoil(folder, "conveyors", lambda text: text[:-20])
    rule, values, words = only(refused(folder))
    assert rule == FolderRule.BREAKS_OFF
    assert values["row"] == 2
    assert words.startswith("csv/conveyors.csv breaks off in row 2")


def test_a_file_that_breaks_off_between_rows(folder):
    spoil(folder, "tasks", lambda text: b"\n".join(text.split(b"\n")[:-2]) + b"\n")
    rule, values, _words = only(refused(folder))
    assert (rule, values["found"], values["wanted"]) == (FolderRule.N_ROWS, 1, 2)


def test_columns_that_were_swapped(folder):
    def swap(text):
        head, mark, rest = text.partition(b"\r\n")
        names = head.split(b",")
        names[3], names[4] = names[4], names[3]
        return b",".join(names) + mark + rest

    spoil(folder, "areas", swap)
    rule, _values, words = only(refused(folder))
    assert rule == FolderRule.HEADS_ORDER
    assert "put them back: row_key," in words


def test_a_column_too_many_or_too_few(folder):
    spoil(folder, "areas", lambda text: text.replace(b"walking_order", b"order_of_walking", 1))
    assert only(refused(folder))[:2] == (FolderRule.HEAD_UNKNOWN, {"file": "csv/areas.csv", "head": "order_of_walking"})
    spoil(folder, "areas", lambda text: text.replace(b"order_of_walking,", b"", 1))
    assert only(refused(folder))[1] == {"file": "csv/areas.csv", "head": "walking_order"}


def test_a_key_that_nothing_has(folder):
    spoil(folder, "installations", lambda text: text.replace(b'"AlC-1"', b'"AlC-9"'))
    rule, _values, words = only(refused(folder))
    assert rule == FolderRule.POINTS_NOWHERE
    assert words.startswith("csv/installations.csv, row 2: conveyor names “AlC-9”, which is not in conveyors.")


def test_a_row_that_stands_there_twice(folder):
    spoil(folder, "meter_readings", lambda text: text + text.split(b"\r\n")[1] + b"\r\n")
    signed_again(folder, "meter_readings")
    rule, values, _words = only(refused(folder))
    assert rule == FolderRule.TWICE
    assert (values["row"], values["first"]) == (3, 2)
    spoil(folder, "meter_readings", lambda text: b"\r\n".join(text.split(b"\r\n")[:2]) + b"\r\n")
    spoil(folder, "switch_events", lambda text: text + text.split(b"\r\n")[1] + b"\r\n")
    signed_again(folder, "meter_readings", "switch_events")
    assert only(refused(folder))[1]["file"] == "csv/switch_events.csv"


def test_another_encoding(folder):
    spoil(folder, "incidents", lambda text: text.replace("Förderband".encode(), "Förderband".encode("cp1252")))
    rule, values, words = only(refused(folder))
    assert rule == FolderRule.NOT_UTF8
    assert values["byte"] == "f6"
    assert values["row"] > 2
    assert "save it as UTF-8" in words


def test_a_byte_order_mark(folder):
    spoil(folder, "plant", lambda text: b"\xef\xbb\xbf" + text)
    rule, _values, words = only(refused(folder))
    assert rule == FolderRule.BYTE_ORDER_MARK
    assert "without a byte order mark" in words


@pytest.mark.parametrize(
    ("name", "old", "new", "column"),
    [
        ("conveyors", b",1200.0,", b',"1200,0",', "belt_width_mm"),
        ("conveyors", b",1200.0,", b",nan,", "belt_width_mm"),
        ("conveyors", b",false,", b",FALSE,", "is_reversing"),
        ("installations", b"Z,", b"+01:00,", "created_at"),
        ("tasks", b"-", b"/", "row_key"),
    ],
)
def test_a_cell_as_another_program_writes_it(folder, name, old, new, column):
    spoil(folder, name, lambda text: text.replace(old, new))
    faults = refused(folder)
    assert faults[0].values["row"] == 2
    assert faults[0].values.get("column", "row_key") == column


def test_a_cell_that_is_empty_and_must_not_be(folder):
    spoil(folder, "conveyors", lambda text: text.replace(b",1200.0,", b",,"))
    rule, _values, words = only(refused(folder))
    assert rule == FolderRule.NOT_STATED
    assert words == (
        "csv/conveyors.csv, row 2: belt_width_mm is empty and must not be. Fill it in, or get the file again."
    )


def test_a_comma_within_a_text_without_quotation_marks(folder):
    spoil(folder, "areas", lambda text: text.replace(b'"Al area"', b"Al, area"))
    rule, values, _words = only(refused(folder))
    assert rule == FolderRule.CELLS
    assert values["found"] == values["wanted"] + 1


def test_a_changed_cell_that_might_be_right(folder):
    spoil(folder, "meter_readings", lambda text: text.replace(b",100.0,", b",101.0,"))
    rule, _values, words = only(refused(folder))
    assert rule == FolderRule.CHANGED
    assert "its checksum is another" in words


def test_a_file_or_a_picture_that_is_missing(folder):
    csv_of(folder, "stops_tasks").unlink()
    picture = next((folder / "photos").iterdir())
    picture.write_bytes(b"other")
    rules = {(each.rule, each.values["file"]) for each in refused(folder)}
    assert rules == {
        (FolderRule.MISSING, "csv/stops_tasks.csv"), (FolderRule.CHANGED, f"photos/{picture.name}")
    }  # fmt: skip
    picture.unlink()
    assert (FolderRule.MISSING, f"photos/{picture.name}") in {
        (each.rule, each.values["file"]) for each in refused(folder)
    }


def test_a_table_that_somebody_put_there(folder):
    csv_of(folder, "notes").write_text("a,b\r\n")
    assert only(refused(folder))[0] == FolderRule.NOT_LISTED


def test_a_folder_of_a_later_version(folder):
    path = folder / "manifest.json"
    manifest = json.loads(path.read_text())
    path.write_text(json.dumps({**manifest, "version": "99.1"}))
    rule, _values, words = only(refused(folder))
    assert rule == FolderRule.LATER_VERSION
    assert f"99.1 of the site, and this site is version {settings.VERSION}" in words
    path.write_text(json.dumps({**manifest, "format": 99}))
    assert only(refused(folder))[0] == FolderRule.LATER_VERSION


def test_a_folder_of_an_earlier_version_may_lack_what_came_later(folder):
    path = folder / "manifest.json"
    manifest = json.loads(path.read_text())
    csv_of(folder, "month_mails").unlink()
    del manifest["files"]["csv/month_mails.csv"]
    text = csv_of(folder, "areas").read_bytes().replace(b",walking_order", b"").replace(b",0,", b",")
    csv_of(folder, "areas").write_bytes(text)
    path.write_text(json.dumps({**manifest, "version": "0.2.0"}))
    signed_again(folder, "areas")
    assert import_plant(folder).plant.areas.get().walking_order == 0


def test_nothing_leads_out_of_the_folder(folder, tmp_path):
    """Neither a name in the manifest nor a link: what lies beside would come into the book as a picture."""
    secret = tmp_path / "secret.txt"
    secret.write_text("not yours")
    path = folder / "manifest.json"
    manifest = json.loads(path.read_text())
    known = {"sha256": hashlib.sha256(b"not yours").hexdigest(), "bytes": 9}
    path.write_text(json.dumps({**manifest, "files": {**manifest["files"], "photos/../../secret.txt": known}}))
    assert only(refused(folder))[0] == FolderRule.NO_MANIFEST
    (folder / "photos" / "link.png").symlink_to(secret)
    path.write_text(json.dumps({**manifest, "files": {**manifest["files"], "photos/link.png": known}}))
    assert only(refused(folder))[0] == FolderRule.NO_MANIFEST


@pytest.mark.parametrize("seed", range(25))
def test_whatever_a_byte_becomes_the_folder_is_refused(folder, seed):
    """Bytes changed, taken away or put in, a file cut: a sentence, nothing written, never an error of the program."""
    chance = random.Random(seed)
    tables = [each for each in sorted((folder / "csv").iterdir()) if each.stat().st_size > 200]
    for path in chance.sample(tables, 2):
        text = bytearray(path.read_bytes())
        at = chance.randrange(len(text))
        match chance.randrange(4):
            case 0:
                text[at] = (text[at] + chance.randrange(1, 256)) % 256
            case 1:
                del text[at : at + chance.randrange(1, 40)]
            case 2:
                text[at:at] = chance.choice([b'"', b",", b"\r\n", b"{", b"9", b"\xff"])
            case _:
                del text[at:]
        path.write_bytes(bytes(text))
    for fault in refused(folder):
        assert len(fault_words(fault)) > 40


@pytest.mark.parametrize("content", ["", "{}", "[]", '{"format": 1, "version": "x", "files": {}}'])
def test_a_manifest_that_is_none(folder, content):
    (folder / "manifest.json").write_text(content)
    assert only(refused(folder))[0] == FolderRule.NO_MANIFEST


def test_no_folder_at_all(tmp_path):
    (tmp_path / "x.txt").write_text("no folder")
    assert only(refused(tmp_path / "x.txt"))[0] == FolderRule.NO_FOLDER
    assert only(refused(tmp_path / "nothing"))[0] == FolderRule.NO_FOLDER


def test_the_name_is_taken(folder):
    Plant.objects.create(name="alder pit")
    with pytest.raises(FolderRefused) as caught:
        import_plant(folder)
    assert caught.value.faults[0].rule == FolderRule.NAME_TAKEN
    assert not Conveyor.objects.exists()


def test_what_the_data_base_refuses_leaves_nothing(folder, tmp_path, settings):
    """Two open places of one device: no cell is wrong by itself."""

    def twice(text):
        row = text.split(b"\r\n")[1]
        key = row.split(b",")[0]
        return text + row.replace(key, b'"11111111-1111-4111-8111-111111111111"') + b"\r\n"

    settings.MEDIA_ROOT = tmp_path / "site"
    spoil(folder, "installations", twice)
    signed_again(folder, "installations")
    rule, values, _words = only(refused(folder))
    assert rule == FolderRule.REFUSED
    assert values["file"] == "csv/installations.csv"
    assert [each for each in (tmp_path / "site").rglob("*") if each.is_file()] == []


def test_many_faults_are_counted(folder):
    spoil(folder, "incidents", lambda text: text.replace(b'"AlC-1"', b'"AlC-9"'))
    with pytest.raises(FolderRefused) as caught:
        import_plant(folder)
    assert caught.value.n_faults >= len(caught.value.faults) > 5
