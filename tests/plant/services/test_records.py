"""Rows are written once per key, never over somebody else's change, and corrected by further rows."""

from __future__ import annotations

import uuid

import pytest

from plant.errors import ChangedMeanwhile, Refused
from plant.models import Area, Incident
from plant.services import records
from plant.services.records import change_record, correct_entry, create_record
from tests import make


def test_the_same_key_makes_one_row(alder, pat):
    key = uuid.uuid4()
    first = create_record(Area, by=pat, client_key=key, plant=alder, code="Q", name="Quarry")
    second = create_record(Area, by=pat, client_key=key, plant=alder, code="Q", name="Quarry")
    assert first == second
    assert Area.objects.count() == 1


def test_a_value_that_is_not_allowed_is_refused_with_its_field(alder, pat):
    with pytest.raises(Refused) as refusal:
        create_record(Area, by=pat, plant=alder, code="", name="Quarry")
    assert set(refusal.value.fields) == {"code"}


def test_a_change_is_written_with_who_and_what_was_before(alder, pat):
    area = create_record(Area, by=pat, plant=alder, code="Q", name="Quarry")
    change_record(area, by=pat, version=1, name="Quarry north")
    area.refresh_from_db()
    assert (area.name, area.version) == ("Quarry north", 2)
    newest, oldest = area.history.all()
    assert newest.history_user == pat
    assert [change.old for change in newest.diff_against(oldest).changes if change.field == "name"] == ["Quarry"]


def test_the_second_editor_learns_of_the_first(alder, pat, erin):
    area = create_record(Area, by=pat, plant=alder, code="Q", name="Quarry")
    mine = Area.objects.get(pk=area.pk)
    change_record(area, by=erin, version=1, name="Quarry south")
    with pytest.raises(ChangedMeanwhile) as clash:
        change_record(mine, by=pat, version=1, name="Quarry north")
    assert clash.value.current.name == "Quarry south"
    assert Area.objects.get().name == "Quarry south"


def test_a_refused_change_leaves_the_record_as_it_was(alder, pat):
    area = create_record(Area, by=pat, plant=alder, code="Q", name="Quarry")
    with pytest.raises(Refused):
        change_record(area, by=pat, version=1, name="")
    area.refresh_from_db()
    assert (area.name, area.version) == ("Quarry", 1)


def test_an_entry_is_never_overwritten(belt_a1, at_noon):
    row = make.incident(belt_a1, at_noon)
    row.severity = "spill"
    with pytest.raises(TypeError, match="never overwritten"):
        row.save()


def test_a_correction_takes_the_place_and_the_old_row_stays(belt_a1, erin, at_noon):
    row = make.incident(belt_a1, at_noon, severity="drift")
    fresh = correct_entry(row, by=erin, reason="edge was frayed", severity="damage")
    assert list(Incident.objects.current()) == [fresh]
    assert Incident.objects.count() == 2
    assert (fresh.corrects, fresh.severity, fresh.chainage_m) == (row, "damage", row.chainage_m)
    row.refresh_from_db()
    assert row.severity == "drift"


def test_a_row_is_corrected_once_and_with_a_reason(belt_a1, erin, at_noon):
    row = make.incident(belt_a1, at_noon)
    with pytest.raises(Refused, match="Say why"):
        correct_entry(row, by=erin, reason=" ", severity="spill")
    correct_entry(row, by=erin, reason="was a spill", severity="spill")
    with pytest.raises(Refused, match="corrected before"):
        correct_entry(row, by=erin, reason="again", severity="trip")


@pytest.mark.parametrize("is_same_form", [True, False])
def test_of_two_corrections_at_the_same_moment_one_is_written(belt_a1, pat, erin, at_noon, monkeypatch, is_same_form):
    row = make.incident(belt_a1, at_noon)
    key = uuid.uuid4()
    first = {}

    def somebody_is_faster(fresh, **options):
        if not first:
            first["row"] = None
            first["row"] = correct_entry(row, by=erin, reason="trip", client_key=key, severity="trip")
        check_row(fresh, **options)

    check_row = records.check_row
    monkeypatch.setattr(records, "check_row", somebody_is_faster)
    if is_same_form:
        assert correct_entry(row, by=erin, reason="trip", client_key=key, severity="trip") == first["row"]
        assert Incident.objects.get(corrects=row).severity == "trip"
    else:
        with pytest.raises(Refused, match="at the same moment") as refusal:
            correct_entry(row, by=pat, reason="spill", client_key=uuid.uuid4(), severity="spill")
        assert refusal.value.code == "corrected"
