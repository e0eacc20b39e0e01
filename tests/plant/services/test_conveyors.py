import datetime as dt
import uuid

import pytest

from plant.errors import ChangedMeanwhile, Refused
from plant.models import Area, Conveyor, ConveyorPart
from plant.services.conveyors import (
    add_area,
    add_conveyor,
    add_part,
    change_area,
    change_conveyor,
    change_part,
    remove_part,
)
from tests import make

pytestmark = pytest.mark.django_db
BELT = {"belt_width_mm": 800.0, "speed_m_s": 2.0, "length_m": 120.0}


@pytest.fixture
def crushing(alder):
    return make.area(alder)


def test_a_conveyor_is_written_once_however_often_its_form_is_sent(alder, crushing, erin):
    key = uuid.uuid4()
    first = add_conveyor(plant=alder, by=erin, client_key=key, tag="S-12", area=crushing, **BELT)
    again = add_conveyor(plant=alder, by=erin, client_key=key, tag="S-12", area=crushing, **BELT)
    assert first == again
    assert Conveyor.objects.count() == 1
    assert first.created_by == erin
    assert first.history.get().history_user == erin


@pytest.mark.parametrize("spelling", ["a1", "A 1", "CV-A1", "A-01"])
def test_a_tag_stands_for_one_conveyor_in_any_spelling(belt_a1, erin, spelling):
    with pytest.raises(Refused) as refusal:
        add_conveyor(plant=belt_a1.plant, by=erin, tag=spelling, area=belt_a1.area, **BELT)
    assert refusal.value.code == "tag_known"
    assert refusal.value.fields["tag"].startswith(f"{spelling} is in the book already as A-1")
    assert "however it is spelt" in refusal.value.message


def test_the_same_tag_may_stand_in_another_plant(belt_a1, other, otto):
    made = add_conveyor(plant=other, by=otto, tag="A-1", area=make.area(other), **BELT)
    assert made.plant == other


def test_an_area_of_another_plant_is_refused(alder, other, erin):
    with pytest.raises(Refused, match="belongs to another plant") as refusal:
        add_conveyor(plant=alder, by=erin, tag="S-1", area=make.area(other), **BELT)
    assert "area" in refusal.value.fields


def test_impossible_figures_are_refused_at_their_field(alder, crushing, erin):
    with pytest.raises(Refused) as refusal:
        add_conveyor(plant=alder, by=erin, tag="S-1", area=crushing, **{**BELT, "length_m": -5.0})
    assert list(refusal.value.fields) == ["length_m"]
    assert not Conveyor.objects.exists()


def test_renaming_a_conveyor_moves_its_key_along(belt_a1, erin):
    change_conveyor(belt_a1, by=erin, version=1, tag="A-7")
    assert Conveyor.objects.by_tag(belt_a1.plant, "a7").get() == belt_a1
    change_conveyor(belt_a1, by=erin, version=2, tag="A 7")  # its own tag in another spelling is no clash


def test_a_second_editor_is_told_and_nothing_is_written(belt_a1, erin, pat):
    mine = Conveyor.objects.get(pk=belt_a1.pk)
    change_conveyor(belt_a1, by=erin, version=1, speed_m_s=3.0)
    with pytest.raises(ChangedMeanwhile) as clash:
        change_conveyor(mine, by=pat, version=1, speed_m_s=4.0)
    assert clash.value.current.speed_m_s == 3.0
    assert Conveyor.objects.get(pk=belt_a1.pk).speed_m_s == 3.0


def test_a_belt_is_not_cut_short_of_what_sits_on_it(belt_a1, erin):
    part = add_part(conveyor=belt_a1, by=erin, kind="drift_switch", chainage_m=180.0)
    with pytest.raises(Refused, match=r"Drift switch sits at 180 m, beyond 150 m\. Move or remove it first"):
        change_conveyor(belt_a1, by=erin, version=1, length_m=150.0)
    remove_part(part, by=erin, version=1, removed_on=dt.date(2026, 1, 5))
    change_conveyor(belt_a1, by=erin, version=1, length_m=150.0)


def test_a_part_beyond_the_belt_is_refused_with_what_is_allowed(belt_a1, erin):
    with pytest.raises(Refused) as refusal:
        add_part(conveyor=belt_a1, by=erin, kind="drift_switch", chainage_m=200.5)
    assert refusal.value.fields["chainage_m"] == "200.5 m is not on A-1: give 0 to 200 m, counted from the tail pulley."


@pytest.mark.parametrize("kind", ["loading_point", "scraper", "belt_scale"])
def test_a_part_of_one_strand_needs_it(belt_a1, erin, kind):
    with pytest.raises(Refused, match="sits on one strand: say which") as refusal:
        add_part(conveyor=belt_a1, by=erin, kind=kind, chainage_m=5.0)
    assert "strand" in refusal.value.fields
    add_part(conveyor=belt_a1, by=erin, kind=kind, chainage_m=5.0, strand="carry")


def test_a_conveyor_has_one_tail_pulley_until_it_is_removed(belt_a1, erin):
    first = add_part(conveyor=belt_a1, by=erin, kind="tail_pulley", chainage_m=0.0)
    with pytest.raises(Refused, match="A-1 has a tail pulley already, at 0 m"):
        add_part(conveyor=belt_a1, by=erin, kind="tail_pulley", chainage_m=1.0)
    change_part(first, by=erin, version=1, label="T1")
    remove_part(first, by=erin, version=2, removed_on=dt.date(2026, 1, 5), reason="rebuilt")
    add_part(conveyor=belt_a1, by=erin, kind="tail_pulley", chainage_m=0.0)


def test_a_part_is_removed_once_and_not_ahead_of_time(belt_a1, erin):
    part = add_part(conveyor=belt_a1, by=erin, kind="guard", chainage_m=10.0)
    with pytest.raises(Refused, match="lies ahead"):
        remove_part(part, by=erin, version=1, removed_on=dt.date(2999, 1, 1))
    remove_part(part, by=erin, version=1, removed_on=dt.date(2026, 1, 5))
    with pytest.raises(Refused, match="was removed on 5 Jan 2026 already"):
        remove_part(part, by=erin, version=2, removed_on=dt.date(2026, 1, 6))
    assert ConveyorPart.objects.get().removed_on == dt.date(2026, 1, 5)


def test_an_areas_code_is_its_own(alder, crushing, erin):
    with pytest.raises(Refused, match="Code A belongs to Crushing already"):
        add_area(plant=alder, by=erin, code="a", name="Ash")
    ash = add_area(plant=alder, by=erin, code="B", name="Ash")
    with pytest.raises(Refused, match="Code A belongs"):
        change_area(ash, by=erin, version=1, code="A")
    assert change_area(ash, by=erin, version=1, code="b", name="Ash yard").name == "Ash yard"
    assert Area.objects.count() == 2


def test_two_who_give_the_same_tag_at_the_same_moment_are_told_in_words(belt_a1, erin, monkeypatch):
    # Both looked before either wrote: the data base decides.
    monkeypatch.setattr("plant.services.conveyors.check_tag", lambda plant, tag: belt_a1.tag_key)
    monkeypatch.setattr("plant.services.records.check_row", lambda row: None)
    with pytest.raises(Refused, match="A conveyor with this tag is in the book already"):
        add_conveyor(plant=belt_a1.plant, by=erin, tag="A-1", area=belt_a1.area, **BELT)
    monkeypatch.setattr("plant.services.conveyors.check_area", lambda plant, code: None)
    with pytest.raises(Refused, match="An area with this code is in the book already"):
        add_area(plant=belt_a1.plant, by=erin, code="A", name="Ash")
