"""Pages over actions: who may see and change them, how late they are, how many queries the list takes."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse
from django.utils import timezone

from inspections.models import Action
from inspections.services.actions import NewAction, raise_action
from inspections.services.visits import StopReport, close_out_visit
from inspections.words.actions import open_words
from tests import make


@pytest.fixture
def place(belt_a1):
    return make.installation(belt_a1)


@pytest.fixture
def action(place, tess):
    due = make.today() - dt.timedelta(days=4)
    return Action.objects.create(plant=place.plant, installation=place, title="Clean the frame", due_on=due, owner=tess)


def test_the_list_says_how_late_and_gives_files(client, action, mona, django_assert_max_num_queries):
    client.force_login(mona)
    for n in range(30):
        Action.objects.create(
            plant=action.plant, installation=action.installation, title=f"Grease {n}", due_on=make.today()
        )
    with django_assert_max_num_queries(20):
        page = client.get(reverse("action-list")).content.decode()
    assert "31 actions are open, 1 of them late." in page
    assert "4 days late" in page
    assert "Grease" not in client.get(reverse("action-list"), {"state": "late"}).content.decode()
    file = b"".join(client.get(reverse("action-list"), {"format": "csv"}).streaming_content).decode()
    assert "Clean the frame,A-1,1,tess,4 days late" in file


def test_people_of_other_plants_find_nothing_and_managers_change_nothing(client, action, otto, mona):
    client.force_login(otto)
    assert client.get(action.get_absolute_url()).status_code == 404
    assert client.get(reverse("action-create", args=[action.installation_id])).status_code == 404
    client.force_login(mona)
    assert client.get(action.get_absolute_url()).status_code == 200
    assert client.get(reverse("action-done", args=[action.pk])).status_code == 403
    assert client.get(reverse("action-create", args=[action.installation_id])).status_code == 403


def test_raised_by_hand_changed_and_done(client, place, tess, pat):
    client.force_login(tess)
    sent = {"title": "Tighten", "due_on": "2026-12-24", "owner": pat.pk, "client_key": str(uuid.uuid4())}
    for _twice in range(2):
        answer = client.post(reverse("action-create", args=[place.pk]), sent)
    action = Action.objects.get()
    assert answer.url == action.get_absolute_url()
    change = {"title": "Tighten all", "due_on": "2026-12-28", "owner": "", "version": action.version}
    assert client.post(reverse("action-update", args=[action.pk]), change).status_code == 302
    assert client.post(reverse("action-update", args=[action.pk]), change).status_code == 302  # it stands as sent
    other = change | {"title": "Tighten none"}
    assert client.post(reverse("action-update", args=[action.pk]), other).status_code == 409  # opened before the change
    assert client.post(reverse("action-done", args=[action.pk]), {"done_at": "2026-01-01T10:00"}).status_code == 422
    done = {"done_note": "all tight", "done_at": timezone.localtime().strftime("%Y-%m-%dT%H:%M")}
    assert client.post(reverse("action-done", args=[action.pk]), done).status_code == 302
    page = client.get(action.get_absolute_url()).content.decode()
    assert "Done by tess" in page
    assert "all tight" in page
    assert "Tighten all" in page


def test_a_file_says_when_it_was_done_in_iso_8601_and_the_plants_clock(client, action, mona):
    # 08:40 in UTC is 10:40 in Berlin in summer.
    Action.objects.filter(pk=action.pk).update(done_at=dt.datetime(2026, 7, 1, 8, 40, tzinfo=dt.UTC))
    client.force_login(mona)
    file = b"".join(client.get(reverse("action-list"), {"format": "csv"})).decode()
    assert "2026-07-01T10:40:00+02:00" in file


def test_parts_are_entered_in_rows_and_shown(client, place, tess):
    client.force_login(tess)
    sent = {
        "title": "Replace",
        "due_on": "2026-12-24",
        "part0_name": "sensor roller",
        "part0_count": "2",
        "part1_name": "bearing",
        "part1_is_at_hand": "on",
    }
    client.post(reverse("action-create", args=[place.pk]), sent)
    action = Action.objects.get()
    assert action.parts == [
        {"name": "sensor roller", "count": 2, "is_at_hand": False},
        {"name": "bearing", "count": 1, "is_at_hand": True},
    ]
    assert "1 part is not at hand yet" in client.get(action.get_absolute_url()).content.decode()
    form = client.get(reverse("action-update", args=[action.pk])).context["form"]
    assert [row["name"].value() for row in form.part_rows()][:3] == ["sensor roller", "bearing", ""]


def test_done_with_readings_as_left_and_told_to_who_found_it(client, place, tess, pat):
    task = make.task(place, make.check_kind(), make.today())
    visit = close_out_visit(
        StopReport(
            installation=place,
            by=tess,
            entries={task.pk: {"drive_diameter": {"as_found": 68.5}, "off_diameter": {"as_found": 75.5}}},
            visited_at=timezone.now(),
            lockout_confirmed=True,
            action=NewAction("Replace both", make.today()),
        )
    )
    action = visit.actions.get()
    client.force_login(pat)
    page = client.get(reverse("action-done", args=[action.pk]))
    (bad,) = page.context["form"].found
    assert bad.label == "Drive side"
    sent = {
        "done_note": "both new",
        "done_at": timezone.localtime(timezone=place.plant.zone).strftime("%Y-%m-%d %H:%M"),
        f"left_{bad.pk}": "76",
    }
    assert client.post(reverse("action-done", args=[action.pk]), sent).status_code == 302
    action.refresh_from_db()
    assert action.as_left == [{"label": "Drive side", "quantity": "mm", "value": 76.0, "typed": "76"}]
    assert "Drive side: 76 mm" in client.get(action.get_absolute_url()).content.decode()
    client.force_login(tess)
    today = client.get(reverse("today")).content.decode()
    assert "What became of your findings" in today
    assert "both new" in today


def test_a_file_counts_days_by_the_plants_clock_an_hour_before_midnight_in_utc(client, action, tess, time_machine):
    time_machine.move_to(dt.datetime(2026, 7, 1, 23, 30, tzinfo=dt.UTC), tick=False)  # 2 July at Alder Pit
    action.due_on = dt.date(2026, 6, 28)
    action.save()
    client.force_login(tess)
    text = b"".join(client.get("/actions/?format=csv").streaming_content).decode()
    assert "4 days late" in text


def test_an_action_that_nobody_owns_is_shown_and_given(client, place, tess, pat, erin):
    action = raise_action(installation=place, by=tess, title="Clean", due_on=make.today())
    client.force_login(pat)
    assert "1 has no owner yet:" in client.get(reverse("today")).content.decode()
    page = client.get(f"{reverse('action-list')}?state=unowned").content.decode()
    assert "Nobody owns 1 of them yet." in page
    assert "nobody yet" in page
    page = client.get(action.get_absolute_url()).content.decode()
    assert "nobody owns this yet" in page
    sent = {"owner": erin.pk, "version": action.version}
    page = client.post(reverse("action-give", args=[action.pk]), sent, follow=True).content.decode()
    assert "erin owns it now." in page
    assert "Give it to" not in page
    page = client.post(reverse("action-give", args=[action.pk]), sent, follow=True).content.decode()
    assert "Somebody else changed this record meanwhile" in page
    page = client.post(reverse("action-give", args=[action.pk]), {"owner": "x"}, follow=True).content.decode()
    assert "Choose who it is given to." in page


def test_the_planner_is_proposed_and_a_second_action_is_asked_about(client, place, tess, pat):
    kind = make.check_kind("sensor-wear")
    first = raise_action(installation=place, by=pat, title="Replace", due_on=make.today(), check_kind=kind, owner=pat)
    client.force_login(tess)
    address = reverse("action-create", args=[place.pk])
    page = client.get(address).content.decode()
    assert f'<option value="{pat.pk}" selected>pat</option>' in page
    sent = {"title": "Order rollers", "check_kind": kind.pk, "due_on": "2026-12-24", "owner": pat.pk}
    answer = client.post(address, sent | {"client_key": str(uuid.uuid4())})
    assert answer.status_code == 422
    assert "An action for this is open here already: Replace" in answer.content.decode()
    answer = client.post(address, sent | {"action_choice": first.pk, "client_key": str(uuid.uuid4())})
    assert answer.url == first.get_absolute_url()
    page = client.get(answer.url).content.decode()
    assert "Found again once" in page
    assert "Order rollers" in page
    client.post(address, sent | {"action_choice": "another", "client_key": str(uuid.uuid4())})
    page = client.get(first.get_absolute_url()).content.decode()
    assert "another was raised beside it:" in page
    assert Action.objects.count() == 2


@pytest.mark.parametrize(
    ("n", "late", "words"),
    [
        (0, 0, "No action is open."),
        (1, 0, "1 action is open, and it is not late."),
        (1, 1, "1 action is open, and it is late."),
        (3, 0, "3 actions are open, none of them late."),
        (3, 2, "3 actions are open, 2 of them late."),
    ],
)
def test_how_many_are_open_reads_true_of_none_one_and_all(n, late, words):
    assert open_words(n, late) == words
