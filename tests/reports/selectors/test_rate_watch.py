"""The rate watch by the numbers that the plant chose."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from inspections.models import Task
from inspections.selectors.tasks import checks_to_do
from inspections.services.tasks import ask_for_task
from inspections.services.visits import StopReport, close_out_visit
from reports.calc.rate_watch import threshold_for, watch_rate
from reports.panels import effect_of_installation
from reports.selectors.rate_watch import fading_in, watch_of
from reports.selectors.studies import book_of
from reports.services.rate_watch import watch_plant
from tests import make

DAY = dt.timedelta(days=1)


@pytest.fixture
def fading(alder):
    """Twelve hours a day; 12 before, one in the first 150 days after, then one every six days from day 200 on."""
    belt, now = make.conveyor(alder, tag="L-02"), timezone.now()
    make.run_record(belt, now - 900 * DAY, now, 12.0 * 900)
    make.drift_switch(belt, 60.0)
    at = make.installation(belt, "45", installed_at=now - 300 * DAY)
    for i in range(12):
        make.incident(belt, at.installed_at - (15 + 28 * i) * DAY)
    make.incident(belt, at.installed_at + 60 * DAY)
    for i in range(10):
        make.incident(belt, at.installed_at + (200 + 9 * i) * DAY)
    return at


def alarms(plant, **numbers):
    for name, value in numbers.items():
        setattr(plant, name, value)
    plant.save(update_fields=list(numbers))
    return fading_in(book_of(plant, timezone.now()))


def test_start_values_raise_the_alarm(fading, alder):
    found = alarms(alder)
    assert len(found) == 1
    assert found[0].hours_learnt == pytest.approx(1500, abs=13)


def test_a_longer_time_of_learning_ends_later(fading, alder):
    assert alarms(alder, watch_learn_h=1000)[0].hours_learnt == pytest.approx(1000, abs=13)
    assert alarms(alder, watch_learn_h=20_000) == ()


def test_a_longer_distance_between_false_alarms_asks_for_more(fading, alder):
    often = alarms(alder, watch_alarm_years=1)[0].alarm_at
    seldom = alarms(alder, watch_alarm_years=50)[0].alarm_at
    assert often < seldom
    # The same numbers put into the calculation by hand: a higher threshold is reached later.
    low, high = threshold_for(2.0), threshold_for(100.0)
    assert low < high
    steps, expected = [1.0] * 12, [0.1] * 12
    assert watch_rate(steps, expected, low).signal <= watch_rate(steps, expected, high).signal


def test_a_larger_share_of_the_rate_before_is_slower_to_alarm(fading, alder):
    small = alarms(alder, watch_least_share_pct=10)[0].alarm_at
    large = alarms(alder, watch_least_share_pct=100)
    assert not large or large[0].alarm_at > small


def test_a_rate_that_came_back_is_no_alarm_any_more(fading, alder):
    """The same climb, then five good months: nobody is told that the device fades."""
    for each in fading.conveyor.incidents.filter(happened_at__gt=fading.installed_at + 100 * DAY):
        each.delete()
    for i in range(3):
        make.incident(fading.conveyor, fading.installed_at + (140 + 3 * i) * DAY)
    assert alarms(alder, watch_learn_h=1000) == ()
    book = book_of(alder, fading.installed_at + 165 * DAY)
    assert [each.n_since for each in fading_in(book)] == [3]


def test_a_check_done_after_the_moment_of_a_book_had_not_been_done_then(fading, alder):
    kind, now = make.check_kind("pivot-freedom"), timezone.now()
    values = {"origin": "rate_watch", "outcome": "done", "grade": "sound", "closed_at": now - 2 * DAY}
    make.task(fading, kind, now.date(), **values)
    assert fading_in(book_of(alder, now)) == ()
    assert len(fading_in(book_of(alder, now - 3 * DAY))) == 1


def test_the_strongest_alarm_comes_first_and_chance_is_told_of_all_watched(fading, alder):
    now = timezone.now()
    for tag, number, n in (("L-03", "46", 5), ("L-04", "47", 0)):
        belt = make.conveyor(alder, tag=tag)
        make.run_record(belt, now - 900 * DAY, now, 12.0 * 900)
        make.drift_switch(belt, 60.0)
        at = make.installation(belt, number, installed_at=now - 300 * DAY)
        for i in range(12):
            make.incident(belt, at.installed_at - (15 + 28 * i) * DAY)
        for i in range(n):
            make.incident(belt, at.installed_at + (250 + 9 * i) * DAY)
    watch = watch_of(book_of(alder, now))
    assert watch.n_watched == 3
    assert [each.study.installation.device.number for each in watch.fading] == ["45", "46"]
    assert watch.fading[0].strength > watch.fading[1].strength
    assert watch.n_by_chance == pytest.approx(sum(each.chance for each in watch.watched))
    assert 0 < watch.n_by_chance < 3


def test_the_numbers_are_set_with_help_and_history(client, alder, pat):
    client.force_login(pat)
    answer = client.get(reverse("plant-settings"))
    assert "Larger: fewer alarms for nothing" in answer.content.decode()
    form = answer.context["form"]
    sent = {name: "" if form[name].value() is None else form[name].value() for name in form.fields}
    assert client.post(reverse("plant-settings"), {**sent, "watch_alarm_years": 0}).status_code == 422
    assert client.post(reverse("plant-settings"), {**sent, "watch_alarm_years": 8}).status_code == 302
    alder.refresh_from_db()
    assert alder.watch_alarm_years == 8
    page = client.get(reverse("plant-settings")).content.decode()
    assert "<del>5</del>" in page
    assert "<b>8</b>" in page


def test_the_list_says_which_device_fades_and_the_rules_say_the_numbers(client, fading, alder, mona):
    client.force_login(mona)
    since = date_format(alarms(alder)[0].climbing_since, "F Y")
    row = client.get(reverse("effect-list")).content.decode().split("<tbody")[1].split("</tbody>")[0]
    assert f"watch alarm, bad days since {since}" in row
    page = " ".join(client.get(reverse("effect-detail", args=[fading.pk])).content.decode().split())
    assert "learnt in the first 1500 running hours, and taken as at least 33 % of the rate before" in page


# --- whose check it is ------------------------------------------------------------------------------------------------
def check_asked_by(person, place, why):
    kind = make.check_kind("pivot-freedom")
    return ask_for_task(installation=place, check_kind=kind, by=person, due_on=make.today(), why=why)


def closed(task):
    Task.objects.filter(pk=task.pk).update(closed_at=timezone.now(), outcome=Task.Outcome.DONE)


def test_the_watch_asks_as_itself_and_its_panel_names_the_check(client, fading, alder, erin):
    [asked] = watch_plant(plant=alder)
    assert (asked.origin, asked.created_by) == (Task.Origin.RATE_WATCH, None)
    client.force_login(erin)
    page = client.get(reverse("task-detail", args=[asked.pk])).content.decode()
    assert "asked for by the rate watch" in page
    assert asked.get_absolute_url() in client.get(fading.get_absolute_url()).content.decode()
    assert watch_plant(plant=alder) == []


def test_a_person_s_check_that_speaks_of_the_watch_is_not_the_watch_s(client, fading, alder, pat, erin):
    theirs = check_asked_by(pat, fading, "Rate watch: look at the pivot before the night shift")
    client.force_login(erin)
    request = client.get(fading.get_absolute_url()).wsgi_request
    assert effect_of_installation(request, fading)["watch_task"] is None
    closed(theirs)
    assert len(alarms(alder)) == 1  # it says nothing of the alarm, which stands until the watch's own check is done


def test_a_check_of_the_watch_that_was_done_ends_its_alarm(fading, alder):
    [asked] = watch_plant(plant=alder)
    assert len(alarms(alder)) == 1
    closed(asked)
    assert alarms(alder) == ()


def test_what_a_person_asked_for_already_is_wanted_too_and_asked_once(fading, alder, pat, tess):
    theirs = check_asked_by(pat, fading, "noise heard")
    [asked] = watch_plant(plant=alder)
    due, _early = checks_to_do(fading, make.today())
    assert [(task.pk, [other.pk for other in task.asked_too]) for task in due] == [(theirs.pk, [asked.pk])]
    close_out_visit(StopReport(
        installation=fading, by=tess, visited_at=timezone.now(), lockout_confirmed=True,
        entries={theirs.pk: {"pivot": {"as_found": "free"}}},
    ))  # fmt: skip
    asked.refresh_from_db()
    assert asked.done_with == theirs
    assert alarms(alder) == ()  # the watch knows that somebody looked
