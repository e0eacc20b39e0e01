"""Lives gathered: which changes are failures, what is still in service, and that the page tells and hands out all."""

from __future__ import annotations

import datetime as dt
import re
from types import SimpleNamespace

import pytest
from django.urls import reverse

from installs.models import PartChange
from reports.selectors.part_lives import PIVOTS, ROLLERS, LifeLeftOut, Unknown, life_groups, lives_of
from reports.views.life import spares_words
from reports.words.part_lives import lives_words, spare_words, why_words
from tests import make
from tests.inspections.selectors.test_wear import INSTALLED, NOW, measure, on, standing  # noqa: F401  (a fixture)


def ends(lives):
    return sorted((each.side, each.is_failure, each.is_in_service) for each in lives)


def test_a_roller_in_service_lived_at_least_so_long(standing, alder):  # noqa: F811
    lives = lives_of(alder, ROLLERS, NOW)
    assert ends(lives) == [("drive", False, True), ("off", False, True)]
    days = (NOW - INSTALLED) / dt.timedelta(days=1)
    assert lives[0].hours == pytest.approx(12 * days, rel=0.02)


def test_worn_is_a_failure_and_early_is_not(standing, alder):  # noqa: F811
    for side, why in (("drive", "worn"), ("off", "early")):
        PartChange.objects.create(installation=standing, part="sensor_rollers", side=side, why=why, changed_at=on(3))
    assert ends(lives_of(alder, ROLLERS, NOW)) == [
        ("drive", False, True),
        ("drive", True, False),
        ("off", False, False),
        ("off", False, True),
    ]


def test_new_rollers_left_at_a_visit_end_a_life_once(standing, alder):  # noqa: F811
    measure(standing, on(3), 68.5, 74.0)
    standing.visits.get().readings.filter(side="drive").update(grade="act")
    measure(standing, on(3), 76.0, 76.0, stage="as_left")
    assert ends(lives_of(alder, ROLLERS, NOW)) == [
        ("drive", False, True),
        ("drive", True, False),
        ("off", False, False),
        ("off", False, True),
    ]
    # The same change, written as a part change too, is one end and not two.
    PartChange.objects.create(installation=standing, part="sensor_rollers", why="worn", changed_at=on(3))
    assert len(lives_of(alder, ROLLERS, NOW)) == 4


def test_a_pivot_fails_at_its_first_act_and_not_again_until_it_was_put_right(standing, alder):  # noqa: F811
    kind = make.check_kind("pivot-freedom")
    for month, grade in ((2, "sound"), (3, "act"), (4, "act"), (5, "sound")):
        make.task(standing, kind, on(month).date(), closed_at=on(month), outcome="done", grade=grade)
    lives = lives_of(alder, PIVOTS, NOW)
    assert [(each.is_failure, each.ended_at) for each in lives] == [(True, on(3)), (False, NOW)]


def test_a_pivot_that_was_found_seized_and_then_changed_failed_once(standing, alder):  # noqa: F811
    kind = make.check_kind("pivot-freedom")
    make.task(standing, kind, on(3).date(), closed_at=on(3), outcome="done", grade="act")
    after = on(3) + dt.timedelta(days=9)
    PartChange.objects.create(installation=standing, part="pivot", why="seized", changed_at=after)
    lives = lives_of(alder, PIVOTS, NOW)
    assert [(each.is_failure, each.ended_at) for each in lives] == [(True, on(3)), (False, NOW)]
    # Changed while its last look was sound: an end of its own.
    make.task(standing, kind, on(4).date(), closed_at=on(4), outcome="done", grade="sound")
    PartChange.objects.create(installation=standing, part="pivot", why="early", changed_at=on(5))
    assert [each.ended_at for each in lives_of(alder, PIVOTS, NOW)] == [on(3), on(5), NOW]


def test_removed_devices_count_too(standing, alder):  # noqa: F811
    standing.removed_at, standing.removal_reason = on(4), "moved"
    standing.save()
    assert {(each.is_failure, each.is_in_service, each.ended_at) for each in lives_of(alder, ROLLERS, NOW)} == {
        (False, False, on(4))
    }


def test_lives_without_known_hours_are_counted_apart(belt_a1, alder):
    make.installation(belt_a1, "20", installed_at=INSTALLED)
    (group,) = life_groups(alder, ROLLERS, NOW)
    assert (group.n_unknown, group.fit.n) == (2, 0)


def test_page_tells_lives_costs_and_hands_out_rows(client, standing, erin, mona, otto, time_machine):  # noqa: F811
    time_machine.move_to(NOW, tick=False)
    for month in (2, 3, 4, 5):
        PartChange.objects.create(
            installation=standing, part="sensor_rollers", why="worn", changed_at=on(month, 3 * month)
        )
    client.force_login(erin)
    page = client.get(reverse("life")).content.decode()
    assert "10 lives, 8 of them ended by a failure" in page
    assert "63 % failed by" in page
    assert "<svg" in page
    asked = client.get(reverse("life"), {"cost_planned": "1", "cost_failure": "5"}).content.decode()
    assert "per running hour against" in asked
    assert re.search(r"Spares in twelve months</dt>\s*<dd>\s*\d+\.\d \(\d+ to \d+\) for failures", page)
    assert "none was changed while sound so far" in page
    assert client.get(reverse("life"), {"cost_planned": "-1"}).status_code == 422
    rows = client.get(reverse("life"), {"format": "csv"}).content.decode().splitlines()
    assert len(rows) == 11
    client.force_login(otto)
    assert "A-1" not in client.get(reverse("life"), {"format": "csv"}).content.decode()


def test_an_empty_plant_says_what_would_stand_here(client, erin):
    client.force_login(erin)
    assert "No device stands in the book yet" in client.get(reverse("life")).content.decode()


@pytest.fixture
def at_now(time_machine):
    time_machine.move_to(NOW, tick=False)


def changed(at, why, *months):
    for month in months:
        PartChange.objects.create(installation=at, part="sensor_rollers", why=why, changed_at=on(month))


def test_parts_changed_while_sound_are_spares_too(client, standing, alder, erin, at_now):  # noqa: F811
    """Six rollers in three pairs, none of them failed: no Weibull life, and still six rollers went."""
    changed(standing, "early", 2, 3, 4)
    (group,) = life_groups(alder, ROLLERS, NOW)
    assert group.fit.shape is None
    spares = group.spares
    assert (spares.changes.n, spares.failures) == (6, None)
    hours = sum(each.hours for each in group.lives)
    # Two rollers that run 12 h a day: so many hours in a year, at the rate so far.
    assert spares.expected == pytest.approx(6 / hours * 2 * 12 * 365.25, rel=0.03)
    client.force_login(erin)
    page = " ".join(client.get(reverse("life")).content.decode().split())
    assert f"About {round(spares.expected)} spares are to be expected in the next twelve months" in page
    assert "if they go on being changed as so far: 6 in" in page


@pytest.mark.parametrize(
    ("expected", "words"),
    [
        (1.2, "About 1 spare is to be expected in the next twelve months"),
        (0.3, "Less than one spare is to be expected in the next twelve months (0.3)"),
        (0.02, "Less than one spare is to be expected in the next twelve months (less than 0.1)"),
        (0.0, "No spare is to be expected in the next twelve months."),
    ],
)
def test_no_number_of_spares_says_more_than_is_so(expected, words):
    groups = [SimpleNamespace(spares=SimpleNamespace(expected=expected, n_unknown_speed=0, n_in_service=2))]
    assert spares_words(groups).startswith(words)


def test_a_group_without_any_change_is_not_known_and_not_nothing(client, standing, alder, erin, at_now):  # noqa: F811
    (group,) = life_groups(alder, ROLLERS, NOW)
    assert group.spares.expected is None
    client.force_login(erin)
    page = " ".join(client.get(reverse("life")).content.decode().split())
    assert "For 1 of 1 group it is not known." in page
    assert "not known: none was changed in" in page
    assert "spares are to be expected" not in page


def test_failures_and_sound_changes_add_up_and_what_was_removed_needs_none(standing, alder):  # noqa: F811
    for month in (2, 3, 4, 5):
        PartChange.objects.create(
            installation=standing, part="sensor_rollers", side="drive", why="worn", changed_at=on(month, 3 * month)
        )
    PartChange.objects.create(installation=standing, part="sensor_rollers", side="off", why="early", changed_at=on(3))
    (group,) = life_groups(alder, ROLLERS, NOW)
    assert group.fit.shape is not None
    assert group.spares.changes.n == 1
    assert group.spares.expected == pytest.approx(
        group.demand[-1].until_expected + group.spares.changes.expected, rel=1e-9
    )
    standing.removed_at, standing.removal_reason = NOW, "moved"
    standing.save()
    assert life_groups(alder, ROLLERS, NOW)[0].spares.expected == 0.0


def test_spares_on_a_belt_of_unknown_hours_are_not_known(belt_a1, alder):
    make.installation(belt_a1, "20", installed_at=INSTALLED)
    (group,) = life_groups(alder, ROLLERS, NOW)
    assert (group.spares.expected, group.spares.n_unknown_speed, group.spares.n_in_service) == (None, 2, 2)
    assert spare_words(group.spares).startswith("not known: of every part in service the running hours")


@pytest.fixture
def half_known(standing, alder):  # noqa: F811
    """Beside a device of known hours one on a belt without any, and one on a belt whose hours came to an end."""
    changed(standing, "worn", 2, 3, 4)
    bare = make.installation(make.conveyor(alder, tag="A-8"), "21", installed_at=INSTALLED)
    PartChange.objects.create(installation=bare, part="sensor_rollers", side="drive", why="worn", changed_at=on(3))
    silent = make.conveyor(alder, tag="A-9")
    n_days = (NOW - INSTALLED).days
    known = round(0.85 * n_days)
    make.run_record(silent, INSTALLED, INSTALLED + dt.timedelta(days=known), 12.0 * known)
    make.installation(silent, "22", installed_at=INSTALLED)
    return bare


def rows_of(page):
    table = page.split('id="left-out"')[1].split("<tbody>")[1].split("</tbody>")[0]
    return [re.sub(r"<[^>]+>|\s+", " ", row).split() for row in table.split("<tr>")[1:]]


def test_the_headline_says_how_many_are_left_out_and_leads_to_them(client, half_known, erin, at_now):
    """Of 13 lives 3 have no hours (A-8: one that failed, two in service); of A-9 those of late are missing."""
    client.force_login(erin)
    page = " ".join(client.get(reverse("life")).content.decode().split())
    lede = page.split('<p class="lede">')[1].split("</p>")[0].strip()
    assert lede.startswith("13 lives, 7 of them ended by a failure;")
    assert "3 of them are left out of the lives below: their running hours are not known." in lede
    assert "That is without 4 of the 6 parts in service:" in lede
    assert re.search(r'<a href="#left-out">\s*Show the 5 parts that are left out and why\s*</a>', lede)
    rows = [" ".join(row) for row in rows_of(page)]
    assert len(rows) == 5
    assert sum("A-8" in row and "has running hours for 0 % of its life, 80 % are needed" in row for row in rows) == 3
    assert sum("life and spares" in row for row in rows) == 2
    assert sum("in service" in row for row in rows) == 4
    assert sum("worn to its limit" in row for row in rows) == 1
    assert sum("A-9" in row and "spares too few running hours of its belt" in row for row in rows) == 2
    in_file = client.get(reverse("life"), {"format": "csv"}).content.decode().splitlines()
    assert sum("80 % are needed" in row for row in in_file) == 3


def test_where_all_hours_are_known_nothing_is_said_to_be_left_out(client, standing, erin, at_now):  # noqa: F811
    client.force_login(erin)
    assert "left out" not in client.get(reverse("life")).content.decode().split("<h1>")[1]


def test_a_share_short_of_the_bound_does_not_read_as_if_it_reached_it():
    short = LifeLeftOut(SimpleNamespace(coverage=0.7999), Unknown.FEW_HOURS, of_lives=True, of_spares=False)
    assert why_words(short) == "the book has running hours for 79 % of its life, 80 % are needed"


@pytest.mark.parametrize(
    ("n", "failed", "words"),
    [
        (0, 0, "No life is in the book yet."),
        (1, 0, "1 life, not ended by a failure: the part was"),
        (1, 1, "1 life, ended by a failure."),
        (2, 0, "2 lives, none of them ended by a failure: the parts were"),
        (2, 1, "2 lives, 1 of them ended by a failure; the other was"),
        (2, 2, "2 lives, all ended by a failure."),
        (9, 2, "9 lives, 2 of them ended by a failure; the others were"),
    ],
)
def test_the_headline_reads_true_of_none_one_and_all(n, failed, words):
    assert lives_words(n, failed).startswith(words)
