"""The month: drafted once, frozen at publication, corrected by an edition, mailed once on the first working day."""

from __future__ import annotations

import datetime as dt
import json
import smtplib
import uuid

import pytest
from django.core.mail.backends.locmem import EmailBackend

from inspections.models import Action, CouldNotDo, Deferral
from installs.models import OutOfService
from installs.services.device_models import change_device_model, keep_sheet
from installs.services.installations import take_over_sheet
from plant.errors import ChangedMeanwhile, Refused
from plant.services.incidents import correct_incident
from plant.services.records import change_record
from reports.files.month_pdf import month_pdf
from reports.jobs import draft_and_send_months
from reports.models import MonthlyReport, MonthMail, StudyWindow, Subscription
from reports.selectors.month_data import Month, figure_of
from reports.selectors.rate_watch import fading_in
from reports.selectors.studies import book_of
from reports.services import kept_months, months
from reports.services.kept_months import rows_today
from reports.services.months import (
    comment_month,
    draft_month,
    draft_months,
    publish_month,
    read_month,
    send_months,
    subscribe,
)
from reports.services.study_windows import go_back_to_rule, set_window
from reports.words.month_tables import OF_FIGURE
from tests import make

OCTOBER = dt.date(2026, 10, 1)


def at(month, day, hour=12):
    return dt.datetime(2026, month, day, hour, tzinfo=dt.UTC)


@pytest.fixture
def october(alder, belt_a1, time_machine):
    """A belt that ran all of September and October, with three incidents in October."""
    time_machine.move_to(dt.datetime(2026, 11, 2, 9, tzinfo=dt.UTC), tick=False)
    make.run_record(belt_a1, at(9, 1, 0), at(11, 1, 0), 1000.0)
    make.incident(belt_a1, at(10, 5), minutes_lost=30, severity="trip")
    make.incident(belt_a1, at(10, 6), severity="trip")
    make.incident(belt_a1, at(10, 7), spilled_t=1.5, severity="spill")
    return alder


def figure(report, key):
    return next(each for each in report.content["figures"] if each["key"] == key)


def published(plant, by):
    report = draft_month(plant=plant, month=OCTOBER, by=by)
    return publish_month(report, by=by, version=report.version)


def test_a_month_is_drafted_once(october, erin):
    key = uuid.uuid4()
    first = draft_month(plant=october, month=dt.date(2026, 10, 17), by=erin, client_key=key)
    assert draft_month(plant=october, month=OCTOBER, by=erin, client_key=key) == first
    assert (first.month, first.edition, first.is_published) == (OCTOBER, 1, False)
    with pytest.raises(Refused, match="A draft of this month is there already"):
        draft_month(plant=october, month=OCTOBER, by=erin)


def test_a_month_that_is_not_over_is_refused(october, erin):
    with pytest.raises(Refused, match="2026-11 is not over yet"):
        draft_month(plant=october, month=dt.date(2026, 11, 1), by=erin)


def test_publication_freezes_figures_and_the_rows_behind_them(october, erin, belt_a1):
    report = published(october, erin)
    assert figure(report, "incidents")["note"].startswith("3 in ")
    assert figure(report, "stop_minutes")["words"] == "30 min"
    assert figure(report, "stop_minutes")["note"].startswith("1 trip without minutes")
    assert figure(report, "spilled")["words"] == "1.5 t"
    assert figure(report, "cost")["words"] == "not stated"
    assert len(report.rows["incidents"]["rows"]) == 3
    assert report.code_version
    make.incident(belt_a1, at(10, 9))
    kept = MonthlyReport.objects.get(pk=report.pk)
    assert kept.content == report.content
    assert len(kept.rows["incidents"]["rows"]) == 3


def test_one_table_alone_is_that_of_the_whole_month(october, erin):
    _content, rows = read_month(draft_month(plant=october, month=OCTOBER, by=erin))
    assert {figure_of(key)[0] for key in rows} > set(OF_FIGURE)
    month = Month(OCTOBER, october.zone)
    for key in rows:
        # As JSON holds it: a month is kept as text.
        assert json.loads(json.dumps(rows_today(october, month, key))) == rows[key], key
    for key in ("nothing", "-before"):
        assert rows_today(october, month, key) is None


def test_a_published_edition_never_changes(october, erin):
    report = published(october, erin)
    with pytest.raises(Refused, match="never changes"):
        publish_month(report, by=erin, version=report.version)
    with pytest.raises(Refused, match="never changes"):
        comment_month(report, by=erin, version=report.version, comment="late thought")
    report.comment = "by hand"
    with pytest.raises(TypeError, match="never overwritten"):
        report.save()


def test_publication_that_is_cut_off_leaves_the_draft(october, erin, monkeypatch):
    report = draft_month(plant=october, month=OCTOBER, by=erin)

    def killed(*args, **kwargs):
        raise KeyboardInterrupt

    for module, step in ((kept_months, "compose"), (months, "change_record")):
        with monkeypatch.context() as broken:
            broken.setattr(module, step, killed)
            with pytest.raises(KeyboardInterrupt):
                publish_month(report, by=erin, version=report.version)
        kept = MonthlyReport.objects.get(pk=report.pk)
        assert (kept.is_published, kept.content, kept.rows, kept.version) == (False, {}, {}, 1)


def test_a_publication_killed_after_its_write_and_before_its_commit_leaves_the_draft(october, erin, monkeypatch):
    report = draft_month(plant=october, month=OCTOBER, by=erin)

    def killed_after(row, **values):
        change_record(row, **values)
        raise KeyboardInterrupt

    monkeypatch.setattr(months, "change_record", killed_after)
    with pytest.raises(KeyboardInterrupt):
        publish_month(report, by=erin, version=report.version)
    assert not MonthlyReport.objects.get(pk=report.pk).is_published


def test_a_draft_that_somebody_changed_meanwhile_is_not_published(october, erin):
    report = draft_month(plant=october, month=OCTOBER, by=erin)
    comment_month(report, by=erin, version=1, comment="wet month")
    stale = MonthlyReport.objects.get(pk=report.pk)
    with pytest.raises(ChangedMeanwhile):
        publish_month(stale, by=erin, version=1)


def test_a_correction_comes_with_a_new_edition_and_its_reason(october, erin, belt_a1):
    first = published(october, erin)
    incident = belt_a1.incidents.order_by("happened_at").first()
    correct_incident(row=incident, by=erin, reason="was the scale", minutes_lost=90)
    with pytest.raises(Refused, match="Say why"):
        draft_month(plant=october, month=OCTOBER, by=erin)
    second = draft_month(plant=october, month=OCTOBER, by=erin, reason="minutes corrected")
    second = publish_month(second, by=erin, version=second.version)
    assert (first.edition, second.edition) == (1, 2)
    assert figure(first, "stop_minutes")["words"] == "30 min"
    assert figure(second, "stop_minutes")["words"] == "90 min"


def test_compliance_and_late_checks_of_the_month(october, erin, belt_a1):
    standing = make.installation(belt_a1, "20", installed_at=at(1, 5))
    kind = make.check_kind()
    dates = {"opens_on": dt.date(2026, 10, 1), "closes_on": dt.date(2026, 10, 10)}
    make.task(standing, kind, dt.date(2026, 10, 5), **dates, closed_at=at(10, 6), outcome="done", grade="sound")
    make.task(standing, make.check_kind("pivot-freedom"), dt.date(2026, 10, 5), **dates)
    report = published(october, erin)
    assert figure(report, "schedule_compliance")["words"] == "50 %"
    assert figure(report, "overdue")["words"] == "1"
    assert report.rows["overdue"]["rows"][0][-1] == 21
    assert [row[-1] for row in report.rows["schedule_compliance"]["rows"]] == ["yes", "no"]


def test_days_lost_to_act_end_with_the_action_and_out_of_service_counts(october, erin, belt_a1):
    standing = make.installation(belt_a1, "20", installed_at=at(1, 5))
    OutOfService.objects.create(installation=standing, begins_at=at(10, 21, 0), ends_at=at(10, 24, 0), reason="guard")
    report = published(october, erin)
    stood, lost, unknown = report.rows["availability"]["rows"][0][2:]
    assert (round(stood), lost, round(unknown)) == (31, 3.0, 28)
    # Only the days out of service are known of a device that nobody has checked.
    assert figure(report, "availability")["note"] == "3 of 31 device-days lost; 28 not known: no check done yet"
    assert not Action.objects.exists()


@pytest.mark.parametrize(
    ("is_checked", "words", "note"),
    [
        (True, "100 %", "0 of 62 device-days lost; 31 not known: no check done yet"),
        (False, "not known", "0 of 62 device-days lost; 62 not known: no check done yet"),
    ],
)
def test_a_device_that_was_never_checked_is_not_said_to_be_sound(october, erin, belt_a1, is_checked, words, note):
    places = (("20", 50.0), ("21", 150.0))
    first, _second = (make.installation(belt_a1, n, installed_at=at(1, 5), chainage_m=m) for n, m in places)
    if is_checked:
        make.task(first, make.check_kind(), dt.date(2026, 9, 5), closed_at=at(9, 5), outcome="done", grade="sound")
    found = figure(published(october, erin), "availability")
    assert (found["words"], found["note"]) == (words, note)


def test_what_was_put_off_is_counted_beside_the_checks_done_in_their_window(october, erin, belt_a1, time_machine):
    """Two windows closed in October, one after it was put off inside the month; a third check went to November."""
    standing = make.installation(belt_a1, "20", installed_at=at(1, 5))
    kinds = ("sensor-wear", "pivot-freedom", "fastener-torque")
    for kind, before, closes_on in zip(kinds, (None, 12, 15), ("2026-10-10", "2026-10-20", "2026-11-09"), strict=True):
        task = make.task(
            standing, make.check_kind(kind), dt.date(2026, 10, 5), closes_on=dt.date.fromisoformat(closes_on)
        )
        if before:
            time_machine.move_to(at(10, 9), tick=False)
            Deferral.objects.create(
                task=task,
                closes_on_before=dt.date(2026, 10, before),
                closes_on=task.closes_on,
                reason="no window",
                approved_by=erin,
            )
    time_machine.move_to(at(11, 2), tick=False)
    found = figure(published(october, erin), "schedule_compliance")
    assert found["note"] == "0 of 2, 1 of them put off before; 1 more put off to a later month"
    assert "counts by its new window" in found["definition"]


def test_unit_costs_make_a_cost_and_a_missing_one_is_named(october, erin):
    october.cost_of_stop_hour, october.currency = 1000.0, "EUR"
    october.save()
    report = published(october, erin)
    assert figure(report, "cost")["words"] == "at least 500 EUR"
    assert figure(report, "cost")["note"] == (
        "nobody gave the cost of a spilled tonne; 1 incident without amount is not in it"
    )


def test_a_changed_rule_is_told_as_a_change_of_method(october, erin, time_machine):
    october.history.update(history_date=at(1, 1))
    time_machine.move_to(at(10, 20), tick=False)
    change_record(october, by=erin, version=october.version, merge_minutes=20)
    time_machine.move_to(at(11, 2), tick=False)
    told = [each["words"] for each in published(october, erin).content["changes"]]
    assert any("was 10, is 20 since 20 Oct" in words for words in told)


def test_last_month_is_drafted_by_the_timetable_once(october):
    assert [each.month for each in draft_months()] == [OCTOBER]
    assert draft_months() == []


def test_a_published_month_goes_to_its_subscribers_once(october, erin, mona, time_machine, mailoutbox):
    for person in (erin, mona):
        person.email = f"{person.username}@example.org"
        person.save()
    subscribe(plant=october, person=mona, wants=True)
    published(october, erin)
    time_machine.move_to(dt.datetime(2026, 11, 1, 9, tzinfo=dt.UTC), tick=False)
    assert send_months(month_pdf) == 0  # a Sunday
    time_machine.move_to(dt.datetime(2026, 11, 2, 9, tzinfo=dt.UTC), tick=False)
    assert send_months(month_pdf) == 1
    assert send_months(month_pdf) == 0
    (mail,) = mailoutbox
    assert mail.to == ["mona@example.org"]
    name, content, kind = mail.attachments[0]
    assert (name, kind, content[:4]) == ("alder-pit-2026-10-edition-1.pdf", "application/pdf", b"%PDF")
    assert "/months/" in mail.body


def test_a_holiday_of_the_plant_is_no_working_day(october, erin, mona, mailoutbox, time_machine):
    mona.email = "mona@example.org"
    mona.save()
    october.holidays = "2026-11-02 All Souls"
    october.save()
    subscribe(plant=october, person=mona, wants=True)
    published(october, erin)
    assert send_months(month_pdf, at(11, 2, 9)) == 0  # a Monday
    time_machine.move_to(at(11, 3, 4), tick=False)
    assert send_months(month_pdf) == 0  # five in the morning in Berlin
    time_machine.move_to(at(11, 3, 5), tick=False)
    assert send_months(month_pdf) == 1


def test_a_claim_that_was_given_up_is_taken_again(october, erin, mona, mailoutbox):
    mona.email = "mona@example.org"
    mona.save()
    subscribe(plant=october, person=mona, wants=True)
    report = published(october, erin)
    MonthMail.objects.create(report=report, person=mona, claimed_at=at(11, 1))
    assert send_months(month_pdf) == 1


def test_without_an_address_there_is_no_subscription(october, mona):
    mona.email = ""
    mona.save()
    with pytest.raises(Refused, match="no e-mail address"):
        subscribe(plant=october, person=mona, wants=True)
    subscribe(plant=october, person=mona, wants=False)
    assert not Subscription.objects.exists()


def test_a_changed_limit_and_a_sheet_taken_over_are_told(october, belt_a1, erin, time_machine):
    """A device keeps the sheet that it was fitted to, so both are changes of method, each by itself."""
    place = make.installation(belt_a1)
    model = place.device.device_model
    place.sheet = keep_sheet(model, by=erin)
    place.save()
    model.sheets.update(created_at=at(3, 1))
    place.history.update(history_date=at(3, 1))
    time_machine.move_to(at(10, 20), tick=False)
    model = change_device_model(model, by=erin, version=model.version, sensor_limit_mm=70.0, note="new rollers")
    change_device_model(model, by=erin, version=model.version, note="only words")
    time_machine.move_to(at(10, 22), tick=False)
    take_over_sheet(place, by=erin, version=place.version, reason="new rollers fitted")
    time_machine.move_to(at(11, 2), tick=False)
    told = [each["words"] for each in published(october, erin).content["changes"] if "sheet" in each["words"]]
    assert told == [
        "Method: sheet 2 of T-1 holds for devices fitted since 20 Oct (sensor roller, limit diameter); those that "
        "stood keep theirs.",
        "Method: A-1 device 1 is held against sheet 3 since 22 Oct: new rollers fitted.",
    ]


# --- e-mail -----------------------------------------------------------------------------------------------------------
@pytest.fixture
def readers(october, alder, mona, pat, erin):
    """Three who asked for the month; sent in the order in which they came into the book."""
    people = [make.person(name, alder, "manager") for name in ("ann", "ben", "cid")]
    for person in people:
        subscribe(plant=october, person=person, wants=True)
    return people


def test_the_mail_has_words_and_page_and_says_how_to_end_it(october, erin, readers, mailoutbox):
    report = published(october, erin)
    assert send_months(month_pdf) == 3
    mail = mailoutbox[0]
    html, kind = mail.alternatives[0]
    assert kind == "text/html"
    for text in (mail.body, html):
        assert "incidents per 1000 running hours: 3 in" in text
        assert "unit costs are missing" in text
        assert text.index("unit costs are missing") < text.index("Minutes lost")
    assert f"http://localhost:8000/months/{report.pk}/rows/stop_minutes/" in html
    assert mail.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    end_url = mail.extra_headers["List-Unsubscribe"].strip("<>")
    assert end_url in mail.body
    assert end_url in html
    assert "<" not in mail.body


def test_the_mail_of_a_new_edition_says_what_differs(october, erin, readers, belt_a1, mailoutbox):
    published(october, erin)
    assert send_months(month_pdf) == 3
    correct_incident(row=belt_a1.incidents.order_by("happened_at").first(), by=erin, reason="scale", minutes_lost=90)
    second = draft_month(plant=october, month=OCTOBER, by=erin, reason="minutes corrected")
    publish_month(second, by=erin, version=second.version)
    assert (send_months(month_pdf), send_months(month_pdf)) == (3, 0)
    for text in (mailoutbox[-1].body, mailoutbox[-1].alternatives[0][0]):
        assert "minutes corrected" in text
        assert "Minutes lost: was 30 min, now 90 min" in text


def test_a_run_of_the_timetable_that_is_killed_half_way_is_ended_by_the_next(
    october, erin, readers, mailoutbox, monkeypatch, time_machine
):
    published(october, erin)
    send = EmailBackend.send_messages

    def killed_at_the_second(self, messages):
        if "ben" in messages[0].to[0]:
            raise KeyboardInterrupt
        return send(self, messages)

    with monkeypatch.context() as broken:
        broken.setattr(EmailBackend, "send_messages", killed_at_the_second)
        with pytest.raises(KeyboardInterrupt):
            draft_and_send_months()
    draft_and_send_months()  # the one whose mail was on its way is left alone for an hour
    assert [each.to[0].split("@")[0] for each in mailoutbox] == ["ann", "cid"]
    time_machine.move_to(at(11, 2, 9) + dt.timedelta(minutes=61), tick=False)
    draft_and_send_months()
    draft_and_send_months()
    assert [each.to[0].split("@")[0] for each in mailoutbox] == ["ann", "cid", "ben"]


def test_an_address_that_refuses_is_told_and_given_up_in_the_end(
    client, october, erin, readers, mailoutbox, monkeypatch, time_machine
):
    report = published(october, erin)
    send = EmailBackend.send_messages

    def refuse(self, messages):
        if "ben" in messages[0].to[0]:
            raise smtplib.SMTPRecipientsRefused({"ben@alder.example": (550, b"no such mailbox")})
        return send(self, messages)

    monkeypatch.setattr(EmailBackend, "send_messages", refuse)
    assert send_months(month_pdf) == 2
    client.force_login(erin)
    page = client.get(report.get_absolute_url()).content.decode()
    assert "The e-mail did not reach 1 address" in page
    assert "ben@alder.example: SMTPRecipientsRefused: " in page
    assert "550" in page
    assert "It is tried again every hour." in page
    client.force_login(readers[0].__class__.objects.get(username="pat"))
    assert "550" not in client.get(report.get_absolute_url()).content.decode()  # addresses are for who publishes
    for hour in range(1, 12):
        time_machine.move_to(at(11, 2, 9) + dt.timedelta(hours=1.1 * hour), tick=False)
        send_months(month_pdf)
    assert MonthMail.objects.get(person__username="ben").tries == months.MOST_TRIES
    client.force_login(erin)
    assert "It is not tried again" in client.get(report.get_absolute_url()).content.decode()
    assert len(mailoutbox) == 2


def test_a_mail_server_that_is_away_for_days_costs_no_mail(
    october, erin, readers, mailoutbox, monkeypatch, time_machine
):
    """That nobody answers says nothing of the addresses: none is given up for it."""
    published(october, erin)
    send = EmailBackend.send_messages

    def away(self, messages):
        raise ConnectionRefusedError("nobody listens")

    monkeypatch.setattr(EmailBackend, "send_messages", away)
    for hour in range(12):
        time_machine.move_to(at(11, 2, 9) + dt.timedelta(hours=1.1 * hour), tick=False)
        assert send_months(month_pdf) == 0
    monkeypatch.setattr(EmailBackend, "send_messages", send)
    time_machine.move_to(at(11, 3, 9), tick=False)
    assert send_months(month_pdf) == 3
    assert len(mailoutbox) == 3


# --- as of the month's end ----------------------------------------------------------------------------------------
def verdict_places(report):
    return [row[0] for row in report.rows["verdicts"]["rows"]]


def test_a_device_fitted_after_the_month_is_not_in_it(october, erin, belt_a1):
    make.drift_switch(belt_a1, 80.0)
    make.installation(belt_a1, "20", installed_at=at(3, 5))
    # One second before the month ended by the plant's clock, and as it ended.
    make.installation(
        belt_a1, "21", chainage_m=190.0, installed_at=dt.datetime(2026, 10, 31, 22, 59, 59, tzinfo=dt.UTC)
    )
    make.installation(belt_a1, "22", chainage_m=20.0, installed_at=dt.datetime(2026, 10, 31, 23, tzinfo=dt.UTC))
    report = published(october, erin)
    assert verdict_places(report) == ["A-1 return, device 20", "A-1 return, device 21"]
    assert sum(each["n"] for each in report.content["verdicts"]) == 2
    assert report.content["groups"][0]["n"] == 2
    assert report.content["counted"].startswith("2 comparisons of 2 devices; ")
    assert rows_today(october, Month(OCTOBER, october.zone), "verdicts") == report.rows["verdicts"]


def test_a_device_fitted_within_days_of_the_months_end_does_not_join_a_comparison_of_the_month(october, erin, belt_a1):
    for chainage_m in (60.0, 80.0):
        make.drift_switch(belt_a1, chainage_m)
    make.installation(belt_a1, "20", installed_at=at(10, 20))
    make.installation(belt_a1, "21", chainage_m=80.0, installed_at=at(11, 1))
    assert verdict_places(published(october, erin)) == ["A-1 return, device 20"]


def test_what_was_taken_away_after_the_month_still_stood_in_it(october, erin, belt_a1):
    make.run_record(belt_a1, dt.datetime(2025, 3, 1, tzinfo=dt.UTC), at(9, 1, 0), 12.0 * 549)
    switch = make.drift_switch(belt_a1, 80.0)
    one = make.installation(belt_a1, "20", installed_at=at(5, 5))
    for day in range(1, 25):
        make.incident(belt_a1, at(9, day))
    switch.removed_on = dt.date(2026, 11, 1)
    switch.save()
    one.removed_at, one.removal_reason = at(11, 1, 20), "moved"
    one.save()
    belt_a1.retired_on = dt.date(2026, 11, 1)
    belt_a1.save()
    report = published(october, erin)
    # The switch that saw the zone, the device that needs a decision, the belt whose incidents count.
    assert [row[8] for row in report.rows["verdicts"]["rows"]] == ["more incidents"]
    assert "has more incidents than before" in report.content["decisions"][0]["words"]
    assert figure(report, "incidents")["note"].startswith("3 in ")
    assert [row[-1] for row in report.rows["incidents"]["rows"]] == ["yes"] * 3
    belt_a1.retired_on = dt.date(2026, 10, 31)
    belt_a1.save()
    again = publish_month(draft_month(plant=october, month=OCTOBER, by=erin, reason="retired"), by=erin, version=1)
    assert [row[-1] for row in again.rows["incidents"]["rows"]] == ["no: belt is out of use"] * 3


def test_windows_set_after_the_month_did_not_hold_in_it_and_those_taken_back_since_did(october, erin, belt_a1):
    make.run_record(belt_a1, at(1, 1, 0), at(9, 1, 0), 5000.0)
    make.drift_switch(belt_a1, 80.0)
    one = make.installation(belt_a1, "20", installed_at=at(5, 5))
    early = set_window(installation=one, by=erin, before_months=2, reason="belt was new", client_key=uuid.uuid4())
    StudyWindow.objects.filter(pk=early.pk).update(created_at=at(10, 10))
    assert "windows set by erin on 10 Oct 2026" in report_rows(published(october, erin))[0][9]
    go_back_to_rule(window=early, by=erin, reason="no", client_key=uuid.uuid4())
    assert "windows set by" in report_rows(another(october, erin))[0][9]
    StudyWindow.objects.filter(is_withdrawn=True).update(created_at=at(10, 12))
    assert "windows set by" not in report_rows(another(october, erin))[0][9]


def report_rows(report):
    return report.rows["verdicts"]["rows"]


def another(plant, by):
    report = draft_month(plant=plant, month=OCTOBER, by=by, reason="again")
    return publish_month(report, by=by, version=report.version)


def test_checks_and_actions_read_as_they_did_when_the_month_ended(october, erin, pat, belt_a1, time_machine):
    one = make.installation(belt_a1, "20", installed_at=at(1, 5))
    dates = {"opens_on": dt.date(2026, 10, 1), "closes_on": dt.date(2026, 10, 10)}
    late = make.task(one, make.check_kind(), dt.date(2026, 10, 5), **dates)
    tried = make.task(one, make.check_kind("pivot-freedom"), dt.date(2026, 10, 5), **dates)
    for task, day in ((late, 8), (late, 30)):
        put_off = {"closes_on_before": dt.date(2026, 10, 10), "closes_on": dt.date(2026, 10, 10)}
        row = Deferral.objects.create(task=task, reason="no time", approved_by=pat, **put_off)
        Deferral.objects.filter(pk=row.pk).update(created_at=at(10, day) if day == 8 else at(11, 1))
    CouldNotDo.objects.create(task=tried, tried_at=at(11, 1), reason="not_safe")
    time_machine.move_to(at(10, 12), tick=False)
    action = Action.objects.create(
        plant=october, installation=one, title="Free it", due_on=dt.date(2026, 10, 20), owner=pat
    )
    time_machine.move_to(at(11, 2, 9), tick=False)
    change_record(action, by=pat, version=action.version, due_on=dt.date(2026, 12, 1), owner=erin, title="Free it soon")
    report = published(october, erin)
    # Put off once by then; a try of November makes nobody's October better; the action was due and was pat's.
    assert [row[6] for row in report.rows["overdue"]["rows"]] == [1, 0]
    assert [(row[0], row[4], row[8]) for row in report.rows["days_to_close"]["rows"]] == [
        ("Free it", "2026-10-20", "pat")
    ]
    assert any("“Free it” at A-1 device 20 was due." in each["words"] for each in report.content["decisions"])


# --- the plant against a year ago ---------------------------------------------------------------------------------
@pytest.fixture
def two_octobers(alder, belt_a1, time_machine):
    """The same hours in both; in 2025 thirty incidents on even days, in 2026 ten."""
    time_machine.move_to(dt.datetime(2026, 11, 2, 9, tzinfo=dt.UTC), tick=False)
    make.run_record(belt_a1, dt.datetime(2025, 9, 1, tzinfo=dt.UTC), at(11, 1, 0), 5112.0)
    return alder


def fill(belt, year, days, times):
    for day in days:
        for hour in range(times):
            make.incident(belt, dt.datetime(year, 10, day, 8 + hour, tzinfo=dt.UTC))


def test_fewer_in_the_headline_stands_among_the_changes_too(two_octobers, erin, belt_a1):
    fill(belt_a1, 2025, range(1, 31), 1)
    fill(belt_a1, 2026, range(2, 30, 3), 1)
    content = published(two_octobers, erin).content
    assert content["verdict"] == {"mark": "fewer", "words": "fewer incidents"}
    assert content["changes"][0]["words"].startswith("The plant: fewer incidents than in the same month a year ago; ")
    assert "bad spells" not in content["lede"]


def test_bad_spells_widen_the_months_comparison_and_it_says_so(two_octobers, erin, belt_a1):
    """The same counts, thirty and ten, on a few bad days: what they say alone no longer holds."""
    fill(belt_a1, 2025, (3, 4, 17), 10)
    fill(belt_a1, 2026, (9,), 10)
    content = published(two_octobers, erin).content
    assert content["verdict"] == {"mark": "flat", "words": "no clear change"}
    assert "widened because incidents come in bad spells" in content["lede"]
    assert not any(each["words"].startswith("The plant: ") for each in content["changes"])


def test_a_month_in_which_nothing_changed_says_what_was_looked_at(two_octobers, erin, belt_a1):
    for back in range(100):  # one every four days, all the time
        make.incident(belt_a1, at(10, 30) - dt.timedelta(days=4 * back))
    two_octobers.history.update(history_date=at(1, 1))
    content = published(two_octobers, erin).content
    assert (content["changes"], content["verdict"]["mark"]) == ([], "flat")
    assert content["no_changes"].startswith("No change to tell of: the plant against a year ago")


def test_a_month_without_any_incident_or_hours_is_not_compared(alder, belt_a1, erin, time_machine):
    time_machine.move_to(dt.datetime(2026, 11, 2, 9, tzinfo=dt.UTC), tick=False)
    content = published(alder, erin).content
    assert content["verdict"] == {"mark": "unjudged", "words": "cannot be compared"}
    assert content["by_chance"] == ""
    assert content["counted"] == "No comparison yet."


def test_availability_that_reads_otherwise_is_a_change(october, erin, belt_a1):
    one = make.installation(belt_a1, "20", installed_at=at(1, 5))
    make.task(one, make.check_kind(), dt.date(2026, 8, 5), closed_at=at(8, 6), outcome="done", grade="sound")
    OutOfService.objects.create(installation=one, begins_at=at(10, 21, 0), ends_at=at(10, 24, 0), reason="guard")
    told = [each["words"] for each in published(october, erin).content["changes"]]
    assert "Devices in service and sound: 90 %, in the month before 100 %." in told


def test_an_alarm_of_the_watch_is_a_change_of_its_month_alone(alder, erin, time_machine):
    belt = make.conveyor(alder, tag="L-02")
    make.run_record(belt, dt.datetime(2024, 6, 1, tzinfo=dt.UTC), at(12, 1, 0), 12.0 * 913)
    make.drift_switch(belt, 60.0)
    one = make.installation(belt, "45", installed_at=at(1, 5))
    for i in range(12):
        make.incident(belt, one.installed_at - dt.timedelta(days=15 + 28 * i))
    for i in range(8):
        make.incident(belt, at(10, 4) + dt.timedelta(days=3 * i))
    time_machine.move_to(at(12, 2, 9), tick=False)
    alarm = fading_in(book_of(alder, at(12, 1)))[0]
    assert alarm.alarm_at.month == 10

    def told(month):
        draft = draft_month(plant=alder, month=dt.date(2026, month, 1), by=erin)
        changes = publish_month(draft, by=erin, version=draft.version).content["changes"]
        return [each["words"] for each in changes if "rate watch" in each["words"]]

    assert told(9) == told(11) == []
    first, of_all = told(10)
    assert first.startswith("L-02 return, device 45: rate watch: alarm; ")
    assert of_all.startswith(
        "Alarms of the rate watch at the end of the month: 1 of 1 comparison under watch; by chance alone"
    )
