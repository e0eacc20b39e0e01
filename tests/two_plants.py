"""Two plants with the same furniture: one row of every kind that an address can name, so that a leak shows.

Every text of the second plant that a page could print carries `MARK`; wherever that mark comes up on a page of the
first plant, something of a stranger's book was shown.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import pickle
import re
import uuid
from collections.abc import Callable, Iterator
from typing import Any

from django.contrib.auth.models import Group
from django.core.files.base import ContentFile
from django.db import transaction
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from inspections.models import (
    Action,
    CheckKind,
    CheckPlan,
    CouldNotDo,
    OverdueSpell,
    Reading,
    ReadingField,
    Round,
    SetAside,
    Stop,
    TechnicianProfile,
    TwiceClosed,
    Visit,
)
from installs.models import (
    BeltOffset,
    CauseOverride,
    HoldPoint,
    LoggedStation,
    ModelPart,
    OutOfService,
    PartChange,
    PassedFastener,
    Survey,
    TorqueSignOff,
    TrialRun,
)
from plant.models import (
    BeltChange,
    ConveyorPart,
    ImportBatch,
    Job,
    Membership,
    MeterReading,
    Notice,
    Person,
    Photo,
    Plant,
    PlantExport,
    PlantWord,
    RejectedRow,
    RunRecord,
    SwitchEvent,
)
from plant.permissions import ROLES
from reports.models import MonthlyReport, StudyNote, StudyWindow
from tests import make

MARK = "Zqx"  # in no word of the site
FILE = b"tag,name\n"


def staff(at: Plant, mark: str) -> dict[str, Person]:
    """One person for each role, one who holds all of them, and a keeper of the site who holds none."""
    people = {role: make.person(f"{mark}{role.split()[-1]}", at, role) for role in ROLES}
    everyone = make.person(f"{mark}everyone")
    for role in ROLES:
        Membership.objects.create(person=everyone, plant=at, role=Group.objects.get(name=role))
    return {**people, "everyone": everyone, "keeper": make.person(f"{mark}keeper", is_keeper=True)}


def furnish(at: Plant, mark: str, people: dict[str, Person]) -> dict[str, Any]:
    """One row of every kind, by the name that `ROW_OF` uses."""
    now = timezone.now()
    day = timezone.localdate(timezone=at.zone)
    tech = people["technician"]
    belt = make.conveyor(at, tag=f"{mark}C-1", name=f"{mark} belt")
    make.area(at, "A").__class__.objects.filter(plant=at).update(name=f"{mark} area")
    model = make.device_model(at, f"{mark}T", frame_length_least_mm=900.0, frame_length_most_mm=1500.0)
    device = make.device(at, f"{mark}-7", model)
    place = make.installation(belt, device=device, installed_at=now - dt.timedelta(days=200), note=f"{mark} note")
    switch = make.drift_switch(belt, 100.0)
    SwitchEvent.objects.create(drift_switch=switch, at=now - dt.timedelta(hours=30), is_on=True)
    part = ConveyorPart.objects.create(
        conveyor=belt, kind=ConveyorPart.Kind.SCRAPER, chainage_m=5, label=f"{mark} part"
    )
    own_kind = CheckKind.objects.create(plant=at, code=f"{mark.lower()}-own", name=f"{mark} own check")
    kind = make.check_kind()
    plan = make.check_plan(model, kind)
    task = make.task(place, kind, day - dt.timedelta(days=30), why=f"{mark} why")
    OverdueSpell.objects.create(task=task, began_at=now - dt.timedelta(days=20))
    CouldNotDo.objects.create(
        task=task, tried_at=now, reason=CouldNotDo.Obstacle.NO_ACCESS, note=f"{mark} note", created_by=tech
    )
    done = make.task(place, own_kind, day - dt.timedelta(days=9), closed_at=now - dt.timedelta(days=8))
    visits = [
        Visit.objects.create(
            plant=at,
            installation=place,
            visited_at=now - dt.timedelta(days=8, hours=n),
            visited_by=tech,
            created_by=tech,
            note=f"{mark} visit",
        )
        for n in range(2)
    ]
    for visit in visits:
        Reading.objects.create(
            visit=visit, task=done, code="play", label=f"{mark} play", value=3.0, quantity="", grade="act"
        )
    done.visit, done.outcome, done.grade = visits[0], "done", "act"
    done.save(update_fields=["visit", "outcome", "grade"])
    survey = Survey.objects.create(
        plant=at,
        conveyor=belt,
        chainage_m=60,
        device_model=model,
        surveyed_at=now - dt.timedelta(days=3),
        surveyed_by=tech,
        note=f"{mark} survey",
    )
    fitting = make.fitting(belt, model, chainage_m=60.0, survey=survey, begun_at=now - dt.timedelta(days=1))
    wrench = make.torque_wrench(at, f"{mark}-W")
    run = TrialRun.objects.create(
        fitting=fitting, cycle=1, started_at=now, minutes=5, note=f"{mark} run", created_by=tech
    )
    BeltOffset.objects.create(
        plant=at,
        conveyor=belt,
        strand="return",
        chainage_m=61,
        offset_mm=12,
        taken_at=now - dt.timedelta(days=5),
        occasion=BeltOffset.Occasion.FOLLOW_UP,
        installation=place,
    )
    shift = make.shift(tech, at, now - dt.timedelta(hours=1))
    laid = Round.objects.create(plant=at, shift=shift, published_at=now - dt.timedelta(hours=2), published_by=tech)
    stop = Stop.objects.create(
        round=laid,
        position=1,
        conveyor=belt,
        starts_at=now,
        ends_at=now + dt.timedelta(minutes=30),
        task_order=[task.pk],
    )
    stop.tasks.add(task)
    photo = Photo.objects.create(plant=at, image_format="PNG", sha256="0" * 64, caption=f"{mark} picture")
    photo.file.save("x.png", ContentFile(b"\x89PNG not really"))
    incident = make.incident(
        belt, now - dt.timedelta(days=2), note=f"{mark} incident", consequence=f"{mark} stood", created_by=tech
    )
    incident.photos.add(photo)
    batch = ImportBatch.objects.create(
        plant=at, subject="conveyors", file_name=f"{mark}.csv", sha256="1" * 64, created_by=people["planner"]
    )
    batch.file.save("x.csv", ContentFile(FILE))
    Notice.objects.create(person=people["everyone"], plant=at, key=f"{mark}", text=f"{mark} notice", url="/")
    span = (now - dt.timedelta(days=3), now - dt.timedelta(days=2))
    return {
        "keeper": people["keeper"],
        "failed_job": Job.objects.create(kind="keep", state=Job.State.FAILED, finished_at=now, plant=at),
        "area": belt.area,
        "conveyor": belt,
        "conveyor_part": part,
        "outage": make.outage(belt, now + dt.timedelta(hours=2), 4),
        "belt_change": BeltChange.objects.create(
            conveyor=belt, changed_at=now - dt.timedelta(days=300), kind="splice", description=f"{mark} splice"
        ),
        "run_record": RunRecord.objects.create(
            conveyor=belt, starts_at=span[0], ends_at=span[1], running_h=20, source=f"{mark} log"
        ),
        "meter_reading": MeterReading.objects.create(
            conveyor=belt, read_at=span[1], reading_h=100, note=f"{mark} meter"
        ),
        "incident": incident,
        "photo": photo,
        "plant_export": PlantExport.objects.create(plant=at, created_by=people["planner"]),
        "membership": Membership.objects.filter(plant=at).first(),
        "import_batch": batch,
        "rejected_row": RejectedRow.objects.create(
            batch=batch, line_number=2, values={"tag": f"{mark} row"}, problems=[{"field": "tag", "reason": "none"}]
        ),
        "own_word": PlantWord.objects.create(
            plant=at, about="side", word_key=f"{mark}links".casefold(), written=f"{mark} links", means="drive"
        ),
        "device_model": model,
        "fastener": model.fasteners.first(),
        "model_part": ModelPart.objects.create(device_model=model, name=f"{mark} sling"),
        "device": device,
        "installation": place,
        "out_of_service": OutOfService.objects.create(
            installation=place,
            begins_at=now - dt.timedelta(days=100),
            ends_at=now - dt.timedelta(days=99),
            reason=f"{mark} bent",
        ),
        "part_change": PartChange.objects.create(
            installation=place,
            part=PartChange.Part.PIVOT,
            why=PartChange.Why.WORN,
            changed_at=now - dt.timedelta(days=150),
            note=f"{mark} pivot",
        ),
        "fitting": fitting,
        "hold_point": HoldPoint.objects.create(
            fitting=fitting, point=HoldPoint.Point.PARTS, confirmed_at=now, confirmed_by=tech, note=f"{mark} point"
        ),
        "trial_run": run,
        "torque": TorqueSignOff.objects.create(
            fitting=fitting,
            fastener=model.fasteners.first(),
            number=1,
            torque_nm=75,
            target_nm=75,
            instrument=wrench,
            signed_at=now,
            signed_by=tech,
        ),
        "passed_fastener": PassedFastener.objects.create(
            fitting=fitting,
            fastener=model.fasteners.first(),
            number=2,
            reason=f"{mark} out of reach",
            passed_at=now,
            passed_by=tech,
        ),
        "survey": survey,
        "logged_station": LoggedStation.objects.create(
            conveyor=belt, chainage_m=75.0, from_on=day - dt.timedelta(days=10), logged_by=f"{mark} shift leader"
        ),
        "cause_override": CauseOverride.objects.create(
            conveyor=belt, low_m=50.0, high_m=90.0, reason=f"{mark} reason to place", created_by=tech
        ),
        "instrument": wrench,
        "task": task,
        "check_kind": own_kind,
        "reading_field": ReadingField.objects.create(check_kind=own_kind, code="play", label=f"{mark} play"),
        "check_plan": CheckPlan.objects.create(
            plant=at, installation=place, check_kind=own_kind, interval_days=30, is_suspended=False
        )
        if plan
        else None,
        "visit": visits[0],
        "twice_closed": TwiceClosed.objects.create(plant=at, task=done, first=visits[0], second=visits[1]),
        "set_aside": SetAside.objects.create(
            plant=at,
            installation=place,
            kind="visit",
            made_at=now,
            answer="500",
            tries=5,
            created_by=tech,
            content=json.dumps({"fields": {"note": f"{mark} note", f"t{task.pk}-play-as_found": "3"}}),
        ),
        "round": laid,
        "stop": stop,
        "shift": shift,
        "technician": TechnicianProfile.objects.create(plant=at, person=tech, skills=f"{mark} skill"),
        "action": Action.objects.create(
            plant=at, installation=place, visit=visits[0], title=f"{mark} action", due_on=day, owner=tech
        ),
        "month": MonthlyReport.objects.create(
            plant=at, month=(day.replace(day=1) - dt.timedelta(days=1)).replace(day=1), comment=f"{mark} comment"
        ),
        "study_note": StudyNote.objects.create(
            installation=place, text=f"{mark} remark", created_by=people["reliability engineer"]
        ),
        "study_window": StudyWindow.objects.create(installation=place, before_months=6, reason=f"{mark} window"),
    }


# What the key in an address is a key of, by the fixed beginning of the address. The longest that fits counts.
ROW_OF = {
    "actions": "action",
    "areas": "area",
    "cause-overrides": "cause_override",
    "belt-changes": "belt_change",
    "check-kinds": "check_kind",
    "check-kinds/readings": "reading_field",
    "check-plans": "check_plan",
    "checks": "task",
    "conveyors": "conveyor",
    "device-models": "device_model",
    "devices": "device",
    "fasteners": "fastener",
    "fittings": "fitting",
    "hold-points": "hold_point",
    "imports": "import_batch",
    "imports/words": "own_word",
    "incidents": "incident",
    "installations": "installation",
    "instruments": "instrument",
    "logged-stations": "logged_station",
    "meter-readings": "meter_reading",
    "model-parts": "model_part",
    "months": "month",
    "out-of-service": "out_of_service",
    "outages": "outage",
    "part-changes": "part_change",
    "parts": "conveyor_part",
    "passed-fasteners": "passed_fastener",
    "photos": "photo",
    "placement": "conveyor",
    "plant/export": "plant_export",
    "rounds": "round",
    "rounds/stops": "stop",
    "running-hours": "run_record",
    "shifts": "shift",
    "study-notes": "study_note",
    "surveys": "survey",
    "technicians": "technician",
    "torque-sign-offs": "torque",
    "trial-runs": "trial_run",
    "visits": "visit",
    "visits/aside": "set_aside",
    "visits/twice": "twice_closed",
}


def addresses() -> Iterator[tuple[str, str, list[str], Any]]:
    """(name, route, names of its arguments, view) of every address."""
    for prefix, entry in walk(get_resolver().url_patterns):
        yield entry.name, prefix, re.findall(r"<(?:\w+:)?(\w+)>", prefix), entry.callback


def walk(entries: list[Any], prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    for entry in entries:
        if isinstance(entry, URLResolver):
            yield from walk(entry.url_patterns, prefix + str(entry.pattern))
        else:
            yield prefix + str(entry.pattern), entry


def address_of(name: str, route: str, arguments: list[str], rows: dict[str, Any]) -> str:
    """The address for the rows of one plant."""
    values: dict[str, Any] = {}
    for each in arguments:
        if each == "pk":
            fixed = route.split("<")[0].strip("/")
            values["pk"] = rows[ROW_OF[fixed]].pk
        elif each == "row":
            values["row"] = rows["rejected_row"].pk
        elif each == "membership":
            values["membership"] = rows["membership"].pk
        elif each == "job":
            values["job"] = rows["failed_job"].pk
        elif each == "person" and route.startswith("site/keepers/"):
            values["person"] = rows["keeper"].pk
        elif each == "person":
            values["person"] = rows["membership"].person_id
        elif each == "label_code":
            values["label_code"] = rows["device"].label_code
        elif each == "key" and route.startswith("calendar/"):
            values["key"] = rows["technician"].calendar_key
        elif each == "key":
            values["key"] = "incidents"
        elif each == "point":
            values["point"] = rows.get("point", "lockout")
        elif each == "token":
            values["token"] = "no-such-token"
        elif each == "subject":
            values["subject"] = "conveyors"
        elif each == "topic":
            values["topic"] = "effect"
        elif each == "part":
            values["part"] = "list"
        else:
            raise KeyError(f"{route}: say in tests/two_plants.py what {each} stands for")
    return reverse(name, kwargs=values)


@contextlib.contextmanager
def written_once(blocker: Any, write: Callable[[], Any]) -> Iterator[Callable[[], Any]]:
    """Rows for all tests of a file: what a test writes goes back to them. Gives what hands each test its own objects.

    A fixture of the file enters it and stands before `db`, which lays each test's transaction inside of this one.
    """
    with blocker.unblock(), transaction.atomic():
        kept = pickle.dumps(write())
        yield lambda: pickle.loads(kept)
        transaction.set_rollback(True)


def fresh_key() -> str:
    return str(uuid.uuid4())
