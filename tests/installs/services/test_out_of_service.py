"""Out of service and back: refusals in words, counted once, told after the commit; the removal ends a spell."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
import time_machine

from installs.models import OutOfService
from installs.services.installations import remove_installation
from installs.services.out_of_service import back_in_service, change_out_of_service, take_out_of_service
from installs.signals import service_changed
from plant.errors import ChangedMeanwhile, Refused
from tests import make

UTC = dt.UTC
NOON = dt.datetime(2026, 3, 2, 12, tzinfo=UTC)
FEB = dt.datetime(2026, 2, 10, 9, tzinfo=UTC)
DAY = dt.timedelta(days=1)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def at(belt_a1):
    return make.installation(belt_a1, "1")


def out(at, by, **values):
    return take_out_of_service(installation=at, by=by, **{"begins_at": FEB, "reason": "pivot seized", **values})


def test_out_once_back_once_and_told(at, tess, django_capture_on_commit_callbacks):
    heard = []

    def listen(sender, installation, **kwargs):
        heard.append(installation)

    service_changed.connect(listen)
    key = uuid.uuid4()
    try:
        with django_capture_on_commit_callbacks(execute=True):
            spell = out(at, tess, client_key=key)
            assert out(at, tess, client_key=key) == spell
        with django_capture_on_commit_callbacks(execute=True):
            back_in_service(spell, by=tess, version=1, ends_at=FEB + 3 * DAY)
    finally:
        service_changed.disconnect(listen)
    assert heard == [at, at]
    assert OutOfService.objects.get().ends_at == FEB + 3 * DAY
    with pytest.raises(Refused, match="back since"):
        back_in_service(spell, by=tess, version=2, ends_at=FEB + 4 * DAY)


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"reason": " "}, "reason", "Say why"),
        ({"begins_at": NOON + DAY}, "begins_at", "in the future"),
        ({"begins_at": dt.datetime(2026, 1, 1, tzinfo=UTC)}, "begins_at", "before the installation"),
    ],
)
def test_refused_in_words(at, tess, values, field, words):
    with pytest.raises(Refused) as refusal:
        out(at, tess, **values)
    assert words in refusal.value.fields[field]
    assert not OutOfService.objects.exists()


def test_not_twice_at_once_and_not_back_before_it_went(at, tess):
    spell = out(at, tess)
    with pytest.raises(Refused, match="out of service since 10 Feb 2026, 09:00 already"):
        out(at, tess, begins_at=FEB + DAY)
    with pytest.raises(Refused, match="not after"):
        back_in_service(spell, by=tess, version=1, ends_at=FEB)
    back_in_service(spell, by=tess, version=1, ends_at=FEB + 2 * DAY)
    with pytest.raises(Refused, match="overlap"):
        change_out_of_service(
            out(at, tess, begins_at=FEB + 5 * DAY),
            by=tess,
            version=1,
            begins_at=FEB + DAY,
            ends_at=None,
            reason="strap",
        )


def test_put_right_with_history_and_not_over_another(at, tess, pat):
    spell = out(at, tess)
    change_out_of_service(spell, by=pat, version=1, begins_at=FEB - DAY, ends_at=None, reason="pivot seized, strap")
    assert OutOfService.objects.get().reason == "pivot seized, strap"
    with pytest.raises(ChangedMeanwhile):
        back_in_service(OutOfService.objects.get(), by=tess, version=1, ends_at=FEB + DAY)
    kept = list(OutOfService.objects.get().history.order_by("history_id").values_list("begins_at", flat=True))
    assert kept == [FEB, FEB - DAY]


def test_a_removal_ends_the_spell_and_cannot_lie_before_it(at, tess, pat):
    out(at, tess)
    with pytest.raises(Refused, match="out of service since"):
        remove_installation(at, by=pat, version=at.version, removed_at=FEB - DAY, reason="goes to S-15")
    at.refresh_from_db()
    remove_installation(at, by=pat, version=at.version, removed_at=FEB + DAY, reason="goes to S-15")
    assert OutOfService.objects.get().ends_at == FEB + DAY
    with pytest.raises(Refused, match="after the removal"):
        out(at, tess, begins_at=FEB + 2 * DAY)
