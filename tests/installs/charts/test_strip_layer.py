import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from installs.charts.strip_layer import layer_of
from installs.panels import strip_layers
from plant.calc.units import UnitSystem
from plant.selectors.incidents import IncidentPlace
from plant.selectors.strip import StripSubject
from tests import make

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, tzinfo=dt.UTC)


def at(chainage_m, strand="return"):
    return IncidentPlace(1, NOW, strand, chainage_m, "drift")


def layer(belt, incidents=(), system=UnitSystem.METRIC):
    from installs.models import Installation

    standing = list(Installation.objects.in_place_at(NOW).select_related("device__device_model", "plant", "conveyor"))
    return layer_of(belt, standing, incidents, system)


def test_the_long_belt_names_the_stretch_that_no_device_reaches(alder):
    """Four devices at 60, 180, 300 and 760 m that steer 50 m: 300 to 710 m is out of reach."""
    belt = make.conveyor(alder, tag="Q-11", length_m=900.0)
    for number, chainage_m in (("8", 60.0), ("9", 180.0), ("10", 300.0), ("11", 760.0)):
        make.installation(belt, number, chainage_m=chainage_m)
    incidents = [at(560.0)] * 23 + [at(40.0)] * 10 + [at(100.0)] * 2 + [at(None), at(50.0, ""), at(600.0, "carry")]
    found = layer(belt, incidents)
    assert [(each.number, each.chainage_m) for each in found.devices] == [
        ("8", 60.0), ("9", 180.0), ("10", 300.0), ("11", 760.0),
    ]  # fmt: skip
    assert [(each.low_m, each.high_m) for each in found.zones] == [(10, 60), (130, 180), (250, 300), (710, 760)]
    assert [each.words for each in found.gaps] == ["no device reaches 300 to 710 m: 23 of 38 incidents"]
    # 23 + 2 on the return strand, 1 on the carry strand, where no device stands; 2 have no place.
    assert found.sentences == ("26 of the 38 lie where no device reaches.",)
    listed = {row.place: row.detail for row in found.rows if row.what == "No device reaches this stretch"}
    assert listed["return, 300 to 710 m"] == "23 of 38 incidents"
    assert listed["return, 60 to 130 m"] == "2 of 38 incidents"
    assert len(listed) == 5


def test_devices_that_share_a_stretch_are_named(belt_a1):
    make.installation(belt_a1, "1", chainage_m=100.0)
    make.installation(belt_a1, "2", chainage_m=120.0)
    found = layer(belt_a1)
    assert [(each.low_m, each.high_m) for each in found.zones if each.kind == "overlap"] == [(70, 100)]
    shared = [row for row in found.rows if row.what == "Zones overlap"]
    assert [(row.place, row.detail) for row in shared] == [
        ("return, 70 to 100 m", "devices 1 and 2 both steer here; their effect is judged as one")
    ]


def test_on_a_reversing_belt_a_device_steers_both_ways_and_does_not_overlap_itself(alder):
    belt = make.conveyor(alder, tag="K-2", length_m=40.0, is_reversing=True)
    make.installation(belt, chainage_m=20.0)
    found = layer(belt, [at(5.0)])
    assert found.devices[0].name == "device 1, return, 20 m, steers 0 to 20 m and 20 to 40 m"
    assert [row.what for row in found.rows] == ["Device 1"]
    assert found.sentences == ()


def test_a_device_that_was_removed_is_not_on_the_strip(belt_a1):
    make.installation(belt_a1, removed_at=dt.datetime(2026, 2, 1, tzinfo=dt.UTC))
    found = layer(belt_a1, [at(5.0)])
    assert found.devices == ()
    assert found.sentences == ("No device stands on this belt.",)


def test_words_are_in_the_readers_units(belt_a1):
    make.installation(belt_a1, chainage_m=100.0)
    found = layer(belt_a1, [at(150.0), at(160.0)], UnitSystem.US)
    assert found.gaps[0].words == "no device reaches 328.1 to 656.2 ft: 2 of 2 incidents"
    assert found.sentences == ("None of them lies where a device reaches.",)


def test_a_belt_that_was_shortened_past_its_device_still_has_a_page(belt_a1):
    make.installation(belt_a1, chainage_m=100.0)
    belt_a1.length_m = 90.0
    belt_a1.save()
    found = layer(belt_a1, [at(150.0)])
    assert [(each.low_m, each.high_m) for each in found.zones] == [(40, 90)]  # as if it stood at the head


def test_many_belts_cost_one_query(alder, rf):
    belts = [make.conveyor(alder, tag=f"B-{n}") for n in range(5)]
    for n, belt in enumerate(belts):
        make.installation(belt, str(n))
    subject = StripSubject(tuple(belts), NOW, NOW, {belt.pk: () for belt in belts})
    with CaptureQueriesContext(connection) as queries:
        layers = strip_layers(rf.get("/"), subject)
    assert len(queries) == 1
    assert [layers[belt.pk].devices[0].number for belt in belts] == ["0", "1", "2", "3", "4"]


def test_the_page_and_the_list_of_conveyors_show_the_devices(client, belt_a1, tess):
    fitted = make.installation(belt_a1, "17", chainage_m=100.0)
    for n in range(3):
        make.incident(belt_a1, timezone.now() - dt.timedelta(days=5 + n), chainage_m=150.0)
    client.force_login(tess)
    page = client.get(belt_a1.get_absolute_url()).content.decode()
    assert f'<a href="{fitted.get_absolute_url()}" aria-label="device 17, return, 100 m, steers 50 to 100 m"' in page
    assert "no device reaches 100 to 200 m: 3 of 3 incidents" in page
    assert "None of them lies where a device reaches." in page
    listed = client.get(reverse("conveyor-list"))
    assert "A-1: 1 device, 3 incidents in twelve months" in listed.content.decode()
    assert [row.get_cell_value("n_devices") for row in listed.context["table"].rows] == [1]
