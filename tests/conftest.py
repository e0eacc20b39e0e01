"""One small plant with a fixed cast that every test knows by heart.

Plant *Alder Pit* (Europe/Berlin): technician `tess`, planner `pat`, engineer `erin`, manager `mona`; conveyor A-1
(1200 mm, 2.5 m/s, 200 m). Plant *Other Works*: planner `otto`, conveyor Z-9. `stranger` belongs nowhere.
"""

from __future__ import annotations

import os

import pytest

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


@pytest.fixture
def alder(db):
    from tests import make

    return make.plant(name="Alder Pit", time_zone="Europe/Berlin")


@pytest.fixture
def other(db):
    from tests import make

    return make.plant(name="Other Works", time_zone="UTC")


@pytest.fixture
def tess(alder):
    from tests import make

    return make.person("tess", alder, "technician")


@pytest.fixture
def pat(alder):
    from tests import make

    return make.person("pat", alder, "planner")


@pytest.fixture
def erin(alder):
    from tests import make

    return make.person("erin", alder, "reliability engineer")


@pytest.fixture
def mona(alder):
    from tests import make

    return make.person("mona", alder, "manager")


@pytest.fixture
def otto(other):
    from tests import make

    return make.person("otto", other, "planner")


@pytest.fixture
def stranger(db):
    from tests import make

    return make.person("stranger")


@pytest.fixture
def belt_a1(alder):
    from tests import make

    return make.conveyor(alder, tag="A-1")


@pytest.fixture
def belt_z9(other):
    from tests import make

    return make.conveyor(other, tag="Z-9")


@pytest.fixture
def at_noon():
    """A fixed moment of the tests: 20 November 2026, 12:00 UTC (13:00 in Berlin)."""
    import datetime as dt

    return dt.datetime(2026, 11, 20, 12, tzinfo=dt.UTC)
