"""What the plant's own words stand for in its files: said once, taken from then on, forgotten again."""

from __future__ import annotations

import io

import openpyxl
import pytest

from plant.calc.chainage import tag_key
from plant.errors import Refused
from plant.models import Conveyor, Incident, PlantWord
from plant.services import import_understanding, imports
from plant.services.import_subjects.shape import subject_of
from plant.services.own_words import SaidWord, forget_word, say_words
from tests import make
from tests.plant.services.test_imports import counts, files_of_the_test, reasons, run, send  # noqa: F401

GERMAN = (
    "Band;Datum;Lage [m];Trum;Seite;Ausmaß;Bemerkung\n"
    "Brecherband;01.03.2026 14:15;80,5;Untertrum;links;Schramme;eins\n"
    "A-1;13.03.2026 06:00;;Obertrum;rechts;Schramme;zwei\n"
    "A-1;14.03.2026 06:00;;Obertrum;mittig;Schramme;drei\n"
)
COLUMNS = {
    "conveyor": "Band",
    "happened_at": "Datum",
    "chainage_m": "Lage [m]",
    "strand": "Trum",
    "side": "Seite",
    "severity": "Ausmaß",
    "note": "Bemerkung",
}
MEANT = [
    ("conveyor", "Brecherband", "A-1"),
    ("strand", "Untertrum", "return"),
    ("strand", "Obertrum", "carry"),
    ("side", "links", "drive"),
    ("side", "rechts", "off"),
    ("side", "mittig", ""),
    ("severity", "Schramme", "contact"),
]


def say(plant, by, *said, subject="incidents"):
    found = subject_of(subject)
    return say_words(
        plant=plant,
        by=by,
        subject=found,
        said=[SaidWord(found.column(name), written, means) for name, written, means in said],
    )


def german_batch(plant, by, text=GERMAN, name="band.csv"):
    return send(plant, by, "incidents", text, name=name)


def unknown(batch):
    return {(each.column.name, each.written, each.n) for each in import_understanding.understand(batch).unknown_words()}


@pytest.fixture
def chosen(alder, pat, belt_a1):
    """A German file whose columns were chosen by a person."""
    return imports.choose(batch=german_batch(alder, pat), options={"columns": COLUMNS})


def test_words_that_are_not_understood_are_found_with_how_often_they_come(chosen):
    assert unknown(chosen) == {
        ("conveyor", "Brecherband", 1),
        ("strand", "Obertrum", 2),
        ("strand", "Untertrum", 1),
        ("side", "links", 1),
        ("side", "rechts", 1),
        ("side", "mittig", 1),
        ("severity", "Schramme", 3),
    }


def test_a_file_in_other_words_comes_in_once_they_are_said(alder, pat, belt_a1, chosen):
    assert say(alder, pat, *MEANT) == 7
    assert unknown(chosen) == set()
    batch = run(chosen, pat)
    assert counts(batch) == (3, 0, 0, 0), reasons(batch)
    one, two, three = Incident.objects.order_by("happened_at")
    assert (one.conveyor, one.strand, one.side, one.severity, one.chainage_m) == (
        belt_a1, "return", "drive", "contact", 80.5
    )  # fmt: skip
    assert (two.strand, two.side) == ("carry", "off")
    assert three.side == "", "the word says nothing there"


def test_the_next_file_is_read_by_what_was_said_of_the_first(alder, pat, belt_a1, chosen):
    say(alder, pat, *MEANT)
    run(chosen, pat)
    # Another order of columns and one column less: nothing but the plant's words tells what they are.
    text = "Trum;Datum;Band;Seite;Ausmaß\nUntertrum;20.04.2026 10:00;Brecherband;LINKS;schramme\n"
    batch = german_batch(alder, pat, text, "april.csv")
    found = import_understanding.understand(batch)
    assert found.is_ready, (found.problems, found.questions)
    assert {each.column.name: each.head for each in found.matched()} == {
        name: head for name, head in COLUMNS.items() if head in text
    }
    assert counts(run(batch, pat)) == (1, 0, 0, 0), reasons(batch)


def test_the_head_is_found_by_the_plant_s_names_under_a_title(alder, pat, belt_a1, chosen):
    say(alder, pat, *MEANT)
    run(chosen, pat)
    title = "Störungen;;;;;;\nWerk Nord;;2026;;;;\n"
    assert import_understanding.understand(german_batch(alder, pat, title + GERMAN)).shape.header_line == 3


def test_another_plant_does_not_learn_them(alder, other, pat, otto, belt_a1, chosen):
    say(alder, pat, *MEANT)
    run(chosen, pat)
    theirs = german_batch(other, otto)
    assert import_understanding.understand(theirs).matched() == []
    assert PlantWord.objects.of_plant(other).count() == 0


def test_the_same_words_in_another_kind_of_rows_are_taken_where_they_mean_the_same(alder, pat, belt_a1):
    say(alder, pat, ("conveyor", "Brecherband", "A-1"))
    batch = run(send(alder, pat, "meter_readings", "tag,date,reading\nBrecherband,2026-03-01,1000\n"), pat)
    assert counts(batch) == (1, 0, 0, 0), reasons(batch)


def test_a_tag_that_changed_since_is_still_meant(alder, pat, belt_a1):
    say(alder, pat, ("conveyor", "Brecherband", "A-1"))
    Conveyor.objects.filter(pk=belt_a1.pk).update(tag="B-77", tag_key=tag_key("B-77"))
    batch = run(send(alder, pat, "meter_readings", "tag,date,reading\nBrecherband,2026-03-01,1000\n"), pat)
    assert counts(batch) == (1, 0, 0, 0), reasons(batch)


def test_what_is_said_anew_takes_the_place_of_what_was_said(alder, pat, erin, belt_a1):
    assert say(alder, pat, ("side", "links", "drive")) == 1
    assert say(alder, pat, ("side", "Links", "drive")) == 0
    assert say(alder, erin, ("side", "links", "off")) == 1
    word = PlantWord.objects.get()
    assert (word.means, word.version) == ("off", 2)
    assert [each.means for each in word.history.order_by("history_id")] == ["drive", "off"]


def test_a_plant_s_word_goes_before_the_desk_s_own(alder, pat, belt_a1):
    head = "tag,when,severity,loaded\n"
    before = run(send(alder, pat, "incidents", head + "A-1,2026-03-01 10:00,drift,full\n"), pat)
    assert counts(before) == (1, 0, 0, 0), reasons(before)
    assert Incident.objects.get().was_loaded is True
    say(alder, pat, ("was_loaded", "full", "no"), ("was_loaded", "halb", "yes"), ("was_loaded", "leer?", ""))
    rows = "A-1,2026-03-02 10:00,drift,full\nA-1,2026-03-03 10:00,drift,halb\nA-1,2026-03-04 10:00,drift,leer?\n"
    after = run(send(alder, pat, "incidents", head + rows), pat)
    assert counts(after) == (3, 0, 0, 0), reasons(after)
    assert list(Incident.objects.order_by("happened_at").values_list("was_loaded", flat=True)[1:]) == [
        False, True, None
    ]  # fmt: skip


def test_signs_alone_may_be_words(alder, pat, belt_a1):
    say(alder, pat, ("was_loaded", "+", "yes"), ("was_loaded", "++", "no"))
    rows = "tag,when,severity,loaded\nA-1,2026-03-01 10:00,drift,+\nA-1,2026-03-02 10:00,drift,++\n"
    assert counts(run(send(alder, pat, "incidents", rows), pat)) == (2, 0, 0, 0)
    assert list(Incident.objects.order_by("happened_at").values_list("was_loaded", flat=True)) == [True, False]


@pytest.mark.parametrize(
    "said",
    [
        ("side", "links", "left"),
        ("conveyor", "Brecherband", "Z-99"),
        ("conveyor", "alle", ""),
        ("note", "x", "drive"),
        ("side", " ", "drive"),
        ("side", "x" * 200, "drive"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_nothing_is_kept(alder, pat, belt_a1, said):
    with pytest.raises(Refused):
        say(alder, pat, ("side", "rechts", "off"), said)
    assert PlantWord.objects.count() == 0


def test_a_word_that_is_forgotten_is_asked_about_again(alder, pat, belt_a1):
    say(alder, pat, ("side", "links", "drive"))
    text = "tag,when,severity,side\nA-1,2026-03-01 10:00,drift,links\n"
    run(send(alder, pat, "incidents", text), pat)
    forget_word(word=PlantWord.objects.get(), by=pat)
    assert unknown(send(alder, pat, "incidents", text + "A-1,2026-03-02 10:00,drift,links\n")) == {("side", "links", 2)}
    assert Incident.objects.get().side == "drive", "what was written stays"
    assert PlantWord.history.filter(history_type="-").get().history_user == pat


def test_a_refused_row_is_read_by_a_word_that_was_said_since(alder, pat, belt_a1):
    from plant.services.import_corrections import retry_row

    batch = run(send(alder, pat, "incidents", "tag,when,severity,side\nA-1,2026-03-01 10:00,drift,links\n"), pat)
    assert counts(batch) == (0, 0, 0, 1)
    say(alder, pat, ("side", "links", "drive"))
    assert retry_row(row=batch.rejected_rows.get(), by=pat) == "written"


# --- read as an earlier file ------------------------------------------------------------------------------------------
US = "tag,when,severity,offset\nA-1,03/04/2026 10:00,drift,2.5\n"


def test_a_file_with_the_same_columns_is_read_as_the_one_before(alder, pat, belt_a1):
    first = send(alder, pat, "incidents", US)
    assert [each.option for each in import_understanding.understand(first).questions] == ["date_order"]
    chosen = {"date_order": "mdy", "units": {"offset_mm": "in"}, "equal": "each", "known": "correct"}
    run(imports.choose(batch=first, options=chosen), pat)
    second = send(alder, pat, "incidents", US.replace("03/04", "03/05"))
    found = import_understanding.understand(second)
    assert found.is_ready
    assert second.options["as_read"] == str(first.client_key)
    assert (found.reading.date_order, found.reading.units["offset_mm"]) == ("mdy", "in")
    assert second.options["equal"] == "each"
    assert "known" not in second.options, "what becomes of rows that the book has is asked of each file"
    run(second, pat)
    assert [each.offset_mm for each in Incident.objects.order_by("happened_at")] == [63.5, 63.5]


def test_it_can_be_read_by_itself(alder, pat, belt_a1):
    run(imports.choose(batch=send(alder, pat, "incidents", US), options={"date_order": "mdy"}), pat)
    second = imports.read_anew(batch=send(alder, pat, "incidents", US.replace("03/04", "03/05")), by=pat)
    assert "as_read" not in second.options
    assert [each.option for each in import_understanding.understand(second).questions] == ["date_order"]
    with pytest.raises(Refused, match="settled"):
        imports.read_anew(batch=run(imports.choose(batch=second, options={"date_order": "mdy"}), pat), by=pat)


def test_other_columns_are_not_read_so(alder, pat, belt_a1):
    run(imports.choose(batch=send(alder, pat, "incidents", US), options={"date_order": "mdy"}), pat)
    more = send(alder, pat, "incidents", "tag,when,severity,offset,note\nA-1,03/06/2026 10:00,drift,2.5,x\n")
    assert "as_read" not in more.options


def test_the_very_same_file_again_is_still_known_as_such(alder, pat, belt_a1):
    """What people changed since must not be undone by it."""
    text = "tag,name\nA-1,From a file\n"
    run(send(alder, pat, "conveyors", text), pat)
    Conveyor.objects.filter(pk=belt_a1.pk).update(name="Renamed by hand")
    assert counts(run(send(alder, pat, "conveyors", text), pat)) == (0, 0, 1, 0)
    assert Conveyor.objects.get(pk=belt_a1.pk).name == "Renamed by hand"


def test_a_workbook_is_asked_about_too(alder, pat, belt_a1):
    book = openpyxl.Workbook()
    for row in (["tag", "when", "severity", "side"], ["A-1", "2026-03-01 10:00", "drift", 1]):
        book.active.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    batch = send(alder, pat, "incidents", buffer.getvalue(), name="log.xlsx")
    assert unknown(batch) == {("side", "1", 1)}
    say(alder, pat, ("side", "1", "off"))
    run(batch, pat)
    assert Incident.objects.get().side == "off"


def test_a_belt_of_another_plant_is_no_meaning(alder, other, pat, belt_a1):
    make.conveyor(other, tag="C-1")
    with pytest.raises(Refused, match="no conveyor"):
        say(alder, pat, ("conveyor", "Brecherband", "C-1"))


def test_a_word_that_grows_when_it_is_compared_is_no_word_and_stops_no_file(alder, pat, belt_a1):
    long = "ß" * 100  # 200 letters once case is left out of account
    text = f"tag,date,severity,{long}\nA-1,2026-03-01 10:00,{long},x\n"
    batch = send(alder, pat, "incidents", text)
    assert unknown(batch) == set()
    imports.choose(
        batch=batch,
        options={"columns": {"conveyor": "tag", "happened_at": "date", "severity": "severity", "note": long}},
    )
    batch = run(batch, pat)
    assert counts(batch) == (0, 0, 0, 1), reasons(batch)
    with pytest.raises(Refused, match="no word of a list"):
        say(alder, pat, ("severity", long, "contact"))
    assert not PlantWord.objects.exists()
