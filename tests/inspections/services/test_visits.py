"""Closing out a visit: graded here, once, nothing lost, and corrected by rows."""

import datetime as dt
import threading
import uuid

import pytest
from django.db import connection
from django.utils import timezone

from inspections.check_rules.wanted import Typed
from inspections.errors import NotClosedOut
from inspections.models import (
    Action,
    CheckKind,
    CouldNotDo,
    OverdueSpell,
    Reading,
    ReadingField,
    Task,
    TwiceClosed,
    Visit,
)
from inspections.selectors.actions import kinds_in_hand
from inspections.selectors.readings_wanted import readings_wanted, times_running
from inspections.selectors.tasks import came_back, check_state_of, checks_to_do, with_new_rollers
from inspections.selectors.visits import acts_running, closed_meanwhile, torques_in_time, visit_sheet
from inspections.services import closing, visits
from inspections.services.actions import NewAction, finish_action, raise_action
from inspections.services.stops import could_not_do
from inspections.services.tasks import plan_next, withdraw_task
from inspections.services.twice_closed import say_which_counts
from inspections.services.visits import PhoneClock, StopReport, close_out_visit, correct_visit
from inspections.words.check_rules import label_words
from inspections.words.grading import because_words, grade_words
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.permissions import sync_roles
from plant.selectors.history import lines_of
from plant.words.history import lines_told
from tests import make
from tests.servers import GIVE_UP_AFTER_S


@pytest.fixture
def place(belt_a1):
    return make.installation(belt_a1)


@pytest.fixture
def wear(place):
    return make.task(place, make.check_kind("sensor-wear"), make.today())


@pytest.fixture
def torque(place):
    return make.task(place, make.check_kind("fastener-torque"), make.today())


@pytest.fixture
def pivot(place):
    return make.task(place, make.check_kind("pivot-freedom"), make.today())


def said(row):
    """Why a check or a reading has its grade."""
    return because_words(row.grade_because, UnitSystem.METRIC)


def asked(refused):
    """What is odd about the readings of a visit that was not closed out, by key."""
    return {key: grade_words(each, UnitSystem.METRIC) for key, each in refused.value.questions.items()}


def found(**values):
    return {code: {"as_found": value} for code, value in values.items()}


def close(place, by, entries, **values):
    known = {"visited_at": timezone.now(), "lockout_confirmed": True}
    return close_out_visit(StopReport(installation=place, by=by, entries=entries, **{**known, **values}))


def test_what_is_wanted_follows_the_device_model(wear, torque, pivot):
    assert [each.code for each in readings_wanted(wear)] == [
        "drive_diameter",
        "off_diameter",
        "drive_state",
        "off_state",
    ]
    assert [each.code for each in readings_wanted(pivot)] == ["pivot", "breakaway"]
    wanted = readings_wanted(torque)
    assert [label_words(each) for each in wanted] == [
        *(names := ["clamp 1", "clamp 2", "clamp 3", "clamp 4", "pivot"]),
        *(f"{name}, witness mark" for name in names),
    ]
    assert {each.code: each.limits["target_nm"] for each in wanted if each.form == "number"}["pivot_1"] == 130.0


def test_a_check_is_closed_with_the_worst_grade(place, wear, pivot, tess):
    spell = OverdueSpell.objects.create(task=wear, began_at=timezone.now())
    visit = close(
        place,
        tess,
        {wear.pk: found(drive_diameter=71.0, off_diameter=75.0), pivot.pk: found(pivot="free")},
        permit_reference="P-17",
    )
    wear.refresh_from_db()
    pivot.refresh_from_db()
    assert (wear.grade, wear.outcome, wear.closed_at, wear.visit) == ("watch", "done", visit.visited_at, visit)
    assert wear.closed_by == tess
    assert pivot.grade == "sound"
    assert said(wear).startswith("Permitted wear used: drive side 62.5 %")
    spell.refresh_from_db()
    assert spell.ended_at == visit.visited_at
    rows = {row.code: row for row in visit.readings.all()}
    assert (rows["drive_diameter"].value, rows["drive_diameter"].grade, rows["drive_diameter"].side) == (
        71.0,
        "watch",
        "drive",
    )
    assert rows["pivot"].answer == "free"
    assert (visit.lockout_confirmed_by, visit.permit_reference) == (tess, "P-17")
    assert wear.history.first().history_user == tess


def test_the_history_of_a_check_says_why_it_has_its_grade(place, wear, tess):
    close(place, tess, {wear.pk: found(drive_diameter=70.0, off_diameter=75.0)})
    wear.refresh_from_db()
    for system, share in ((UnitSystem.METRIC, "drive side 75 %"), (UnitSystem.US, "off side 12.5 %")):
        changes = [change for line in lines_told(lines_of(wear), system) for change in line.changes]
        (because,) = [change for change in changes if change.label == "Grade because"]
        assert because.before == "–"
        assert because.after == because_words(wear.grade_because, system)
        assert share in because.after


def test_the_reading_before_stands_beside_the_next(place, wear, tess):
    close(
        place,
        tess,
        {wear.pk: {"drive_diameter": {"as_found": 72.0, "as_left": 76.0}, "off_diameter": {"as_found": 73.0}}},
    )
    again = make.task(place, wear.check_kind, make.today())
    before = {each.code: each.previous.value for each in readings_wanted(again) if each.previous}
    assert before == {"drive_diameter": 76.0, "off_diameter": 73.0}


def test_sent_twice_counts_once(place, wear, tess):
    key = uuid.uuid4()
    entries = {wear.pk: found(drive_diameter=75.0, off_diameter=75.0)}
    first = close(place, tess, entries, client_key=key)
    assert close(place, tess, entries, client_key=key) == first
    assert Visit.objects.count() == 1
    assert Reading.objects.count() == 2


def test_without_lockout_it_is_refused_and_nothing_is_written(place, wear, tess):
    with pytest.raises(NotClosedOut) as refused:
        close(place, tess, {wear.pk: found(drive_diameter=75.0)}, lockout_confirmed=False)
    assert "need lockout" in refused.value.fields["lockout_confirmed"]
    assert not Visit.objects.exists()
    assert Task.objects.open().count() == 1


def test_a_look_from_the_walkway_needs_no_lockout(place, alder, tess):
    kind = CheckKind.objects.create(plant=alder, code="look", name="Look", needs_lockout=False)
    ReadingField.objects.create(
        check_kind=kind,
        code="clean",
        label="Clean",
        form="yes_no",
        choices=[{"value": "yes", "label": "Yes", "grade": "sound"}, {"value": "no", "label": "No", "grade": "watch"}],
    )
    task = make.task(place, kind, make.today())
    visit = close(place, tess, {task.pk: found(clean="no")}, lockout_confirmed=False)
    task.refresh_from_db()
    assert task.grade == "watch"
    assert visit.lockout_confirmed_at is None


def test_a_reading_of_the_plant_s_own_is_told_with_its_unit(place, alder, tess):
    kind = CheckKind.objects.create(plant=alder, code="gap", name="Scraper gap", needs_lockout=False)
    ReadingField.objects.create(
        check_kind=kind, code="gap", label="Gap", form="number", quantity="mm", watch_above=25.0
    )
    task = make.task(place, kind, make.today())
    visit = close(place, tess, {task.pk: found(gap=31.0)}, lockout_confirmed=False)
    assert said(visit.readings.get()) == "31 mm is above 25 mm: watch."


def test_an_act_needs_an_action_or_a_reason(place, wear, tess, pat):
    entries = {wear.pk: found(drive_diameter=68.0, off_diameter=68.5)}
    with pytest.raises(NotClosedOut) as refused:
        close(place, tess, entries)
    assert refused.value.suggested_action == "Replace both sensor rollers"
    assert "action_title" in refused.value.fields
    day = make.today() + dt.timedelta(days=7)
    visit = close(place, tess, entries, action=NewAction("Replace both sensor rollers", day, pat))
    action = Action.objects.get()
    assert (action.visit, action.owner, action.due_on) == (visit, pat, day)
    assert pat.notices.get().text.endswith("Replace both sensor rollers")


def test_an_open_action_for_another_check_stands_for_no_finding(place, wear, torque, tess):
    day = make.today() + dt.timedelta(days=7)
    raise_action(installation=place, by=tess, title="Sweep the walkway", due_on=day)
    raise_action(installation=place, by=tess, title="Tighten", due_on=day, check_kind=torque.check_kind)
    entries = {wear.pk: found(drive_diameter=68.0, off_diameter=68.5)}
    with pytest.raises(NotClosedOut) as refused:
        close(place, tess, entries)
    assert refused.value.fields["action_title"] == (
        "A finding says act (Sensor wear): raise an action, or say why none is needed."
    )
    ordered = raise_action(installation=place, by=tess, title="Rollers", due_on=day, check_kind=wear.check_kind)
    visit = close(place, tess, entries)
    assert (visit.no_action_reason, visit.actions.count()) == ("", 0)
    finish_action(ordered, by=tess, note="changed")
    assert kinds_in_hand(place) == {torque.check_kind_id}


def test_an_action_raised_with_a_visit_stands_for_what_that_visit_found_at_act(place, wear, torque, tess):
    day = make.today() + dt.timedelta(days=7)
    both = {wear.pk: found(drive_diameter=68.0, off_diameter=75.0), torque.pk: found(clamp_1=75.0)}
    close(place, tess, both, action=NewAction("Rollers", day))
    assert kinds_in_hand(place) == {wear.check_kind_id}


def test_an_act_with_a_reason_keeps_the_reason(place, wear, tess):
    visit = close(place, tess, {wear.pk: found(drive_diameter=68.0)}, no_action_reason="Replaced on the spot")
    assert visit.no_action_reason == "Replaced on the spot"


def test_a_hard_to_believe_reading_is_asked_back_once(place, wear, tess):
    entries = {wear.pk: found(drive_diameter=2.9, off_diameter=75.0)}
    with pytest.raises(NotClosedOut) as refused:
        close(place, tess, entries, no_action_reason="-")
    key = f"{wear.pk}:drive_diameter:as_found"
    assert asked(refused) == {key: "2.9 mm looks like inches typed as millimetres: did you mean 73.66 mm?"}
    visit = close(place, tess, entries, no_action_reason="-", confirmed_implausible={key})
    assert visit.readings.get(code="drive_diameter").value == 2.9


def test_a_diameter_that_grew_and_a_torque_of_zero_are_asked_back(place, wear, torque, tess):
    close(place, tess, {wear.pk: found(drive_diameter=72.0)})
    again = make.task(place, wear.check_kind, make.today())
    with pytest.raises(NotClosedOut) as refused:
        close(place, tess, {again.pk: found(drive_diameter=74.0), torque.pk: found(clamp_1=0.0)}, no_action_reason="-")
    assert "was the part changed?" in asked(refused)[f"{again.pk}:drive_diameter:as_found"]
    assert "fastener missing" in asked(refused)[f"{torque.pk}:clamp_1:as_found"]


def test_what_the_model_does_not_state_is_kept_and_not_graded(place, wear, tess):
    model = place.device.device_model
    model.sensor_limit_mm = None
    model.save()
    close(place, tess, {wear.pk: found(drive_diameter=70.0)})
    wear.refresh_from_db()
    assert wear.grade == ""
    assert "not stated by the model" in said(wear)
    assert Reading.objects.get().value == 70.0


@pytest.mark.parametrize(
    ("entry", "code", "said"),
    [
        ({"drive_diameter": {"as_found": 0.0}}, "drive_diameter", "above 0"),
        ({"drive_state": {"as_found": "green"}}, "drive_state", "one of the answers"),
        ({"drive_diameter": {"as_found": "wide"}}, "drive_diameter", "Give a number"),
    ],
)
def test_a_wrong_value_is_named_at_its_field(place, wear, tess, entry, code, said):
    with pytest.raises(NotClosedOut) as refused:
        close(place, tess, {wear.pk: entry})
    assert said in refused.value.fields[f"{wear.pk}:{code}:as_found"]


def test_nothing_filled_in_is_refused(place, wear, tess):
    with pytest.raises(NotClosedOut) as refused:
        close(place, tess, {wear.pk: {"drive_diameter": {"as_found": None}}})
    assert "at least one check" in refused.value.fields["checks"]


@pytest.mark.parametrize(
    ("when", "said"),
    [
        (timezone.now() + dt.timedelta(days=1), "lies ahead"),
        (dt.datetime(2025, 1, 1, tzinfo=dt.UTC), "not in this place yet"),
    ],
)
def test_a_visit_at_an_impossible_time_is_refused(place, wear, tess, when, said):
    with pytest.raises(NotClosedOut) as refused:
        close(place, tess, {wear.pk: found(drive_diameter=75.0)}, visited_at=when)
    assert said in refused.value.fields["visited_at"]


def test_a_check_of_another_device_is_refused(place, belt_a1, wear, tess):
    elsewhere = make.installation(belt_a1, number="2", chainage_m=150.0)
    with pytest.raises(Refused, match="belongs to another device"):
        close(elsewhere, tess, {wear.pk: found(drive_diameter=75.0)})


def test_a_check_closed_meanwhile_loses_nothing(place, wear, tess, pat):
    first = close(place, pat, {wear.pk: found(drive_diameter=75.0, off_diameter=75.0)})
    second = close(place, tess, {wear.pk: found(drive_diameter=71.0, off_diameter=75.0)})
    wear.refresh_from_db()
    assert wear.visit == first
    assert wear.closed_by == pat
    assert wear.grade == "watch"  # the worse of the two
    assert [task.pk for task in closed_meanwhile(second)] == [wear.pk]
    assert closed_meanwhile(first) == []
    assert Reading.objects.current().filter(task=wear).count() == 4


def test_could_not_do_is_no_penalty_and_tells_the_planners(wear, tess, pat, otto):
    key = uuid.uuid4()
    row = could_not_do(task=wear, by=tess, reason="belt_running", note="no window", client_key=key)
    assert could_not_do(task=wear, by=tess, reason="belt_running", client_key=key) == row
    wear.refresh_from_db()
    assert wear.closed_at is None
    assert pat.notices.count() == 1
    assert "belt running" in pat.notices.get().text
    assert otto.notices.count() == 0
    assert CouldNotDo.objects.count() == 1
    with pytest.raises(Refused):
        could_not_do(task=wear, by=tess, reason="tired")


def test_a_closed_check_cannot_be_reported_as_not_done(place, wear, tess):
    close(place, tess, {wear.pk: found(drive_diameter=75.0)})
    with pytest.raises(Refused, match="closed meanwhile"):
        could_not_do(task=wear, by=tess, reason="no_access")


def test_a_correction_adds_rows_and_moves_no_date(place, wear, pivot, tess, pat):
    old = close(
        place,
        tess,
        {wear.pk: found(drive_diameter=Typed(71.0, "71"), off_diameter=75.0), pivot.pk: found(pivot="free")},
    )
    wear.refresh_from_db()
    closed_at = wear.closed_at
    key = uuid.uuid4()
    change = {"reason": "mixed up the sides", "client_key": key, "by": pat}
    fresh = correct_visit(visit=old, entries={wear.pk: found(drive_diameter=75.0)}, **change)
    assert correct_visit(visit=old, entries={wear.pk: found(drive_diameter=75.0)}, **change) == fresh
    wear.refresh_from_db()
    assert (wear.grade, wear.closed_at, wear.visit) == ("sound", closed_at, fresh)
    assert old.readings.count() == 3  # the old ones stay as they were
    now = {row.code: row for row in Reading.objects.current()}
    assert set(now) == {"drive_diameter", "pivot"}
    assert now["drive_diameter"].corrects.value == 71.0
    assert {row.visit for row in now.values()} == {fresh}
    assert (fresh.visited_by, fresh.created_by, fresh.visited_at) == (tess, pat, old.visited_at)
    with pytest.raises(Refused, match="corrected before"):
        correct_visit(visit=old, entries={}, by=pat, reason="again")
    with pytest.raises(Refused, match="Say why"):
        correct_visit(visit=fresh, entries={}, by=pat, reason=" ")


def test_withdrawing_all_readings_of_a_check_takes_its_grade_away(place, wear, pivot, tess):
    old = close(place, tess, {wear.pk: found(drive_diameter=71.0), pivot.pk: found(pivot="free")})
    correct_visit(visit=old, by=tess, reason="wrong device", entries={wear.pk: {}})
    wear.refresh_from_db()
    assert (wear.grade, said(wear)) == ("", "All readings were withdrawn.")


def test_a_correction_does_not_ask_again_about_what_stays(place, wear, tess):
    key = f"{wear.pk}:drive_diameter:as_found"
    old = close(place, tess, {wear.pk: found(drive_diameter=79.9)}, confirmed_implausible={key})
    correct_visit(
        visit=old,
        by=tess,
        reason="off side forgotten",
        entries={wear.pk: found(drive_diameter=79.9, off_diameter=75.0)},
    )
    assert Reading.objects.current().count() == 2


def test_the_same_form_at_the_same_moment_makes_one_visit(place, wear, tess, monkeypatch):
    """Both look before either has written: the unique key decides, and the second gets the first's visit."""

    key = uuid.uuid4()
    entries = {wear.pk: found(drive_diameter=75.0)}
    first = close(place, tess, entries, client_key=key)
    look, looks = visits.known_row, []

    def blind_at_first(model, client_key):
        looks.append(model)
        return None if len(looks) == 1 else look(model, client_key)

    monkeypatch.setattr(visits, "known_row", blind_at_first)
    assert close(place, tess, entries, client_key=key) == first
    assert Visit.objects.count() == 1
    assert Reading.objects.count() == 1


def with_tool(value, instrument=None, method="first_movement"):
    return Typed(value, "", method, instrument)


def test_a_torque_carries_its_method_its_wrench_and_the_wrenchs_deviation(place, torque, tess):
    wrench = make.torque_wrench(place.plant, deviation_pct=6.0)
    entries = {torque.pk: {"clamp_1": {"as_found": with_tool(63.0, wrench), "as_left": with_tool(70.9, wrench)}}}
    visit = close(place, tess, entries, no_action_reason="set again at once")
    found_row, left_row = visit.readings.order_by("pk")
    assert (found_row.method, found_row.instrument, found_row.deviation_pct) == ("first_movement", wrench, 6.0)
    assert (left_row.method, left_row.doubt) == ("tightening", "")
    assert "with a tool of 6 %" in said(found_row)
    assert "undecided with this tool" in said(left_row)


def test_a_wrench_out_of_calibration_is_refused_until_somebody_says_why(place, torque, tess):
    late = make.today() - dt.timedelta(days=3)
    wrench = make.torque_wrench(place.plant, calibration_due_on=late)
    with pytest.raises(NotClosedOut, match="say why this one was used all the same") as refused:
        close(place, tess, {torque.pk: {"clamp_1": {"as_found": with_tool(75.0, wrench)}}})
    assert set(refused.value.fields) == {f"t{torque.pk}-tool_reason"}
    assert Visit.objects.count() == 0
    told = with_tool(75.0, wrench)._replace(tool_reason="the other one is broken")
    visit = close(place, tess, {torque.pk: {"clamp_1": {"as_found": told}}})
    row = visit.readings.get()
    assert "3 days before" in row.doubt
    assert row.doubt.endswith("Used all the same: the other one is broken")
    assert row.grade == "sound"
    told = visit_sheet(visit)["checks"][0]["tools"]
    assert [(each.instrument, each.doubt) for each in told] == [(wrench, row.doubt)]


def test_no_wrench_named_is_said_and_the_start_value_assumed(place, torque, tess):
    row = close(place, tess, {torque.pk: found(clamp_1=75.0)}).readings.get()
    assert (row.instrument, row.deviation_pct, row.method) == (None, 4.0, "")


def test_a_turned_nut_is_act_at_full_torque_and_calls_for_an_action(place, torque, tess):
    with pytest.raises(NotClosedOut) as refused:
        close(place, tess, {torque.pk: found(clamp_1=75.0, clamp_1_mark="rotated")})
    assert set(refused.value.fields) == {"action_title"}
    close(place, tess, {torque.pk: found(clamp_1=75.0, clamp_1_mark="rotated")}, no_action_reason="marked anew")
    torque.refresh_from_db()
    assert torque.grade == "act"
    assert said(torque).endswith("1 turned past its witness mark: clamp 1.")


def test_a_trend_never_mixes_methods(place, tess):
    kind = make.check_kind("fastener-torque")
    for days, value, method in (
        (9, 74.0, "first_movement"),
        (6, 77.0, "mark_and_retighten"),
        (3, 72.0, "first_movement"),
    ):
        task = make.task(place, kind, make.today())
        when = timezone.now() - dt.timedelta(days=days)
        close(place, tess, {task.pk: {"clamp_1": {"as_found": with_tool(value, method=method)}}}, visited_at=when)
    lines = [(line.method, [row.value for row in line.readings]) for line in torques_in_time(place)]
    assert lines == [
        ("first movement when tightening on", [74.0, 72.0]),
        ("marked, loosened, tightened to the mark", [77.0]),
    ]


def test_a_correction_keeps_method_and_wrench_where_nothing_else_is_said(place, torque, tess):
    wrench = make.torque_wrench(place.plant)
    visit = close(place, tess, {torque.pk: {"clamp_1": {"as_found": with_tool(75.0, wrench)}}})
    fresh = correct_visit(visit=visit, by=tess, reason="a word more", entries={}, note="dry threads")
    row = fresh.readings.get()
    assert (row.method, row.instrument) == ("first_movement", wrench)


def test_the_third_act_running_proposes_a_study_of_the_cause(place, tess):
    kind = make.check_kind("pivot-freedom")
    proposed = []
    for days in (9, 6, 3):
        task = make.task(place, kind, make.today())
        when = timezone.now() - dt.timedelta(days=days)
        with pytest.raises(NotClosedOut) as refused:
            close(place, tess, {task.pk: found(pivot="seized")}, visited_at=when)
        proposed.append(refused.value.suggested_action)
        close(place, tess, {task.pk: found(pivot="seized")}, visited_at=when, no_action_reason="freed at once")
    assert proposed[:2] == ["Free or replace the pivot"] * 2
    assert proposed[2] == "Study the cause: Pivot freedom says act 3 times running"


def test_a_correction_that_says_act_needs_an_action_or_a_reason_too(place, wear, tess):
    visit = close(place, tess, {wear.pk: found(drive_diameter=75.0)})
    given = {"visit": visit, "by": tess, "reason": "typed wrong", "entries": {wear.pk: found(drive_diameter=68.5)}}
    with pytest.raises(NotClosedOut) as refused:
        correct_visit(**given)
    assert set(refused.value.fields) == {"action_title"}
    assert refused.value.suggested_action == "Replace both sensor rollers"
    fresh = correct_visit(**given, action=NewAction("Replace them", make.today()))
    assert Action.objects.get().visit == fresh


def test_a_correction_may_say_why_no_action_is_needed(place, wear, tess):
    visit = close(place, tess, {wear.pk: found(drive_diameter=75.0)})
    entries = {wear.pk: found(drive_diameter=68.5)}
    fresh = correct_visit(
        visit=visit, by=tess, reason="typed wrong", entries=entries, no_action_reason="replaced since"
    )
    assert fresh.no_action_reason == "replaced since"
    assert not Action.objects.exists()


@pytest.fixture
def worn_place(belt_a1, tess):
    """A belt that ran 20 h a day, and six readings of its roller that fall by 0.3 mm a month."""
    now = timezone.now()
    place = make.installation(belt_a1, installed_at=now - dt.timedelta(days=200))
    for days in range(200):
        begin = now - dt.timedelta(days=days + 1)
        make.run_record(place.conveyor, begin, begin + dt.timedelta(days=1), 20.0)
    for n, value in enumerate((76.0, 75.7, 75.4, 75.1, 74.8, 74.5)):
        when = now - dt.timedelta(days=190 - 30 * n)
        task = make.task(place, make.check_kind(), when.date())
        close(place, tess, {task.pk: found(drive_diameter=value)}, visited_at=when)
    return place


def test_a_visit_made_before_the_rollers_were_changed_is_kept(worn_place, tess, pat):
    """What a phone held since before the rollers were changed: the trend of the new ones says nothing of it."""
    task = make.task(worn_place, make.check_kind(), make.today())
    close(worn_place, tess, {task.pk: {"drive_diameter": {"as_found": 74.3, "as_left": 76.0}}})
    earlier = timezone.now() - dt.timedelta(hours=2)
    visit = from_a_phone(worn_place, pat, {task.pk: found(drive_diameter=74.4)}, visited_at=earlier)
    assert (visit.visited_at, visit.readings.count()) == (earlier, 1)


def test_a_visit_before_a_device_with_a_trend_stood_there_is_refused(worn_place, tess):
    task, begin = make.task(worn_place, make.check_kind(), make.today()), worn_place.installed_at
    make.run_record(worn_place.conveyor, begin - dt.timedelta(days=60), begin, 1200.0)
    when = begin - dt.timedelta(days=1)
    with pytest.raises(NotClosedOut) as refused:
        close(worn_place, tess, {task.pk: found(drive_diameter=75.0)}, visited_at=when)
    assert "not in this place yet" in refused.value.fields["visited_at"]


def test_a_diameter_far_off_the_devices_own_trend_is_asked_back_and_kept(worn_place, tess):
    task = make.task(worn_place, make.check_kind(), make.today())
    with pytest.raises(NotClosedOut) as refused:
        close(worn_place, tess, {task.pk: found(drive_diameter=72.3)})
    ((key, words),) = asked(refused).items()
    assert "below the 74.1 mm that its own trend expects, more than 4 times its scatter" in words
    visit = close(worn_place, tess, {task.pk: found(drive_diameter=72.3)}, confirmed_implausible=[key])
    assert visit.readings.get().value == 72.3


def test_a_diameter_on_its_trend_and_a_new_roller_are_not_asked_back(worn_place, tess):
    task = make.task(worn_place, make.check_kind(), make.today())
    close(worn_place, tess, {task.pk: {"drive_diameter": {"as_found": 74.1, "as_left": 76.0}}})


# --- One check that several asked for ---------------------------------------------------------------------------------
@pytest.fixture
def watched(place, wear):
    """The rate watch wants the same check; the plan's is the older one."""
    return make.task(place, wear.check_kind, make.today(), origin=Task.Origin.RATE_WATCH)


def test_one_visit_answers_the_plan_and_the_watch(place, wear, watched, tess):
    visit = close(place, tess, {wear.pk: found(drive_diameter=72.0, off_diameter=75.0)})
    watched.refresh_from_db()
    wear.refresh_from_db()
    assert (watched.outcome, watched.visit, watched.done_with, watched.grade) == ("done", visit, wear, wear.grade)
    assert watched.closed_by == tess
    assert watched.grade_because == wear.grade_because
    assert visit.readings.count() == 2
    assert not visit.readings.filter(task=watched).exists()
    assert OverdueSpell.objects.filter(task=watched, ended_at__isnull=True).count() == 0


def test_what_opens_later_is_not_answered(place, wear, tess):
    today = make.today()
    later = make.task(
        place, wear.check_kind, today + dt.timedelta(days=30), origin=Task.Origin.FOLLOW_UP,
        opens_on=today + dt.timedelta(days=25),
    )  # fmt: skip
    close(place, tess, {wear.pk: found(drive_diameter=75.0)})
    later.refresh_from_db()
    assert later.closed_at is None


def test_readings_for_each_stand_for_each(place, wear, watched, tess):
    """As a phone sends it that brought its round before checks were asked once."""
    visit = close(place, tess, {wear.pk: found(drive_diameter=75.0), watched.pk: found(drive_diameter=72.0)})
    watched.refresh_from_db()
    assert (watched.done_with, watched.visit) == (None, visit)
    assert visit.readings.filter(task=watched).count() == 1


def from_a_phone(place, by, entries, **values):
    """As a phone sends what it kept since before somebody else was there."""
    now = timezone.now()
    return close(place, by, entries, phone=PhoneClock(now, now), **values)


ORDERED = {"no_action_reason": "new ones are ordered"}


@pytest.mark.parametrize(("counts", "grade"), [("", "act"), ("first", "sound"), ("second", "act"), ("both", "act")])
def test_of_two_visits_the_one_that_counts_also_says_what_answers_it(place, wear, watched, tess, pat, counts, grade):
    """A phone had the watch's check alone; meanwhile a visit to the plan's had answered both.

    Until somebody says which counts the worse finding stands, in the check that lists read and in what it answered.
    """
    close(place, tess, {wear.pk: found(drive_diameter=75.0)})
    second = from_a_phone(place, pat, {watched.pk: found(drive_diameter=67.5)}, **ORDERED)
    row = TwiceClosed.objects.get()
    assert (row.task, row.second) == (wear, second)
    if counts:
        say_which_counts(row, by=tess, version=1, counts=counts)
    for task in (wear, watched):
        task.refresh_from_db()
        assert task.grade == grade
    assert (wear.done_with, watched.done_with) == (None, wear)
    assert list(Task.objects.read()) == [wear]
    again = make.task(place, wear.check_kind, make.today())
    (listed,) = Task.objects.filter(pk=again.pk).with_last_grade()
    assert (listed.last_grade, listed.last_task_id) == (grade, wear.pk)
    assert times_running(place, wear.check_kind_id) == (1 if grade == "act" else 0)
    (state,) = check_state_of([place])[place.pk]
    assert state.grade_since == grade


def test_a_worse_finding_of_the_second_visit_stands_in_what_the_first_answered_too(place, wear, watched, tess, pat):
    close(place, tess, {wear.pk: found(drive_diameter=75.0)})
    from_a_phone(place, pat, {wear.pk: found(drive_diameter=67.5)}, **ORDERED)
    watched.refresh_from_db()
    assert watched.grade == "act"


def test_readings_for_both_of_a_phone_that_came_second_raise_both(place, wear, watched, tess, pat):
    """As a phone sends them that brought its round before checks were asked once."""
    close(place, tess, {wear.pk: found(drive_diameter=75.0)})
    entries = {wear.pk: found(drive_diameter=74.0), watched.pk: found(drive_diameter=67.5)}
    from_a_phone(place, pat, entries, **ORDERED)
    for task in (wear, watched):
        task.refresh_from_db()
        assert task.grade == "act"
    assert TwiceClosed.objects.count() == 2


def test_rollers_that_one_visit_changed_hide_nothing_that_another_found(place, wear, tess, pat):
    """Who was first is a question of two clocks: until it is decided the worn roller may be on the belt."""
    changed = {"drive_diameter": {"as_found": 71.0, "as_left": 76.0}}
    close(place, tess, {wear.pk: changed})
    assert with_new_rollers([wear.pk]) == {wear.pk}
    earlier = timezone.now() - dt.timedelta(hours=2)
    from_a_phone(place, pat, {wear.pk: found(drive_diameter=67.5)}, visited_at=earlier, **ORDERED)
    (state,) = check_state_of([place])[place.pk]
    assert state.grade_since == "act"
    say_which_counts(TwiceClosed.objects.get(), by=tess, version=1, counts="both")
    assert with_new_rollers([wear.pk]) == {wear.pk}  # found by the one, changed by the other two hours later


def test_a_check_withdrawn_before_a_phone_sends_it_was_done_all_the_same(place, wear, tess, pat):
    withdraw_task(task=wear, by=pat, reason="not now")
    visit = from_a_phone(place, tess, {wear.pk: found(drive_diameter=67.5)}, **ORDERED)
    wear.refresh_from_db()
    assert (wear.outcome, wear.visit, wear.closed_by, wear.grade) == ("done", visit, tess, "act")
    assert list(Task.objects.read()) == [wear]
    assert not TwiceClosed.objects.exists()


def test_a_correction_of_the_first_keeps_what_the_second_found_by_its_readings_together(place, wear, tess, pat):
    """The difference between the sides is a finding of no single reading."""
    first = close(place, tess, {wear.pk: found(drive_diameter=75.0, off_diameter=75.0)})
    from_a_phone(place, pat, {wear.pk: found(drive_diameter=75.5, off_diameter=73.0)})
    wear.refresh_from_db()
    worse = wear.grade
    assert worse != "sound"
    assert set(Reading.objects.filter(task=wear).values_list("grade", flat=True)) == {"sound"}
    correct_visit(visit=first, by=tess, reason="misread", entries={wear.pk: found(drive_diameter=75.1)})
    wear.refresh_from_db()
    assert wear.grade == worse


# --- Two at one moment ------------------------------------------------------------------------------------------------
def test_a_check_that_somebody_closes_between_looking_and_closing_keeps_their_finding(
    place, wear, watched, tess, pat, monkeypatch
):
    real = closing.answered_too

    def answered_too(task, on):
        rows = real(task, on)
        if task == wear:  # and now pat's visit to the other check arrives
            monkeypatch.setattr(closing, "answered_too", lambda task, on: [])
            close(place, pat, {watched.pk: found(drive_diameter=67.5)}, **ORDERED)
        return rows

    monkeypatch.setattr(closing, "answered_too", answered_too)
    close(place, tess, {wear.pk: found(drive_diameter=75.0)})
    watched.refresh_from_db()
    assert (watched.grade, watched.closed_by, watched.done_with) == ("act", pat, None)
    assert set(Task.objects.read()) == {wear, watched}


@pytest.mark.django_db(transaction=True)
def test_two_visits_on_two_connections_close_what_both_were_asked_once_each():
    if connection.vendor != "postgresql":
        pytest.skip("the test data base of SQLite lives in one connection; the race is played above")

    sync_roles()  # a test with real transactions finds the tables empty
    alder = make.plant(name="Alder Pit", time_zone="Europe/Berlin")
    people = [make.person(name, alder, "technician") for name in ("tess", "tom")]
    kind = CheckKind.objects.get_or_create(
        plant=None, code="sensor-wear", defaults={"name": "Sensor wear", "rule": CheckKind.Rule.SENSOR_WEAR}
    )[0]
    places = [make.installation(make.conveyor(alder, tag=f"A-{n}"), str(n)) for n in range(8)]
    pairs = [
        (make.task(at, kind, make.today()), make.task(at, kind, make.today(), origin=Task.Origin.RATE_WATCH))
        for at in places
    ]
    barrier = threading.Barrier(2)
    failed = []

    def work(person, which, diameter):
        try:
            for at, pair in zip(places, pairs, strict=True):
                barrier.wait(timeout=GIVE_UP_AFTER_S)
                from_a_phone(at, person, {pair[which].pk: found(drive_diameter=diameter)}, **ORDERED)
        except Exception as error:  # shown by the assertion below
            failed.append(error)
            barrier.abort()
        finally:
            connection.close()

    threads = [
        threading.Thread(target=work, args=(people[0], 0, 75.0)),
        threading.Thread(target=work, args=(people[1], 1, 67.5)),
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=GIVE_UP_AFTER_S)
    assert failed == []
    for pair in pairs:
        rows = [Task.objects.get(pk=task.pk) for task in pair]
        (lead,) = (task for task in rows if task.done_with_id is None)  # whoever was first; the other is answered by it
        assert {task.grade for task in rows} == {"act"}
        assert TwiceClosed.objects.get(task=lead).first == lead.visit


def test_a_finding_that_two_asked_for_counts_once(place, wear, watched, tess):
    close(place, tess, {wear.pk: found(drive_diameter=68.0)}, no_action_reason="new ones are ordered")
    assert times_running(place, wear.check_kind_id) == 1
    assert acts_running(place) == {}
    assert Task.objects.done().count() == 2
    assert Task.objects.read().count() == 1


def test_a_correction_carries_to_what_was_answered_too(place, wear, watched, tess):
    visit = close(place, tess, {wear.pk: found(drive_diameter=72.0)})
    fresh = correct_visit(
        visit=visit, by=tess, reason="read off the wrong side", entries={wear.pk: found(drive_diameter=75.5)}
    )
    watched.refresh_from_db()
    assert (watched.grade, watched.visit) == ("sound", fresh)


def test_what_could_not_be_done_is_said_of_each_and_told_once(place, wear, watched, tess, pat):
    could_not_do(task=wear, by=tess, reason="belt_running")
    assert set(CouldNotDo.objects.values_list("task", flat=True)) == {wear.pk, watched.pk}
    assert pat.notices.count() == 1
    assert [row.task for row in came_back(place.plant)] == [wear]


def test_a_check_that_several_asked_for_is_asked_once(place, wear, watched):
    due, early = checks_to_do(place, make.today())
    assert ([task.pk for task in due], early) == ([wear.pk], [])
    assert [task.pk for task in due[0].asked_too] == [watched.pk]
    wear.opens_on = wear.due_on = make.today() + dt.timedelta(days=3)
    wear.closes_on = make.today() + dt.timedelta(days=9)
    wear.save()
    due, early = checks_to_do(place, make.today())
    assert ([task.pk for task in due], early) == ([watched.pk], [])  # the plan's is not asked beside it as early


def test_the_plans_next_check_counts_from_the_visit_that_answered_the_watch(place, wear, watched, tess, alder):
    plan = make.check_plan(place.device.device_model, wear.check_kind)
    wear.check_plan = plan
    wear.opens_on = wear.due_on = make.today() + dt.timedelta(days=20)
    wear.closes_on = make.today() + dt.timedelta(days=30)
    wear.save()
    close(place, tess, {watched.pk: found(drive_diameter=75.0)})
    plan_next(place)
    wear.refresh_from_db()
    assert wear.closed_at is None
    assert wear.due_on == make.today() + dt.timedelta(days=90)


# --- One action for one finding ---------------------------------------------------------------------------------------
def act_again(place, tess, wear, **values):
    again = make.task(place, wear.check_kind, make.today())
    return close(place, tess, {again.pk: found(drive_diameter=67.5)}, **values)


@pytest.fixture
def open_one(place, wear, tess):
    close(place, tess, {wear.pk: found(drive_diameter=68.0)}, action=NewAction("Replace rollers", make.today()))
    return Action.objects.get()


def test_a_second_action_for_a_finding_is_asked_about(place, wear, tess, open_one):
    with pytest.raises(NotClosedOut) as refused:
        act_again(place, tess, wear, action=NewAction("Change the rollers", make.today()))
    assert "An action for this is open here already: Replace rollers" in refused.value.fields["action_choice"]
    assert Visit.objects.count() == 1
    Task.objects.open().delete()
    visit = act_again(place, tess, wear, action=NewAction("Change the rollers", make.today(), is_another=True))
    assert Action.objects.get(visit=visit).beside == open_one


def test_a_finding_that_is_added_is_linked_with_its_visit(place, wear, tess, open_one):
    visit = act_again(place, tess, wear, action=NewAction("Now the off side too", make.today(), add_to=open_one))
    assert Action.objects.count() == 1
    note = open_one.notes.get()
    assert (note.visit, note.text) == (visit, "Now the off side too")
    assert list(visit_sheet(visit)["found_again"]) == [note]


def test_a_finding_for_which_an_action_is_open_is_written_on_it(place, wear, tess, open_one):
    visit = act_again(place, tess, wear)
    note = open_one.notes.get()
    assert note.visit == visit
    assert note.text.startswith("Sensor wear found at act again: Permitted wear used: drive side 106.2 %")


WORN = found(drive_diameter=67.5)
SEIZED = {"pivot": {"as_found": "seized"}}


@pytest.fixture
def open_two(place, pivot, tess, open_one):
    """An open action for each of the two checks."""
    close(place, tess, {pivot.pk: SEIZED}, action=NewAction("Replace the pivot", make.today()))
    return open_one, Action.objects.latest("pk")


def both_again(place, tess, **values):
    tasks = [make.task(place, make.check_kind(code), make.today()) for code in ("sensor-wear", "pivot-freedom")]
    return close(place, tess, {tasks[0].pk: WORN, tasks[1].pk: SEIZED}, **values)


@pytest.mark.parametrize(
    "answer",
    [
        {},
        {"no_action_reason": "both are in hand"},
        {"is_another": True},
        {"is_from_a_phone": True},
    ],
    ids=["nothing", "reason", "another", "phone"],
)
def test_every_finding_for_which_an_action_is_open_is_written_on_it(place, tess, open_two, answer):
    known = {name: value for name, value in answer.items() if name == "no_action_reason"}
    if len(answer) > len(known):
        known["action"] = NewAction("Look at the frame", make.today(), is_another="is_another" in answer)
    if "is_from_a_phone" in answer:
        known["phone"] = PhoneClock(timezone.now(), timezone.now())
    visit = both_again(place, tess, **known)
    for action, begins in zip(
        open_two, ("Sensor wear found at act again", "Pivot freedom found at act again"), strict=True
    ):
        note = action.notes.get()
        assert note.visit == visit
        assert note.text.startswith(begins)
    if "action" in known:
        assert not Action.objects.get(visit=visit).notes.exists()  # raised for them just now


def test_what_is_added_to_one_action_leaves_the_other_finding_its_own_note(place, tess, open_two):
    rollers, pivot = open_two
    visit = both_again(place, tess, action=NewAction("Now the off side too", make.today(), add_to=rollers))
    assert rollers.notes.get().text == "Now the off side too"
    assert pivot.notes.get().visit == visit


def test_an_action_that_stands_for_two_findings_tells_of_both(place, wear, pivot, tess):
    close(place, tess, {wear.pk: WORN, pivot.pk: SEIZED}, action=NewAction("Rebuild the device", make.today()))
    action = Action.objects.get()
    both_again(place, tess, action=NewAction("It squeals", make.today(), add_to=action))
    assert sorted(note.text.split(":")[0] for note in action.notes.all()) == [
        "It squeals",
        "Pivot freedom found at act again",
        "Sensor wear found at act again",
    ]


def test_a_finding_that_only_its_correction_shows_is_written_on_the_open_action(place, wear, tess, open_one):
    again = make.task(place, wear.check_kind, make.today())
    visit = close(place, tess, {again.pk: found(off_diameter=75.0)})
    assert not open_one.notes.exists()
    fresh = correct_visit(visit=visit, by=tess, reason="misread", entries={again.pk: WORN})
    assert open_one.notes.get().visit == fresh
    correct_visit(visit=fresh, by=tess, reason="off side too", entries={again.pk: found(off_diameter=67.0)})
    assert open_one.notes.count() == 1


def test_a_phone_that_does_not_know_of_the_open_action_is_not_held_up(place, wear, tess, pat, open_one):
    clock = PhoneClock(timezone.now(), timezone.now())
    visit = act_again(place, tess, wear, action=NewAction("Change the rollers", make.today()), phone=clock)
    assert Action.objects.get(visit=visit).beside == open_one
    assert pat.notices.filter(key__contains="beside").count() == 1


def test_an_action_with_no_finding_behind_it_is_no_second_one(place, pivot, tess, open_one):
    entries = {pivot.pk: {"pivot": {"as_found": "free"}}}
    visit = close(place, tess, entries, action=NewAction("Paint the frame", make.today()))
    assert Action.objects.get(visit=visit).beside is None
