"""The technician closes a stop out on a phone: live grades are the server's, typed inches are understood, sent once."""

from __future__ import annotations

import csv
import datetime as dt
import json
import uuid
from pathlib import Path

import pytest
from django.utils import timezone

from inspections.calc import grading
from inspections.calc.doubts import ways_of
from inspections.calc.findings import FastenerTarget, find_torque
from inspections.calc.phone_rules import grading_rules
from inspections.calc.plausible import implausible
from inspections.check_rules.kinds import rule_of
from inspections.check_rules.wanted import FOUND, LEFT, Typed
from inspections.models import Action, CheckKind, Reading, ReadingField, Task, Visit
from inspections.selectors.readings_wanted import readings_wanted
from inspections.words.check_rules import label_words
from inspections.words.grading import because_words, grade_words, texts_for_phone
from installs.models import Instrument
from installs.selectors.torque import deviation_of
from plant.calc.reasons import Reason
from plant.calc.typed_quantities import parse_quantity, typing_grammar, ways_to_read
from plant.calc.units import QuantityKind, UnitSystem
from plant.words.typing import echo, typing_for_page, why_not_read
from tests import make
from tests.walks.accessibility import barriers

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

REFERENCE = Path(__file__).parents[1] / "reference"
CASES = json.loads((REFERENCE / "grading_cases.json").read_text())["cases"]


def kept(reason):
    """A reason as the script gives it: rule and values, numbers to twelve digits."""
    if reason is None or isinstance(reason, str):
        return reason
    if isinstance(reason, Reason):
        reason = reason.kept()
    if isinstance(reason, dict):
        return {name: kept(each) for name, each in reason.items()}
    return [kept(each) for each in reason] if isinstance(reason, list) else float(f"{reason:.12g}")


def lengths():
    with (REFERENCE / "lengths.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def place(belt_a1):
    model = make.device_model(belt_a1.plant, breakaway_limit_n=80.0)
    return make.installation(belt_a1, device=make.device(belt_a1.plant, "1", model))


@pytest.fixture
def tasks(place, built_in_kinds):
    today = make.today()
    return {
        code: make.task(place, make.check_kind(code), today)
        for code in ("sensor-wear", "pivot-freedom", "fastener-torque")
    }


def box(task, code, stage="as_found"):
    return f"[name='t{task.pk}-{code}-{stage}']"


def graded(page, task):
    return page.locator(f"section[data-task='{task.pk}'] .graded")


def test_the_script_grades_every_case_of_the_table_as_the_server_does(page, live_server, tess, page_of):
    page_of(tess)
    found = page.evaluate(
        """async ([rules, cases]) => {
            const { makeGrading } = await import("/static/inspections/grading.js");
            const grading = makeGrading(rules);
            return cases.map(({ kind, given }) => grading[kind](given));
        }""",
        [grading_rules(), CASES],
    )
    assert len(found) == len(CASES) >= 60
    for case, answer in zip(CASES, found, strict=True):
        kind, given = case["kind"], case["given"]
        if kind == "implausible":
            assert kept(answer) == kept(implausible(**given)), case
            assert (answer is None) == (case["asks"] is None), case
        elif kind == "as_left":
            assert answer["verdict"] == case["verdict"], case
            fastener = FastenerTarget("a", "clamp", given["target_nm"], 10.0, given.get("tool_deviation_pct", 4.0))
            assert kept(answer["reason"]) == kept(find_torque({}, {"a": given["as_left_nm"]}, [fastener]).left["a"])
        elif kind == "sensor_pair":
            parts = (answer["drive"]["grade"], answer["off"]["grade"], answer["difference"]["grade"], answer["grade"])
            assert parts == (case["drive"], case["off"], case["difference"], case["grade"]), case
            wanted = grading.grade_sensor_pair(**given).difference.reason
            assert kept(answer["difference"]["reason"]) == kept(wanted), case
        else:
            assert (answer["grade"], answer["reason"]["rule"]) == (case["grade"], case["rule"]), case
            assert answer["sure"] is case.get("sure", True), case
            assert answer["share"] == (None if case["share"] is None else pytest.approx(case["share"], abs=1e-6)), case
            assert kept(answer["reason"]) == kept(getattr(grading, f"grade_{kind}")(**given).reason), case


def typed_at_random(n):
    """Texts from the signs and words of the grammar, seeded: numbers, fractions, separators and units in any order."""
    import random

    chance = random.Random(11)
    pieces = [
        "1",
        "2",
        "308",
        "000",
        "0",
        "12",
        "3/4",
        "1/2",
        "½",
        ".",
        ",",
        " ",
        " ",
        "-",
        "'",
        '"',
        "\u2009",
        "\u202f",
        "\u00a0",
    ]
    pieces += ["mm", "in", "ft", "m", "N·m", "lb ft", "kg", "tons", "h", "min", "%", "°", "+", "/", "−"]
    return [
        ("".join(chance.choice(pieces) for _k in range(chance.randint(1, 7))), kind.value, system.value)
        for _n in range(n)
        for kind in [chance.choice(list(QuantityKind))]
        for system in [chance.choice(list(UnitSystem))]
    ]


def test_the_script_reads_what_people_type_as_the_server_does(page, live_server, tess, page_of):
    page_of(tess)
    typed = [(row["text"], "mm", "us" if row["default_unit"] == "in" else "metric") for row in lengths()]
    typed += [
        (text, "nm", system)
        for text in ("75", "75 lbf·ft", "75 ft-lb", "900 in lb", "10 kgf m", "7,5 kgf·m", "75 kg", "75 Nm.", "-3")
        for system in ("metric", "us")
    ]
    typed += [("18 lbf", "n", "metric"), ("18 lb", "n", "us"), ("80", "n", "us"), ("2,5", "", "metric")]
    typed += [(text, "t", system) for text in ("500 tons", "1,500 t", "5 short tons") for system in ("metric", "us")]
    typed += [(text, "m", system) for text in ("12 1/2", "1 308,5", "1,250 m") for system in ("metric", "us")]
    typed += [("1,5°", "deg", "metric"), ("0", "mm", "us"), ("9" * 61, "mm", "metric"), *typed_at_random(4000)]
    found = page.evaluate(
        """async ([grammar, typed]) => {
            const { makeTyping } = await import("/static/inspections/units.js");
            const { read, ways } = makeTyping(grammar);
            const both = (...typed) => ({ ...read(...typed), each: ways(...typed) });
            return typed.map((each) => both(...each));
        }""",
        [typing_for_page(), typed],
    )
    n_read = 0
    for (text, kind, system), answer in zip(typed, found, strict=True):
        wanted, refusal = on_the_server(text, kind, system)
        if wanted is None:
            assert (answer["value"], answer["problem"]) == (None, why_not_read(refusal)), text
            assert told(answer["ways"]) == told_here(getattr(refusal, "ways", ())), text
        else:
            n_read += 1
            assert answer["value"] == pytest.approx(wanted.value, rel=1e-12), text
            assert answer["echo"] == echo(wanted), text
        assert told(answer["each"]) == told_here(ways_to_read(text, QuantityKind(kind), UnitSystem(system))), text
    assert n_read > 300


def told(ways):
    return [(way["text"], pytest.approx(way["value"], rel=1e-12), way["words"]) for way in ways]


def told_here(ways):
    return [(way.text, way.value, echo(way)) for way in ways]


def test_a_phone_with_a_pack_from_before_reads_fractions_by_todays_rule(page, live_server, tess, page_of):
    page_of(tess)
    old = typing_grammar()
    for rules in old["kinds"].values():
        del rules["fraction"], rules["only"], rules["shown"]
    found = page.evaluate(
        """async (grammar) => {
            const { makeTyping } = await import("/static/inspections/units.js");
            const { read, ways } = makeTyping(grammar);
            const values = [["2 3/4", "mm"], ["2 1/2", "nm"]].map((each) => read(...each, "metric").value);
            return [...values, ways("12 1/2", "m", "metric").length];
        }""",
        old,
    )
    assert found == [pytest.approx(69.85), 2.5, 2]


def phone_rules():
    return {"grading": grading_rules(), "typing": typing_for_page(), "texts": texts_for_phone()}


def reasons_of_the_table():
    """What the cases come to, and what stands in no case: nothing known, thousands, a reading close to its limit."""
    for case in CASES:
        kind, given = case["kind"], case["given"]
        if kind == "sensor_pair":
            yield grading.grade_sensor_pair(**given).difference.reason
        elif kind == "implausible":
            if (asked := implausible(**given)) is not None:
                yield asked
        elif kind != "as_left":
            yield getattr(grading, f"grade_{kind}")(**given).reason
    yield grading.grade_limits(25.004, watch_high=25, kind="mm").reason
    yield grading.grade_limits(25.004, watch_high=25).reason
    for number_kind in QuantityKind:
        yield grading.grade_limits(1_234_567.8, act_high=1_000_000.0, kind=number_kind.value).reason
        yield grading.grade_limits(-0.01234, act_low=7.65, kind=number_kind.value).reason
    yield Reason("grading.limits_act_low", {"found_mm": None, "limit_mm": 3.0})
    yield Reason("grading.limits_within", {"found": 12})
    # A reading that a plant calls by the name of a word of the table.
    yield Reason("finding.of_field", {"field": "grading.sure", "reason": Reason("grading.limits_none")})


def test_the_script_says_a_reason_in_the_readers_units_as_the_server_does(page, live_server, tess, page_of):
    page_of(tess)
    reasons = list(reasons_of_the_table())
    found = page.evaluate(
        """async ([rules, reasons, systems]) => {
            const { makeSay } = await import("/static/inspections/reasons.js");
            return systems.map((system) => reasons.map(makeSay({ ...rules, system })));
        }""",
        [phone_rules(), [each.kept() for each in reasons], list(UnitSystem)],
    )
    assert len(reasons) > 90
    for system, said in zip(UnitSystem, found, strict=True):
        assert said == [grade_words(each, system) for each in reasons]
    assert "0.984409 in is above 0.984 in: watch." in found[1]
    assert found[0][-1].startswith("grading.sure: ")


def on_the_server(text, kind, system):
    try:
        return parse_quantity(text, QuantityKind(kind), UnitSystem(system)), None
    except ValueError as refusal:
        return None, refusal


def values_of(entries, tool=None):
    stages = {FOUND: {}, LEFT: {}}
    for code, by_stage in entries.items():
        for stage, value in by_stage.items():
            stages[stage][code] = Typed(value, instrument=tool)
    return stages


def test_whole_checks_get_the_same_grade_and_the_same_words(page, live_server, tess, tasks, place, page_of):
    """Random readings, seeded: the finding of the page and the finding of the server, word for word."""
    import random

    chance = random.Random(6)
    coarse = make.torque_wrench(place.plant, "W-9", deviation_pct=9.0)
    wrenches = [None, make.torque_wrench(place.plant, deviation_pct=2.0), coarse]
    own = CheckKind.objects.create(plant=place.plant, code="look", name="Look")
    ReadingField.objects.create(check_kind=own, code="gap", label="Gap", quantity="mm", watch_above=25, act_above=30)
    answers = [{"value": "none", "label": "none", "grade": "sound"}, {"value": "much", "label": "much", "grade": "act"}]
    ReadingField.objects.create(check_kind=own, code="dirt", label="Dirt", form="choice", choices=answers, position=1)
    known = {**tasks, "look": make.task(place, own, make.today())}
    checks, trials, wanted_answers = {}, [], []
    for task in known.values():
        wanted = readings_wanted(task)
        checks[task.pk] = {
            "rule": task.check_kind.rule,
            "readings": [
                {"code": w.code, "label": label_words(w), "form": w.form, "limits": dict(w.limits)} for w in wanted
            ],
        }
        for _n in range(60):
            entries = {}
            for w in wanted:
                if chance.random() < 0.3:
                    continue
                if w.form == "choice":
                    entries[w.code] = {FOUND: chance.choice(w.options)[0]}
                else:
                    low, high = {"mm": (64, 78), "nm": (50, 150), "n": (0, 160)}[w.quantity]
                    if w.code == "gap":
                        low, high = 15, 35
                    entries[w.code] = {FOUND: round(chance.uniform(low, high), 1)}
                    if w.asks_as_left and chance.random() < 0.5:
                        entries[w.code][LEFT] = round(chance.uniform(low, high), 1)
            tool = chance.choice(wrenches) if task.check_kind.rule == "fastener_torque" else None
            values = values_of(entries, tool)
            finding = rule_of(task.check_kind).find(wanted, values)
            if not finding.parts:
                continue
            plain = {stage: {code: typed.value for code, typed in by.items()} for stage, by in values.items()}
            trials.append([task.pk, plain[FOUND], plain[LEFT], deviation_of(tool)])
            wanted_answers.append((finding.grade.value if finding.grade else None, finding.reason))
    page_of(tess)
    found = page.evaluate(
        """async ([rules, checks, trials, systems]) => {
            const { makeGrading } = await import("/static/inspections/grading.js");
            const { makeSay } = await import("/static/inspections/reasons.js");
            const { find } = makeGrading(rules.grading);
            const says = systems.map((system) => makeSay({ ...rules, system }));
            return trials.map(([task, found, left, tool]) => {
                const { grade, reason } = find(checks[task], found, left, tool);
                return { grade, reason, words: says.map((say) => say(reason)) };
            });
        }""",
        [phone_rules(), checks, trials, list(UnitSystem)],
    )
    assert len(found) > 150
    for trial, answer, (grade, reason) in zip(trials, found, wanted_answers, strict=True):
        assert (answer["grade"], kept(answer["reason"])) == (grade, kept(reason)), trial
        assert answer["words"] == [grade_words(reason, system) for system in UnitSystem], trial


@pytest.mark.browser_context_args(timezone_id="America/Denver")
def test_the_lockout_is_ticked_by_the_plants_clock_wherever_the_browser_is(tess, tasks, place, page_of):
    page = page_of(tess)
    page.get_by_role("link", name="Close out A-1 device 1").click()
    page.wait_for_url("**/visit/")
    words = page.locator("#lockout-words")
    page.wait_for_load_state()
    begun = timezone.now()
    page.check("[name=lockout_confirmed]")
    words.filter(has_text="Ticked at").wait_for()
    minutes = {f"Ticked at {at.astimezone(place.plant.zone):%H:%M}." for at in (begun, timezone.now())}
    assert words.inner_text() in minutes


def test_a_stop_from_first_look_to_the_kept_visit(live_server, tess, tasks, place, page_of):
    wear, pivot, torque = tasks["sensor-wear"], tasks["pivot-freedom"], tasks["fastener-torque"]
    make.torque_wrench(place.plant, deviation_pct=6.0, calibration_due_on=make.today() - dt.timedelta(days=2))
    page = page_of(tess)
    page.set_viewport_size({"width": 390, "height": 844})
    assert "3 checks wait at 1 device on 1 belt" in page.locator("main").inner_text()
    page.get_by_role("link", name="Close out A-1 device 1").click()
    page.wait_for_url("**/visit/")  # and for its script
    page.fill(box(wear, "drive_diameter"), "72.8")
    page.fill(box(wear, "off_diameter"), "2 11/16 in")
    assert "= 68.3 mm" in page.locator(f"section[data-task='{wear.pk}']").inner_text()
    assert graded(page, wear).locator(".mark").inner_text() == "act"
    page.check(f"{box(pivot, 'pivot')}[value=stiff]")
    assert graded(page, pivot).locator(".mark").inner_text() == "watch"
    for n in (1, 2, 3, 4):
        page.fill(box(torque, f"clamp_{n}"), "75")
    wrench = Instrument.objects.get()
    page.select_option(f"[name='t{torque.pk}-method']", "first_movement")
    page.select_option(f"[name='t{torque.pk}-instrument']", str(wrench.pk))
    section = page.locator(f"section[data-task='{torque.pk}']")
    assert "Permissible deviation 6 %. Out of calibration: take another one, or say why." in section.inner_text()
    page.fill(f"[name='t{torque.pk}-tool_reason']", "The other one is at the kiln")
    page.check(f"{box(torque, 'clamp_2_mark')}[value=rotated]")
    assert "1 turned past its witness mark: clamp 2." in graded(page, torque).inner_text()
    page.fill(box(torque, "pivot_1"), "0")
    assert "is the fastener missing" in page.locator(f"section[data-task='{torque.pk}']").inner_text()
    page.get_by_role("button", name="It is 0 N·m").click()
    live = {task.pk: graded(page, task).locator(".reason").inner_text() for task in tasks.values()}
    page.check("[name=lockout_confirmed]")
    page.click("#raise")
    title = page.input_value("[name=action_title]")
    assert title
    # Nobody touched the title: it goes where a reason is given, and is offered anew without one.
    page.fill("[name=no_action_reason]", "the other side was set there")
    assert page.input_value("[name=action_title]") == ""
    page.fill("[name=no_action_reason]", "")
    page.click("#raise")
    assert page.input_value("[name=action_title]") == title
    page.click("#close-out")
    page.wait_for_url("**/visits/*/")
    visit = Visit.objects.get()
    for task in Task.objects.all():
        assert because_words(task.grade_because, UnitSystem.METRIC) == live[task.pk]
        assert task.visit == visit
    assert Action.objects.get().visit == visit
    assert Reading.objects.get(code="off_diameter").typed == "2 11/16 in"
    assert visit.lockout_confirmed_by == tess
    read = Reading.objects.get(code="clamp_1")
    assert (read.method, read.instrument, read.deviation_pct) == ("first_movement", wrench, 6.0)
    assert "ran out" in read.doubt
    assert "The other one is at the kiln" in read.doubt


def test_a_value_in_doubt_has_a_button_for_each_reading_and_no_grade_before(live_server, tess, tasks, place, page_of):
    wear = tasks["sensor-wear"]
    page = page_of(tess)
    page.goto(f"{live_server.url}/installations/{place.pk}/visit/")
    section = page.locator(f"section[data-task='{wear.pk}']")
    page.fill(box(wear, "drive_diameter"), "2 3/4")
    assert "= 69.9 mm (a fraction is read as inches)" in section.inner_text()
    assert graded(page, wear).locator(".mark").inner_text() == "watch"
    page.fill(box(wear, "drive_diameter"), "2.75")
    assert graded(page, wear).inner_text() == "No grade until it is settled what was read: Drive side."
    assert page.locator("#raise").is_hidden()
    assert section.get_by_role("button").all_inner_texts() == ["It is 2.75 mm", "It is 2.75 in = 69.9 mm"]
    section.get_by_role("button", name="It is 2.75 mm").click()  # a person may say so all the same, and take it back
    assert graded(page, wear).locator(".mark").inner_text() == "act"
    section.get_by_role("button", name="It is 2.75 mm").click()
    assert graded(page, wear).locator(".mark").count() == 0
    section.get_by_role("button", name="It is 2.75 in").click()
    assert page.input_value(box(wear, "drive_diameter")) == "2.75 in"
    assert graded(page, wear).locator(".mark").inner_text() == "watch"
    page.fill(box(wear, "off_diameter"), "1,308 mm")
    assert section.get_by_role("button").all_inner_texts() == ["It is 1308 mm", "It is 1.308 mm"]
    assert graded(page, wear).inner_text() == "No grade until it is settled what was read: Off side."
    page.fill(box(wear, "off_diameter"), "70,5")
    page.check("[name=lockout_confirmed]")
    page.click("#close-out")
    page.wait_for_url("**/visits/*/")
    rows = Reading.objects.order_by("code")
    assert list(rows.values_list("typed", "value")) == [("2.75 in", pytest.approx(69.85)), ("70,5", 70.5)]


def test_the_script_offers_the_same_readings_of_a_value_in_doubt_as_the_server(page, live_server, tess, page_of):
    page_of(tess)
    diameter = {"quantity": "diameter", "low": 51, "high": 79.8}
    cases = [
        (text, "mm", system, bounds)
        for text in ("2.75", "2 3/4", "7.5", "740", "68", "90", "2.9 mm", "1,308", "75 in", "7o", "1 308,5", "-3")
        for system in ("metric", "us")
        for bounds in (diameter, {"quantity": "diameter", "previous": 74.0}, {"quantity": "other"})
    ]
    cases += [
        (text, "nm", system, {"quantity": "torque", "low": 0, "high": 187.5})
        for text in ("0", "750", "75", "7.5 kgf m", "250")
        for system in ("metric", "us")
    ]
    found = page.evaluate(
        """async ([typing, rules, cases]) => {
            const { makeTyping } = await import("/static/inspections/units.js");
            const { makeGrading } = await import("/static/inspections/grading.js");
            const { makeWays } = await import("/static/inspections/doubt.js");
            const waysOf = makeWays({ typing: makeTyping(typing), grading: makeGrading(rules) });
            return cases.map((each) => waysOf(...each));
        }""",
        [typing_for_page(), grading_rules(), cases],
    )
    n_several = 0
    for (text, kind, system, bounds), answer in zip(cases, found, strict=True):
        wanted = ways_of(text, QuantityKind(kind), UnitSystem(system), bounds)
        n_several += len(wanted) > 1
        assert told(answer) == told_here(wanted), (text, system, bounds)
    assert n_several > 20


def test_without_script_the_server_grades_and_asks_again(live_server, tess, tasks, place, new_context):
    wear = tasks["sensor-wear"]
    page = new_context(java_script_enabled=False).new_page()
    page.goto(f"{live_server.url}/sign-in/")
    page.fill("input[name=username]", tess.username)
    page.fill("input[name=password]", "pass-word-1")
    page.click("main button.main")
    page.wait_for_url(f"{live_server.url}/")
    page.goto(f"{live_server.url}/installations/{place.pk}/visit/")
    page.fill(box(wear, "drive_diameter"), "68")
    page.fill(box(wear, "off_diameter"), "7.5")
    page.check("[name=lockout_confirmed]")
    page.click("#close-out")
    assert "did you mean 75 mm?" in page.locator("#errors").inner_text()
    assert "raise an action" not in page.locator("#errors").inner_text()  # nothing is graded before it is settled
    page.get_by_label("It is 75 mm").check()
    page.click("#close-out")
    assert "raise an action" in page.locator("#errors").inner_text()
    assert page.input_value(box(wear, "off_diameter")) == "75 mm"
    page.click("#close-out")
    page.wait_for_url("**/visits/*/")
    wear.refresh_from_db()
    assert wear.grade == "act"
    assert Action.objects.get().title == "Replace both sensor rollers"


def test_a_refused_visit_keeps_everything_and_names_the_faults(live_server, tess, tasks, place, page_of):
    wear = tasks["sensor-wear"]
    page = page_of(tess)
    page.goto(f"{live_server.url}/installations/{place.pk}/visit/")
    page.fill(box(wear, "drive_diameter"), "7o")
    assert "was not understood" in page.locator(f"section[data-task='{wear.pk}']").inner_text()
    page.fill("[name=note]", "wet underfoot")
    page.click("#close-out")
    page.wait_for_selector("#errors")
    assert page.input_value(box(wear, "drive_diameter")) == "7o"
    assert page.input_value("[name=note]") == "wet underfoot"
    assert page.evaluate("() => document.activeElement.id") == "errors"
    assert not Visit.objects.exists()


def test_the_page_fits_has_large_targets_and_no_serious_finding(live_server, tess, tasks, place, page_of):
    page = page_of(tess)
    for width in (320, 390, 820, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(f"{live_server.url}/installations/{place.pk}/visit/")
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width
        small = page.evaluate(
            """() => [...document.querySelectorAll("#visit input:not([type=hidden]):not([type=checkbox])"
                + ":not([type=radio]), #visit select, #visit button, #visit .option:not([data-empty]) span, "
                + "#visit .tick")]
                .filter((each) => each.getClientRects().length && each.getBoundingClientRect().height < 56)
                .map((each) => each.name || each.className || each.textContent)"""
        )
        assert small == [], width
        assert barriers(page) == [], width
    assert uuid.UUID(page.input_value("[name=client_key]"))
