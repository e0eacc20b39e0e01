"""One device in one place for one period: what is written, what is refused, and what the data base itself holds."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.db import IntegrityError, connection, transaction

from installs.models import Installation
from installs.services.device_models import add_device_model, change_device_model
from installs.services.installations import change_installation, install_device, remove_installation
from installs.signals import device_installed, device_removed
from installs.words.installations import fit_warnings
from plant.calc.units import UnitSystem
from plant.errors import ChangedMeanwhile, Refused
from tests import make

DAY = dt.timedelta(days=1)
MAY = dt.datetime(2026, 5, 4, 8, tzinfo=dt.UTC)


@pytest.fixture
def device(alder):
    return make.device(alder, "20")


@pytest.fixture
def belt_b2(alder):
    return make.conveyor(alder, tag="B-2")


def install(device, belt, by, at_noon, **values):
    known = {"strand": "return", "chainage_m": 100.0, "installed_at": MAY, "now": at_noon}
    return install_device(device=device, conveyor=belt, by=by, **{**known, **values})


def test_a_device_is_fitted_once_and_apps_above_hear_of_it(
    device, belt_a1, pat, at_noon, django_capture_on_commit_callbacks
):
    heard, key = [], uuid.uuid4()

    def hear(sender, installation, **kwargs):
        heard.append(installation)

    device_installed.connect(hear)
    try:
        with django_capture_on_commit_callbacks(execute=True):
            first = install(device, belt_a1, pat, at_noon, client_key=key)
            again = install(device, belt_a1, pat, at_noon, client_key=key)
    finally:
        device_installed.disconnect(hear)
    assert first == again
    assert heard == [first]
    assert (first.plant, first.created_by, first.history.get().history_user) == (belt_a1.plant, pat, pat)


@pytest.mark.parametrize(
    ("values", "words", "field"),
    [
        ({"chainage_m": 200.5}, "200.5 m is not on A-1: give 0 to 200 m", "chainage_m"),
        ({"chainage_m": -1.0}, "is not on A-1", "chainage_m"),
        ({"strand": "top"}, "which strand", "strand"),
        ({"installed_at": dt.datetime(2026, 11, 21, tzinfo=dt.UTC)}, "is in the future", "installed_at"),
        ({"removed_at": MAY - DAY, "removal_reason": "x"}, "is not after installed", "removed_at"),
    ],
)
def test_what_cannot_be_is_refused(device, belt_a1, pat, at_noon, values, words, field):
    with pytest.raises(Refused, match=words) as refusal:
        install(device, belt_a1, pat, at_noon, **values)
    assert field in refusal.value.fields
    assert not Installation.objects.exists()


def test_a_device_that_stands_elsewhere_is_refused_with_place_and_time(device, belt_a1, belt_b2, pat, at_noon):
    install(device, belt_b2, pat, at_noon, chainage_m=55.0)
    with pytest.raises(Refused, match=r"Device 20 stands on B-2, return strand, at 55 m since 4 May 2026, 08:00"):
        install(device, belt_a1, pat, at_noon, installed_at=MAY + 10 * DAY)


def test_a_closed_period_is_refused_too(device, belt_a1, belt_b2, pat, at_noon):
    install(device, belt_b2, pat, at_noon, removed_at=MAY + 30 * DAY, removal_reason="moved")
    with pytest.raises(Refused, match="stood on B-2, return strand, at 100 m from 4 May 2026, 08:00 to 3 Jun 2026"):
        install(device, belt_a1, pat, at_noon, installed_at=MAY + 29 * DAY)
    with pytest.raises(Refused, match="stood on B-2"):
        install(device, belt_a1, pat, at_noon, installed_at=MAY - 9 * DAY, removed_at=MAY + DAY, removal_reason="x")
    install(device, belt_a1, pat, at_noon, installed_at=MAY + 30 * DAY)  # the very moment of the removal is free
    assert Installation.objects.count() == 2


def test_a_place_holds_one_device(device, belt_a1, alder, pat, at_noon):
    install(device, belt_a1, pat, at_noon)
    other = make.device(alder, "21")
    with pytest.raises(Refused, match="The place A-1, return strand, at 100 m holds device 20 since") as refusal:
        install(other, belt_a1, pat, at_noon, installed_at=MAY + DAY)
    assert refusal.value.code == "place_taken"
    install(other, belt_a1, pat, at_noon, strand="carry")


def test_a_reversing_belt_takes_only_devices_for_both_directions(alder, pat, at_noon):
    belt = make.conveyor(alder, tag="R-1", is_reversing=True)
    one_way = make.device(alder, "30", make.device_model(alder, "one-way"))
    two_way = make.device(alder, "31", make.device_model(alder, "both ways", suits_reversing=True))
    with pytest.raises(Refused, match="R-1 is a reversing belt and one-way is not made for both directions"):
        install(one_way, belt, pat, at_noon)
    assert install(two_way, belt, pat, at_noon).pk


def test_a_belt_that_became_reversing_says_so_at_the_device_that_stands_on_it(alder, belt_a1, pat, at_noon):
    at = install(make.device(alder, "32", make.device_model(alder, "one-way")), belt_a1, pat, at_noon)
    assert fit_warnings(at.device, belt_a1, "return") == []
    belt_a1.is_reversing = True
    assert fit_warnings(at.device, belt_a1, "return") == [
        "A-1 is a reversing belt and one-way is not made for both directions: in reverse it steers the belt off."
    ]


def test_what_does_not_suit_is_said_but_not_forbidden(alder, belt_a1, pat, at_noon):
    model = make.device_model(
        alder, "RP-1", strand="return", belt_width_least_mm=500.0, belt_width_most_mm=900.0, speed_most_m_s=2.0
    )
    device = make.device(alder, "40", model)
    said = fit_warnings(device, belt_a1, "carry")
    assert len(said) == 3
    assert "made for the return strand, this is the carry strand" in said[0]
    assert "1200 mm wide; RP-1 is stated for 500 mm to 900 mm" in said[1]
    assert "2.5 m/s; RP-1 is stated for up to 2 m/s" in said[2]
    in_inches = fit_warnings(device, belt_a1, "carry", system=UnitSystem.US)
    assert "47 1/4 in wide; RP-1 is stated for 19 11/16 in to 35 7/16 in" in in_inches[1]
    assert "492.1 ft/min; RP-1 is stated for up to 393.7 ft/min" in in_inches[2]
    assert install(device, belt_a1, pat, at_noon, strand="carry").pk
    assert fit_warnings(make.device(alder, "41", make.device_model(alder, "silent")), belt_a1, "return") == []


def test_other_plants_scrapped_devices_and_retired_belts_are_refused(device, belt_a1, belt_z9, other, pat, at_noon):
    with pytest.raises(Refused, match="different plants"):
        install(device, belt_z9, pat, at_noon)
    belt_a1.retired_on = dt.date(2026, 5, 4)
    with pytest.raises(Refused, match="A-1 was taken out of use on 4 May 2026"):
        install(device, belt_a1, pat, at_noon)
    belt_a1.retired_on, device.scrapped_on = None, dt.date(2026, 5, 4)
    with pytest.raises(Refused, match="Device 20 was scrapped"):
        install(device, belt_a1, pat, at_noon)


def test_a_removal_keeps_its_reason_and_frees_device_and_place(
    device, belt_a1, belt_b2, pat, at_noon, django_capture_on_commit_callbacks
):
    row, heard = install(device, belt_a1, pat, at_noon), []

    def hear(sender, installation, **kwargs):
        heard.append(installation)

    device_removed.connect(hear)
    try:
        with django_capture_on_commit_callbacks(execute=True):
            remove_installation(row, by=pat, version=1, removed_at=MAY + 9 * DAY, reason="belt shortened", now=at_noon)
    finally:
        device_removed.disconnect(hear)
    assert heard == [row]
    row.refresh_from_db()
    assert (row.removed_at, row.removal_reason) == (MAY + 9 * DAY, "belt shortened")
    assert install(device, belt_b2, pat, at_noon, installed_at=MAY + 9 * DAY).pk
    with pytest.raises(Refused, match="It was removed 13 May 2026, 08:00 already"):
        remove_installation(row, by=pat, version=2, removed_at=at_noon, reason="again", now=at_noon)


@pytest.mark.parametrize(
    ("values", "words", "field"),
    [
        ({"reason": "  "}, "Say why", "reason"),
        ({"removed_at": MAY}, "is not after installed", "removed_at"),
        ({"removed_at": dt.datetime(2026, 11, 21, tzinfo=dt.UTC)}, "in the future", "removed_at"),
    ],
)
def test_removals_that_cannot_be(device, belt_a1, pat, at_noon, values, words, field):
    row = install(device, belt_a1, pat, at_noon)
    with pytest.raises(Refused, match=words) as refusal:
        remove_installation(
            row, by=pat, version=1, now=at_noon, **{"removed_at": MAY + DAY, "reason": "worn", **values}
        )
    assert field in refusal.value.fields
    row.refresh_from_db()
    assert row.removed_at is None


def test_a_change_is_held_to_the_same_rules(device, belt_a1, alder, pat, at_noon):
    row = install(device, belt_a1, pat, at_noon)
    install(make.device(alder, "21"), belt_a1, pat, at_noon, chainage_m=60.0)
    with pytest.raises(Refused, match="holds device 21"):
        change_installation(row, by=pat, version=1, chainage_m=60.0)
    row.refresh_from_db()
    with pytest.raises(Refused, match="removal and a new installation"):
        change_installation(row, by=pat, version=1, conveyor=belt_a1)
    change_installation(row, by=pat, version=1, chainage_m=101.0, access="drive side walkway")
    with pytest.raises(ChangedMeanwhile):
        change_installation(Installation.objects.get(pk=row.pk), by=pat, version=1, note="late")
    assert Installation.objects.get(pk=row.pk).chainage_m == 101.0


# --- what the data base holds, whoever writes -------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("values", "name"),
    [
        ({"number": "same", "chainage_m": 50.0}, "installation_device_no_overlap"),
        ({"number": "other", "chainage_m": 100.0}, "installation_place_no_overlap"),
    ],
)
def test_raw_overlaps_of_closed_periods_are_refused(alder, belt_a1, values, name):
    """No service in between: closed periods too, on an insert and on an update."""
    device = make.device(alder, "same")
    make.installation(belt_a1, device=device, installed_at=MAY, removed_at=MAY + 20 * DAY)
    mine = device if values["number"] == "same" else make.device(alder, "other")
    place = {"device": mine, "chainage_m": values["chainage_m"]}
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        make.installation(belt_a1, installed_at=MAY + 19 * DAY, removed_at=MAY + 30 * DAY, **place)
    later = make.installation(belt_a1, installed_at=MAY + 20 * DAY, removed_at=MAY + 30 * DAY, **place)
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        Installation.objects.filter(pk=later.pk).update(installed_at=MAY + 19 * DAY)


def test_the_refusal_of_the_data_base_is_a_sentence(device, belt_a1, belt_b2, pat, at_noon, monkeypatch):
    """Two people at the same moment: the check of the second came before the first one's row."""
    from installs.services import installations

    install(device, belt_b2, pat, at_noon, removed_at=MAY + 30 * DAY, removal_reason="moved")
    monkeypatch.setattr(installations, "check_free", lambda **kwargs: None)
    with pytest.raises(Refused, match="The device stood in another place at that time"):
        install(device, belt_a1, pat, at_noon, installed_at=MAY + DAY)


def test_the_refusal_stands_after_all_migrations(db):
    """A later change of the table makes it anew on SQLite and would lose the triggers without a word."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT conname FROM pg_constraint WHERE contype = 'x'")
            wanted = {"installation_device_no_overlap", "installation_place_no_overlap"}
        else:
            cursor.execute(
                "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'installs_installation'"
            )
            wanted = {
                f"installation_{what}_no_overlap_{event}"
                for what in ("device", "place")
                for event in ("insert", "update")
            }
        assert wanted <= {row[0] for row in cursor.fetchall()}


def test_what_holds_is_the_sheet_that_it_was_fitted_to(alder, belt_a1, pat, erin):
    model = add_device_model(
        plant=alder, by=erin, name="T-9", strand="return", belt_width_most_mm=1400.0, effect_length_m=40.0
    )
    device = make.device(alder, "77", model)
    at = install_device(device=device, conveyor=belt_a1, strand="return", chainage_m=60.0, installed_at=MAY, by=pat)
    change_device_model(model, by=erin, version=model.version, belt_width_most_mm=1000.0, effect_length_m=25.0)
    fresh = Installation.objects.select_related("sheet", "device__device_model", "plant", "conveyor").get(pk=at.pk)
    assert fresh.effect_length_m == 40.0
    assert fit_warnings(fresh.device, belt_a1, "return", stated=fresh.stated) == []
    assert len(fit_warnings(fresh.device, belt_a1, "return")) == 1
    fresh.sheet = None  # one from before sheets were kept
    assert fresh.effect_length_m == 25.0
