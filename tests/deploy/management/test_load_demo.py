"""The demo plant is loaded whole or not at all, and whoever interrupts it is told what the book holds then."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
from collections import Counter

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command

from deploy.management.commands import load_demo as command
from fixtures.loading import demo_plant as demo
from fixtures.loading import past_visits
from plant.models import Plant
from tests.demo_site import ROOT, environment
from tests.migrated_book import lay_down
from tests.servers import GIVE_UP_AFTER_S

APPS = ("plant", "installs", "inspections", "reports")
NOTHING = "Interrupted: nothing of Bramwick Works is in the book. Run it again to make it."
# Steps that take long and that no step behind them needs.
LONG = ("write_hours", "write_incidents", "write_belt_offsets", "write_visits", "write_part_changes",
        "write_out_of_service")  # fmt: skip
NIGHT = ("write_plans", "do_night_of", "watch_plant", "write_shifts")


def rows():
    """How many rows every table of the site has."""
    models = (model for app in APPS for model in apps.get_app_config(app).get_models())
    return Counter({model._meta.label: model._base_manager.count() for model in models})


def interrupt_at(monkeypatch, step, call, module=demo):
    """Let a step do its work the so manieth time, and be interrupted when it is done."""
    real, calls = getattr(module, step), []

    def interrupted(*args, **kwargs):
        result = real(*args, **kwargs)
        calls.append(step)
        if len(calls) == call:
            assert rows() != before, "something was written by then"
            raise KeyboardInterrupt
        return result

    before = rows()
    monkeypatch.setattr(module, step, interrupted)
    return calls


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("step", "call"),
    [("write_people", 1), ("write_months", 1)],
)
def test_interrupted_at_any_step_nothing_stays(monkeypatch, step, call):
    for name in (*LONG, *NIGHT):
        monkeypatch.setattr(demo, name, lambda *args, **kwargs: None)
    before = rows()
    calls = interrupt_at(monkeypatch, step, call)
    with pytest.raises(CommandError, match=NOTHING) as stopped:
        call_command("load_demo", verbosity=0)
    assert len(calls) == call
    assert stopped.value.returncode == 130
    assert rows() == before


@pytest.mark.django_db
def test_interrupted_within_the_past_nothing_stays(monkeypatch):
    for name in LONG[:2]:
        monkeypatch.setattr(demo, name, lambda *args, **kwargs: None)
    before = rows()
    interrupt_at(monkeypatch, "write_visit", 5, past_visits)
    with pytest.raises(CommandError, match=NOTHING):
        call_command("load_demo", verbosity=0)
    assert rows() == before


@pytest.mark.django_db
def test_a_night_whose_work_failed_leaves_nothing_either(monkeypatch):
    for name in LONG:
        monkeypatch.setattr(demo, name, lambda *args, **kwargs: None)

    def fail(*args, **kwargs):
        raise ArithmeticError("no room for a night")

    monkeypatch.setattr("inspections.services.nightly.plan_tasks", fail)
    before = rows()
    with pytest.raises(RuntimeError, match="no room for a night"):
        demo.load_demo(say=lambda words: None)
    assert rows() == before


@pytest.mark.django_db
def test_interrupted_when_all_was_written_the_sentence_says_so(monkeypatch):
    def load(*, say):
        Plant.objects.create(name="Bramwick Works", time_zone="UTC")
        raise KeyboardInterrupt

    monkeypatch.setattr(command, "load_demo", load)
    with pytest.raises(CommandError, match="Bramwick Works is in the book, whole"):
        call_command("load_demo", verbosity=0)


# People and belts are written by then; the program goes on only when the signal has come.
WAITS = """
import signal, sys
import django
django.setup()
from django.core.management import execute_from_command_line
from fixtures.loading import demo_plant as demo

def wait(*args):
    print("begun", flush=True)
    signal.pause()

demo.write_instruments = wait
execute_from_command_line(["manage.py", "load_demo"])
"""


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=lambda each: each.name)
def test_a_signal_to_the_program_undoes_what_was_begun(tmp_path, number):
    lay_down(tmp_path)
    with subprocess.Popen(
        [sys.executable, "-c", WAITS], cwd=ROOT, env=environment(tmp_path), text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    ) as program:  # fmt: skip
        for line in program.stdout:
            if line == "begun\n":
                break
        program.send_signal(number)
        _rest, said = program.communicate(timeout=GIVE_UP_AFTER_S)
    assert said.strip().splitlines() == [f"CommandError: {NOTHING}"]
    assert program.returncode == 130
    with sqlite3.connect(tmp_path / "driftbook.sqlite3") as book:
        tables = ("plant_plant", "plant_person", "plant_conveyor", "plant_conveyorpart")
        assert [book.execute(f"select count(*) from {table}").fetchone()[0] for table in tables] == [0] * 4
