"""A name that was removed stands nowhere any more: no table, page, list, file, search or sign-in; records stay."""

from __future__ import annotations

import json
import uuid

import pytest
from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from django.contrib.sessions.models import Session
from django.core.mail import EmailMessage, get_connection
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inspections.models import RoundLaying, TechnicianProfile, TwiceClosed, Visit
from inspections.services.tasks import ask_for_task
from inspections.services.twice_closed import say_which_counts
from installs.models import Fitting, TorqueSignOff
from plant.models import (
    Incident,
    Job,
    KeptResult,
    Membership,
    NameRemoval,
    Notice,
    Person,
    SignInAct,
    Tally,
)
from plant.services.health import tally
from plant.services.kept import make_all_kept
from plant.services.names import remove_name, removed_name
from plant.services.records import change_record
from plant.services.sign_ins import give_first_password
from reports.models import MonthlyReport, StudyNote, Subscription
from reports.services.months import read_month
from tests import make
from tests.leaving import leave
from tests.test_access import ask, signed_in, text_of
from tests.two_plants import address_of, addresses, furnish, staff

USERNAME, FIRST, LAST, EMAIL = "quillferd", "Jörg", "Øxnebrod", "quillferd@alder.example"
NAMES = (USERNAME, FIRST, LAST, EMAIL)


def spelt(name):
    """As it may stand in a column: JSON may write letters as numbers."""
    return {name.lower(), json.dumps(name)[1:-1].lower()}


def where_it_stands():
    """Every cell of every table that holds one of the names, and every session, read past the models."""
    wanted = {each for name in NAMES for each in spelt(name)}
    found = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')
            columns = [each[0] for each in cursor.description]
            for row in cursor.fetchall():
                held = dict(zip(columns, row, strict=True))
                found += [(table, name, str(value)) for name, value in held.items()
                          if any(each in str(value).lower() for each in wanted)]  # fmt: skip
    for session in Session.objects.all():
        text = json.dumps(session.get_decoded()).lower()
        found += [("session", "", text)] if any(each in text for each in wanted) else []
    return found


@pytest.fixture
def book(db, alder, settings, tmp_path):
    """A furnished plant whose technician has a name that stands in no word, wherever the site writes names."""
    settings.EMAIL_FILE_PATH = tmp_path / "mail"
    people = staff(alder, "al")
    tech, planner = people["technician"], people["planner"]
    values = {"username": USERNAME, "first_name": FIRST, "last_name": LAST, "email": EMAIL}
    Person.objects.filter(pk=tech.pk).update(**values)
    tech = people["technician"] = Person.objects.get(pk=tech.pk)
    rows = furnish(alder, "Al", people)
    fitting = Fitting.objects.filter(plant=alder).first()
    change_record(fitting, by=planner, version=fitting.version, crew_names=f"alplanner, {USERNAME}")
    ask_for_task(
        installation=rows["installation"],
        check_kind=make.check_kind("pivot-freedom"),
        by=tech,
        due_on=make.today(),
        why="",
        client_key=uuid.uuid4(),
        today=make.today(),
    )
    twice = TwiceClosed.objects.filter(plant=alder, counts="").first()
    if twice is not None:
        say_which_counts(twice, by=tech, version=twice.version, counts="first")
    Notice.objects.create(person=planner, plant=alder, key="x", text=f"{USERNAME} gave you an action", url="/")
    Notice.objects.create(person=tech, plant=alder, key="y", text="Your round is published.", url="/")
    RoundLaying.objects.create(
        plant=alder, first_day=make.today(), last_day=make.today(), n_due=1, n_planned=0,
        left_out=[{"tasks": [1], "reason": "no time", "change": f"fits if {USERNAME} stays 5 min longer, to 15:00"}],
    )  # fmt: skip
    Job.objects.create(kind="rounds", plant=alder, requested_by=tech, state="done", result={"said": [USERNAME]})
    StudyNote.objects.create(installation=rows["installation"], text="worth a look", created_by=tech)
    content, frozen = read_month(MonthlyReport.objects.get(plant=alder))
    said = {"said": [f"Note on Al-7 by {USERNAME}: worth a look"], "asked": [{"owner": USERNAME}]}
    said["rows"] = [["A-1", f"about 900 h to go; windows set by {USERNAME} on 3 May 2026 Sound for 80 %."]]
    MonthlyReport.objects.filter(plant=alder).update(
        content={**content, **said},
        rows=frozen,
        published_at=timezone.now(),
        published_by=tech,
    )
    Subscription.objects.create(plant=alder, person=tech)
    tally(Tally.What.MAIL, "refused", words=f"SMTPRecipientsRefused: {EMAIL}: 550")
    tried = {"username": USERNAME, "ip_address": "10.0.0.1", "user_agent": "", "attempt_time": timezone.now()}
    AccessAttempt.objects.create(**tried, failures_since_start=1)
    AccessLog.objects.create(**tried)
    AccessFailureLog.objects.create(**tried)
    give_first_password(person=tech, plant=alder, by=people["everyone"])
    client = signed_in(people["everyone"], alder)
    session = client.session
    session["first_password"] = {"username": USERNAME, "password": "x"}
    session.save()
    signed_in(tech)
    with get_connection("deploy.mail.FileBackend") as mails:
        EmailMessage(f"Late: {FIRST}", "Two checks", to=[EMAIL], connection=mails).send()
    with get_connection("deploy.mail.FileBackend") as mails:
        EmailMessage("Late", "Two checks", to=["other@alder.example"], connection=mails).send()
    make_all_kept([alder])
    return {"plant": alder, "people": people, "rows": rows, "tech": leave(tech), "keeper": people["keeper"]}


def removed(book, **given):
    values = {"typed": USERNAME, "reason": "asked for it in writing", **given}
    return remove_name(person=book["tech"], by=book["keeper"], **values)


def counted(tech):
    """What this person did, by the rows that stand under their key."""
    return {
        "visits": Visit.objects.filter(visited_by=tech).count(),
        "sign-offs": TorqueSignOff.objects.filter(signed_by=tech).count(),
        "incidents": Incident.objects.filter(created_by=tech).count(),
        "notes": StudyNote.objects.filter(created_by=tech).count(),
        "acts": SignInAct.objects.filter(person=tech).count(),
    }


def test_it_stands_in_no_table_afterwards_and_every_record_stays(book, django_capture_on_commit_callbacks, settings):
    assert len({table for table, *_rest in where_it_stands()}) >= 12, "the test would not see where it stood"
    before = counted(book["tech"])
    assert all(before.values()), before
    key = TechnicianProfile.objects.get(person=book["tech"]).calendar_key
    with django_capture_on_commit_callbacks(execute=True):
        row = removed(book)
    assert where_it_stands() == []
    assert counted(book["tech"]) == before
    tech = Person.objects.get(pk=book["tech"].pk)
    assert str(tech) == removed_name(tech) == f"a person whose name was removed, no. {tech.pk}"
    assert (row.n_typed, row.by) == (0, book["keeper"])
    assert row.n_rewritten >= 8
    assert not TechnicianProfile.objects.filter(calendar_key=key).exists()
    assert Fitting.objects.filter(crew_names=f"alplanner, {tech}").exists()
    content = MonthlyReport.objects.get().content
    assert (content["said"], content["asked"]) == ([f"Note on Al-7 by {tech}: worth a look"], [{"owner": str(tech)}])
    assert content["rows"][0][1] == f"about 900 h to go; windows set by {tech} on 3 May 2026 Sound for 80 %."
    assert not Membership.objects.filter(person=tech).exists()
    assert Membership.history.filter(person=tech, history_type="-", history_user=book["keeper"]).exists()
    assert [path.read_text().count("other@") for path in sorted(settings.EMAIL_FILE_PATH.iterdir())] == [1]


def test_no_page_list_or_file_shows_it_and_nobody_signs_in_with_it(book):
    removed(book)
    make_all_kept([book["plant"]])
    client, leaks = signed_in(book["people"]["everyone"], book["plant"]), []
    for name, route, arguments, _view in addresses():
        address = address_of(name, route, arguments, book["rows"])
        for query in ({}, {"format": "csv"}, {"format": "xlsx"}):
            if query and not name.endswith("list") and name not in {"life", "backlog"}:
                continue
            shown = text_of(ask(client, "get", address, query)).lower()
            leaks += [(name, query) for each in NAMES if each.lower() in shown]
    assert leaks == []
    assert client.get("/find/", {"q": USERNAME}).context["hits"] == []
    keeper = signed_in(book["keeper"])
    for name in ("site", "keeper-list", "name-list"):
        page = keeper.get(reverse(name)).content.decode()
        assert not any(each in page for each in NAMES)
    assert f"no. {book['tech'].pk}" in keeper.get(reverse("name-list")).content.decode()
    assert not Client().login(username=USERNAME, password="pass-word-1")
    assert make_all_kept([book["plant"]]) == 0
    assert not KeptResult.objects.filter(value__contains=USERNAME).exists()


def test_what_a_person_typed_is_shown_to_those_who_may_see_it_and_left_as_it_is(book):
    belt, everyone = book["rows"]["conveyor"], book["people"]["everyone"]
    typed = make.incident(belt, timezone.now() - timezone.timedelta(hours=1), note=f"{FIRST} saw it")
    Person.objects.filter(pk=everyone.pk).update(is_keeper=True)
    address = reverse("name-remove", args=[book["tech"].pk])
    shown = signed_in(everyone, book["plant"]).get(address).content.decode()
    assert f"{FIRST} saw it" in shown
    hidden = " ".join(signed_in(book["keeper"]).get(address).content.decode().split())
    assert f"{FIRST} saw it" not in hidden
    assert "Alder Pit: 1 text, which only its people may see." in hidden
    row = removed(book)
    assert row.n_typed == 1
    assert Incident.objects.get(pk=typed.pk).note == f"{FIRST} saw it"
    [notice] = Notice.objects.filter(person=book["people"]["planner"], key__startswith="name-")
    assert notice.url == typed.get_absolute_url()
    assert not any(each.lower() in notice.text.lower() for each in NAMES)
    assert [table for table, *_rest in where_it_stands()] == ["plant_incident"]


def test_the_same_name_in_a_typed_reason_is_no_word_of_the_site(book):
    task = ask_for_task(
        installation=book["rows"]["installation"],
        check_kind=make.check_kind("fastener-torque"),
        by=book["people"]["planner"],
        due_on=make.today(),
        why=f"{USERNAME} is said to have found it loose",
        client_key=uuid.uuid4(),
        today=make.today(),
    )
    assert removed(book).n_typed == 1
    task.refresh_from_db()
    assert task.why == f"{USERNAME} is said to have found it loose"


def test_a_second_time_there_is_nothing_to_remove(book):
    removed(book)
    assert signed_in(book["keeper"]).get(reverse("name-remove", args=[book["tech"].pk])).status_code == 404
    assert NameRemoval.objects.count() == 1
