"""A form over a record that comes back without the version that was opened."""

from __future__ import annotations

import pytest

from plant.forms.conveyors import AreaForm
from tests import make


@pytest.fixture
def area(alder):
    return make.area(alder)


def filled_in(pat, area, **more):
    data = {"code": area.code, "name": "Renamed", "walking_order": 1, **more}
    return AreaForm(data, person=pat, plant=area.plant, instance=area)


def test_a_change_without_its_version_is_asked_for_again(pat, area):
    form = filled_in(pat, area)
    assert not form.is_valid()
    assert "Open it again" in str(form.errors)


def test_a_change_with_its_version_is_read(pat, area):
    assert filled_in(pat, area, version=area.version).is_valid()
