"""One small plant with a fixed cast that every test knows by heart.

Plant *Alder Pit* (Europe/Berlin): technician `tess`, planner `pat`, engineer `erin`, manager `mona`; conveyor A-1
(1200 mm, 2.5 m/s, 200 m). Plant *Other Works*: planner `otto`, conveyor Z-9. `stranger` belongs nowhere.
"""

from __future__ import annotations

import gc
import os
import shutil

import hypothesis
import pytest
from playwright.sync_api import expect
from pytest_django.plugin import blocking_manager_key

from tests import clock
from tests.migrated_book import begin_from_copy

# A busy machine takes long over an example now and then: no test holds only on a fast one.
hypothesis.settings.register_profile("at any speed", deadline=None)
# For `deploy/test --quick`: fewer examples where a test names no number of its own.
hypothesis.settings.register_profile("quick", deadline=None, max_examples=15)
hypothesis.settings.load_profile("at any speed")

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix, django_db_use_migrations):
    from django.db import connections

    if django_db_use_migrations:
        begin_from_copy(connections["default"])


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


# What is slow to make, or must not meet itself, stays in one process of a run with -n, and begins first, the longest
# before all. The file or folder tells, because xdist's own marks do not reach its scheduler with every pytest.
# The first loads the demo plant; those that wait for it come when it stands.
TOGETHER = (
    "tests/walks/demo/test_every_page.py",
    "tests/deploy/test_worker.py",
    "tests/walks/test_round_offline.py",
    "tests/test_access.py",
    "tests/fixtures/loading/test_demo_plant.py",
    "tests/fixtures/",
    "tests/walks/demo/",
)


def companions(nodeid):
    return next((place for place in TOGETHER if nodeid.startswith(place)), nodeid)


def pytest_addoption(parser):
    parser.addoption(
        "--of-database", action="store_true", help="leave out the tests that touch no data base, and those of one page"
    )


@pytest.hookimpl(tryfirst=True)
def pytest_collection_finish(session):
    """All that was imported and collected stays to the end: looking through it for garbage took a tenth of a run."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 10, 10)


def has_real_transactions(item):
    marked = item.get_closest_marker("django_db")
    return "transactional_db" in item.fixturenames or (marked is not None and marked.kwargs.get("transaction", False))


def depends_on_database(item):
    """Whether another data base may answer otherwise.

    A page asks for its rows through services and selectors, which have tests of their own; that every page answers,
    whatever stands in its address, and that every form is written are tests over all of them. So the tests of single
    pages stay with one data base, but for those in which several meet.
    """
    if "/views/" in item.nodeid and not has_real_transactions(item):
        return False
    return bool(item.get_closest_marker("django_db") or {"db", "transactional_db"} & {*item.fixturenames})


def pytest_collection_modifyitems(config, items):
    if config.getoption("--of-database"):
        config.hook.pytest_deselected(items=[item for item in items if not depends_on_database(item)])
        items[:] = [item for item in items if depends_on_database(item)]
    items.sort(key=lambda item: TOGETHER.index(place) if (place := companions(item.nodeid)) in TOGETHER else 99)


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_teardown(item, nextitem):
    """A test with real transactions empties every table; what a migration wrote comes back for those behind."""
    yield
    if has_real_transactions(item) and nextitem is not None:
        from tests import make

        with item.config.stash[blocking_manager_key].unblock():
            make.built_in_check_kinds()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    from xdist.scheduler import LoadScopeScheduling

    class CompanionScheduling(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            return companions(nodeid)

    config.option.loadscopereorder = False
    return CompanionScheduling(config, log)


# The one without windows draws the same pages for half the work.
CHROMIUM = (
    os.environ.get("DRIFTBOOK_CHROMIUM")
    or shutil.which("chromium-headless-shell")
    or shutil.which("chromium")
    or "/usr/bin/chromium"
)


def pytest_runtest_setup(item):
    """A service that is missing skips its tests and says so; in CI that is a failure."""
    missing = ""
    if item.get_closest_marker("browser") and not os.path.exists(CHROMIUM):
        missing = f"no Chromium at {CHROMIUM}; install it or name it in DRIFTBOOK_CHROMIUM"
    if item.get_closest_marker("redis") and not os.environ.get("DRIFTBOOK_TEST_REDIS_URL"):
        missing = "no Redis; name one in DRIFTBOOK_TEST_REDIS_URL"
    if item.get_closest_marker("proxy") and shutil.which("nginx") is None:
        missing = "no nginx, the proxy of a bigger site; install it"
    if missing and os.environ.get("CI") == "true":
        pytest.fail(missing)
    elif missing:
        pytest.skip(missing)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    """The machine's Chromium instead of a downloaded one; without a card to draw on it would only play one."""
    return {
        **browser_type_launch_args,
        "executable_path": CHROMIUM,
        "args": ["--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu", "--disable-software-rasterizer"],
    }


@pytest.fixture(scope="session")
def base_url():
    """The plugin's own is written in a way that the next pytest drops; each test has its live server's address."""
    return


# How long something may take before a walk gives up: no page is that slow, but a machine with much to do may be.
GIVE_UP_AFTER_MS = 120_000
expect.set_options(timeout=GIVE_UP_AFTER_MS)


@pytest.fixture
def new_context(new_context):
    """Browsers stand on the suite's day too, and are waited for as long as they need."""

    def make(**options):
        context = new_context(**options)
        context.set_default_timeout(GIVE_UP_AFTER_MS)
        context.add_init_script(clock.browser_script())
        return context

    return make
