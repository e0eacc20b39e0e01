"""A true filling-in of every form of the site, with what the book shows once it is saved.

`TRUE` names for each address that takes a form: who fills it in, what they type over what the page holds, and what the
book shows then. A page with a new form needs its example here; `tests/test_true_forms.py` says which one is missing.
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.contrib.sessions.models import Session
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone
from PIL import Image

from inspections.forms.actions import found_bad
from inspections.models import (
    Action,
    CheckKind,
    CheckPlan,
    CouldNotDo,
    Reading,
    ReadingField,
    Round,
    SetAside,
    Shift,
    Task,
    TechnicianProfile,
    Visit,
)
from inspections.services.rounds import ask_for_rounds
from installs.models import (
    BeltOffset,
    CauseOverride,
    Device,
    DeviceModel,
    Fastener,
    Fitting,
    FittingNeed,
    FitUp,
    HoldPoint,
    Installation,
    Instrument,
    Isolation,
    LoggedStation,
    ModelPart,
    OutOfService,
    PartChange,
    PassedFastener,
    Survey,
    TorqueSignOff,
    TrialRun,
)
from installs.services.acceptance import accept_fitting
from installs.services.commissioning import confirm_point, record_isolation
from installs.services.surveys import close_survey
from installs.services.trial_runs import record_trial_run
from plant.models import (
    Area,
    BeltChange,
    Conveyor,
    ConveyorPart,
    ImportBatch,
    Incident,
    Job,
    Membership,
    MeterReading,
    NameRemoval,
    Notice,
    OutageWindow,
    Person,
    Photo,
    PlantExport,
    RejectedRow,
    RunRecord,
)
from plant.permissions import ENGINEER, KEEPER, MANAGER, PLANNER, TECHNICIAN
from plant.services.imports import start_import, take_in_file
from plant.services.jobs import do_job
from reports.models import MonthlyReport, StudyNote, StudyWindow, Subscription
from reports.services.months import publish_month
from tests import make
from tests.leaving import leave
from tests.two_plants import fresh_key

NOBODY = ""  # who is not signed in
EVERYONE = "everyone"  # who holds all four roles


class Book:
    """The rows of one plant by name, each read anew; None for one that is gone."""

    def __init__(self, plant: Any, people: dict[str, Person], rows: dict[str, Any]) -> None:
        self.known = {"plant": plant, **rows}
        self.people = people

    def __getattr__(self, name: str) -> Any:
        row = self.known[name]
        return type(row)._default_manager.filter(pk=row.pk).first()

    @property
    def technician(self) -> Person:
        return self.people[TECHNICIAN]

    @property
    def now(self) -> dt.datetime:
        return timezone.now()


@dataclass(frozen=True)
class TrueForm:
    """One filling-in.

    `typed` is laid over what the page holds: a value for each box, None for one that is left out; `shows` tells whether
    the book shows it afterwards. `page` is the address of the page with the form where that is another one; None where
    a script sends without a form. `before` brings the book to where the form can be filled in and may answer with
    other rows for the address.
    """

    by: str
    typed: Callable[[Book], dict[str, Any]]
    shows: Callable[[Book], Any]
    page: str | None = field(default="")
    before: Callable[[Book], dict[str, Any] | None] | None = None
    answer: int = 302
    is_json: bool = False


def at(days: float = 0, hours: float = 0, minutes: float = 0) -> str:
    """A moment as a box for date and time sends it, in the clock of the plants of these tests."""
    moment = timezone.now() + dt.timedelta(days=days, hours=hours, minutes=minutes)
    return moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M")


def on(days: int = 0) -> str:
    return (timezone.now() + dt.timedelta(days=days)).astimezone(dt.UTC).date().isoformat()


def typing(**typed: Any) -> Callable[[Book], dict[str, Any]]:
    """What is typed where nothing of it depends on the rows."""
    return lambda _book: typed


def picture(name: str = "pin.jpg") -> SimpleUploadedFile:
    buffer = io.BytesIO()
    Image.new("RGB", (30, 20), "brown").save(buffer, format="JPEG")
    return SimpleUploadedFile(name, buffer.getvalue(), content_type="image/jpeg")


# --- bringing the book to where a form can be filled in ---------------------------------------------------------------
def technician_signed_in(book: Book) -> None:
    Client().force_login(book.technician)
    assert sessions_hold("_auth_user_id", str(book.technician.pk))


def technician_left(book: Book) -> None:
    leave(book.technician)


def second_keeper(book: Book) -> None:
    make.person("second", is_keeper=True)


def table_sent(book: Book) -> dict[str, Any]:
    """A file whose one row is a known belt with another name."""
    lines = b"tag,name\nAlC-1,Renamed by a file\n"
    batch = take_in_file(
        plant=book.plant,
        by=book.people[PLANNER],
        subject="conveyors",
        file=io.BytesIO(lines),
        file_name="names.csv",
        size=len(lines),
    )
    return {"import_batch": batch}


def table_running(book: Book) -> dict[str, Any]:
    sent = table_sent(book)
    start_import(batch=sent["import_batch"], by=book.people[PLANNER])
    return sent


def table_done(book: Book) -> dict[str, Any]:
    sent = table_running(book)
    do_job(sent["import_batch"].job_id)
    return sent


def taking_back_stopped(book: Book) -> dict[str, Any]:
    sent = table_done(book)
    ImportBatch.objects.filter(pk=sent["import_batch"].pk).update(
        state=ImportBatch.State.TAKING_BACK, taken_back_because="The wrong plant.", job=None
    )
    return sent


def nobodys_action(book: Book) -> None:
    Action.objects.filter(pk=book.action.pk).update(owner=None)


def table_written(book: Book) -> None:
    ImportBatch.objects.filter(pk=book.import_batch.pk).update(state=ImportBatch.State.DONE)


def two_rows_refused(book: Book) -> None:
    table_written(book)
    RejectedRow.objects.create(batch=book.import_batch, line_number=3, values={}, problems=book.rejected_row.problems)


def job_planned(book: Book) -> dict[str, Any]:
    """A fitting on a belt of its own, of a device that stands nowhere."""
    model = book.device_model
    belt = make.conveyor(book.plant, tag="AlC-9")
    device = make.device(book.plant, "Al-90", model)
    return {"fitting": make.fitting(belt, model, device=device)}


def isolated(book: Book) -> dict[str, Any]:
    job = job_planned(book)
    isolate(job["fitting"], book, hours_ago=8)
    return job


def isolate(job: Fitting, book: Book, hours_ago: float) -> None:
    record_isolation(
        fitting=job,
        by=book.technician,
        points="switch 4, lock 12",
        tried_start=True,
        isolated_at=book.now - dt.timedelta(hours=hours_ago),
    )


def points_done(job: Fitting, book: Book, points: tuple[str, ...], hours_ago: float) -> None:
    for number, point in enumerate(points):
        confirm_point(
            fitting=job,
            point=point,
            by=book.technician,
            note="no camera there" if point == HoldPoint.Point.RESTRAINT else "",
            handed_back_by="both fitters" if point == HoldPoint.Point.LOCKS else "",
            confirmed_at=book.now - dt.timedelta(hours=hours_ago) + dt.timedelta(minutes=number),
        )


def sign_torques(job: Fitting, book: Book) -> None:
    for fastener in job.device_model.fasteners.all():
        for number in range(1, fastener.count + 1):
            TorqueSignOff.objects.create(
                fitting=job,
                fastener=fastener,
                number=number,
                torque_nm=fastener.torque_nm,
                target_nm=fastener.torque_nm,
                instrument=book.instrument,
                signed_at=book.now - dt.timedelta(hours=7.5),
                signed_by=book.technician,
            )


def isolated_for_parts(book: Book) -> dict[str, Any]:
    return {**isolated(book), "point": "parts"}


def ready_to_run(book: Book) -> dict[str, Any]:
    """Every hold point of the first cycle is recorded and the locks are back."""
    job = isolated(book)
    sign_torques(job["fitting"], book)
    points_done(job["fitting"], book, ("parts", "restraint", "clear", "guards", "people", "locks"), hours_ago=7)
    return job


def run(job: Fitting, book: Book, hours_ago: float, is_loaded: bool = False) -> None:
    record_trial_run(
        fitting=job,
        by=book.technician,
        minutes=40,
        offsets=[(40.0, 5.0), (90.0, 5.0), (110.0, 5.0), (160.0, -5.0)],
        is_loaded=is_loaded,
        started_at=book.now - dt.timedelta(hours=hours_ago),
        frame_position="centred",
    )


def run_once(book: Book) -> dict[str, Any]:
    job = ready_to_run(book)
    run(job["fitting"], book, hours_ago=5)
    return {**job, "trial_run": TrialRun.objects.get(fitting=job["fitting"])}


def isolated_again(book: Book) -> dict[str, Any]:
    job = ready_to_run(book)
    run(job["fitting"], book, hours_ago=5)
    isolate(job["fitting"], book, hours_ago=4)
    return job


def ready_to_accept(book: Book) -> dict[str, Any]:
    job = ready_to_run(book)
    run(job["fitting"], book, hours_ago=5)
    run(job["fitting"], book, hours_ago=4, is_loaded=True)
    return job


def accepted(book: Book) -> dict[str, Any]:
    job = ready_to_accept(book)
    row = Fitting.objects.get(pk=job["fitting"].pk)
    accept_fitting(fitting=row, by=book.technician, version=row.version, reason="measures are on paper for now")
    return job


def need_listed(book: Book) -> None:
    FittingNeed.objects.create(fitting=book.fitting, kind="part", name="shackle", needed=2)


def need_box(book: Book) -> str:
    return f"need_{FittingNeed.objects.get(fitting=book.fitting).pk}"


def device_free(book: Book) -> dict[str, Any]:
    return {"device": make.device(book.plant, "Al-8", book.device_model)}


def newer_sheet(book: Book) -> None:
    """The installation is held to a sheet of its model, of which there is a newer one since."""
    from installs.services.device_models import change_device_model, keep_sheet

    model, by = book.device_model, book.people[ENGINEER]
    sheet = keep_sheet(model, by=by)
    Installation.objects.filter(pk=book.installation.pk).update(sheet=sheet)
    change_device_model(DeviceModel.objects.get(pk=model.pk), by=by, version=model.version, mass_kg=42.0)


def out_now(book: Book) -> None:
    OutOfService.objects.filter(pk=book.out_of_service.pk).update(ends_at=None)


def survey_closed(book: Book) -> None:
    close_survey(book.survey, by=book.technician, version=book.survey.version)


def second_shift(book: Book) -> None:
    """Somebody else works on the same day."""
    other = make.person("alsecond", book.plant, TECHNICIAN)
    starts_at = book.shift.starts_at
    make.shift(other, book.plant, starts_at, day=book.shift.day)
    stop_ahead(book)


def away(book: Book) -> None:
    Shift.objects.filter(pk=book.shift.pk).update(away_from=book.now)


def stop_ahead(book: Book) -> None:
    """The stop has not begun, so it can still be moved; its belt stands then, and there is time to isolate it."""
    stop, begins_at = book.stop, book.outage.starts_at + dt.timedelta(minutes=30)
    stop.starts_at, stop.ends_at, stop.lockout_s = begins_at, begins_at + dt.timedelta(hours=1), 1800
    stop.save(update_fields=["starts_at", "ends_at", "lockout_s"])


def draft_laid(book: Book) -> None:
    Round.objects.filter(pk=book.round.pk).update(published_at=None, published_by=None)
    stop_ahead(book)


def laying(book: Book) -> None:
    ask_for_rounds(plant=book.plant, first_day=book.shift.day, last_day=book.shift.day, by=book.people[PLANNER])


def task_without_stop(book: Book) -> dict[str, Any]:
    kind = make.check_kind("pivot-freedom")
    return {"task": make.task(book.installation, kind, timezone.localdate())}


def phone_entry(book: Book) -> dict[str, Any]:
    now = book.now.isoformat()
    task = book.task
    values = {"drive_diameter": "75,1", "off_diameter": "75", "drive_state": "round", "off_state": "round"}
    return {
        "key": fresh_key(),
        "kind": "visit",
        "person": book.technician.pk,
        "installation": book.installation.pk,
        "made_at": now,
        "sent_at": now,
        "system": "metric",
        "photos": [],
        "fields": {
            "visited_at": at(minutes=-1),
            "lockout_confirmed": "on",
            "task": [str(task.pk)],
            "note": "kept on the phone",
            **{f"t{task.pk}-{code}-as_found": value for code, value in values.items()},
        },
    }


def phone_set_aside(book: Book) -> dict[str, Any]:
    told = {name: phone_entry(book)[name] for name in ("key", "kind", "person", "installation", "made_at")}
    return {**told, "answer": "500", "tries": 5, "n_photos": 0, "content": '{"fields": {}}'}


def phone_photo(book: Book) -> dict[str, Any]:
    file = picture()
    return {"key": fresh_key(), "installation": book.installation.pk, "bytes": file.size, "file": file}


def profile(book: Book) -> TechnicianProfile:
    return TechnicianProfile.objects.get(person=book.technician)


def jobs(kind: str, **more: Any) -> Any:
    return Job.objects.filter(kind=kind, **more)


def sessions_hold(name: str, value: Any) -> bool:
    return any(each.get_decoded().get(name) == value for each in Session.objects.all())


# --- every form -------------------------------------------------------------------------------------------------------
SITE = {
    "sign-in": TrueForm(
        NOBODY,
        typing(username="alplanner", password="pass-word-1"),
        lambda book: sessions_hold("_auth_user_id", str(book.people[PLANNER].pk)),
    ),
    "sign-out": TrueForm(PLANNER, typing(), lambda book: not Session.objects.exists(), page="account"),
    "plant-choose": TrueForm(
        PLANNER, lambda book: {"plant": book.plant.pk}, lambda book: sessions_hold("plant", book.plant.pk)
    ),
    "notices-read": TrueForm(
        EVERYONE,
        typing(),
        lambda book: not Notice.objects.filter(person=book.people[EVERYONE], read_at=None).exists(),
        page="notices",
    ),
    "account": TrueForm(
        MANAGER, typing(first_name="Ada"), lambda book: Person.objects.get(username="almanager").first_name == "Ada"
    ),
    "password": TrueForm(
        MANAGER,
        typing(old_password="pass-word-1", new_password1="nine-belts-turn", new_password2="nine-belts-turn"),
        lambda book: Person.objects.get(username="almanager").check_password("nine-belts-turn"),
    ),
    "plant-settings": TrueForm(PLANNER, typing(merge_minutes="15"), lambda book: book.plant.merge_minutes == 15),
    "plant-export": TrueForm(
        PLANNER, typing(), lambda book: PlantExport.objects.filter(plant=book.plant).exclude(job=None).exists()
    ),
    "person-create": TrueForm(
        PLANNER,
        typing(username="newcomer", role=TECHNICIAN),
        lambda book: Membership.objects.filter(person__username="newcomer", plant=book.plant).exists(),
    ),
    "role-give": TrueForm(
        PLANNER,
        typing(username="almanager", role=PLANNER),
        lambda book: Membership.objects.filter(person__username="almanager", role__name=PLANNER).exists(),
    ),
    # The person of `membership` is the technician.
    "person-first-password": TrueForm(
        PLANNER,
        typing(),
        lambda book: Person.objects.get(pk=book.technician.pk).must_change_password,
        page="person-sign-in",
    ),
    "person-switch": TrueForm(
        PLANNER,
        typing(),
        lambda book: not Person.objects.get(pk=book.technician.pk).is_active,
        page="person-sign-in",
    ),
    "person-sign-out": TrueForm(
        PLANNER,
        typing(),
        lambda book: not sessions_hold("_auth_user_id", str(book.technician.pk)),
        page="person-sign-in",
        before=technician_signed_in,
    ),
    # The page asks for the name in its address, and sends from the next page.
    "keeper-give": TrueForm(
        KEEPER,
        typing(username="almanager"),
        lambda book: Person.objects.get(username="almanager").is_keeper,
        page=None,
    ),
    "failed-job-retry": TrueForm(KEEPER, typing(), lambda book: book.failed_job.state == "waiting", page="site"),
    "failed-job-discard": TrueForm(KEEPER, typing(), lambda book: book.failed_job.state == "stopped"),
    "name-remove": TrueForm(
        KEEPER,
        lambda book: {"reason": "asked for it in writing", "typed": book.technician.username},
        lambda book: NameRemoval.objects.filter(person=book.technician.pk).exists(),
        before=technician_left,
    ),
    "keeper-take": TrueForm(KEEPER, typing(), lambda book: not book.keeper.is_keeper, before=second_keeper),
    "role-take": TrueForm(PLANNER, typing(), lambda book: book.membership is None),
    "import-create": TrueForm(
        PLANNER,
        lambda book: {"subject": "conveyors", "file": SimpleUploadedFile("belts.csv", b"tag,name\nAlC-1,x\n")},
        lambda book: ImportBatch.objects.filter(file_name="belts.csv", n_rows=1).exists(),
        page="import-list",
    ),
    "import-choose": TrueForm(
        PLANNER,
        typing(act="write"),
        lambda book: book.import_batch.state == "running",
        page="import-detail",
        before=table_sent,
    ),
    "own-word-forget": TrueForm(PLANNER, typing(), lambda book: book.own_word is None),
    "import-start": TrueForm(
        PLANNER, typing(), lambda book: book.import_batch.state == "running", page=None, before=table_sent
    ),
    "import-forget": TrueForm(
        PLANNER, typing(), lambda book: book.import_batch is None, page="import-detail", before=table_sent
    ),
    "import-stop": TrueForm(
        PLANNER,
        typing(),
        lambda book: book.import_batch.job.state == "stopped",
        page="import-detail",
        before=table_running,
    ),
    "import-take-back": TrueForm(
        PLANNER,
        typing(reason="The wrong plant."),
        lambda book: book.import_batch.state == ImportBatch.State.TAKING_BACK,
        before=table_done,
    ),
    "import-open-again": TrueForm(
        PLANNER,
        typing(),
        lambda book: book.import_batch.state == ImportBatch.State.UNDERSTOOD,
        page="import-detail",
        before=table_written,
    ),
    "import-go-on": TrueForm(
        PLANNER,
        typing(),
        lambda book: book.import_batch.job is not None,
        page=None,
        before=taking_back_stopped,
    ),
    "import-rows": TrueForm(
        PLANNER,
        typing(act="drop"),
        lambda book: book.rejected_row.state == RejectedRow.State.DROPPED,
        page="import-detail",
        before=two_rows_refused,
    ),
    "import-row": TrueForm(
        PLANNER,
        typing(act="drop"),
        lambda book: book.rejected_row.state == RejectedRow.State.DROPPED,
        page="import-detail",
        before=table_written,
    ),
}

BELTS = {
    "area-create": TrueForm(
        PLANNER, typing(code="B", name="Stockpile"), lambda book: Area.objects.filter(code="B", plant=book.plant)
    ),
    "area-update": TrueForm(PLANNER, typing(name="Crusher"), lambda book: book.area.name == "Crusher"),
    "conveyor-create": TrueForm(
        PLANNER,
        lambda book: {
            "tag": "AlC-2",
            "area": book.area.pk,
            "belt_width_mm": "1000",
            "speed_m_s": "2",
            "length_m": "80",
        },
        lambda book: Conveyor.objects.filter(tag="AlC-2", length_m=80, plant=book.plant),
    ),
    "conveyor-update": TrueForm(PLANNER, typing(name="long belt"), lambda book: book.conveyor.name == "long belt"),
    "part-create": TrueForm(
        PLANNER,
        typing(kind="scraper", strand="return", chainage_m="7"),
        lambda book: ConveyorPart.objects.filter(conveyor=book.conveyor, kind="scraper", chainage_m=7),
    ),
    "part-update": TrueForm(
        PLANNER, typing(strand="return", label="head"), lambda book: book.conveyor_part.label == "head"
    ),
    "part-remove": TrueForm(PLANNER, typing(reason="worn out"), lambda book: book.conveyor_part.removed_on is not None),
    "outage-create": TrueForm(
        PLANNER,
        lambda book: {
            "conveyor": book.conveyor.pk,
            "starts_at": at(days=5),
            "ends_at": at(days=5, hours=4),
            "reason": "idlers",
        },
        lambda book: OutageWindow.objects.filter(reason="idlers", conveyor=book.conveyor),
    ),
    "outage-update": TrueForm(
        PLANNER,
        lambda book: {"ends_at": at(days=1), "reason": "idlers and splice"},
        lambda book: book.outage.reason == "idlers and splice" and book.outage.version == 2,
    ),
    "outage-cancel": TrueForm(PLANNER, typing(why="the crane is away"), lambda book: book.outage is None),
    "belt-change-create": TrueForm(
        PLANNER,
        lambda book: {
            "conveyor": book.conveyor.pk,
            "changed_at": at(days=-1),
            "kind": "splice",
            "description": "vulcanised",
        },
        lambda book: BeltChange.objects.filter(description="vulcanised", conveyor=book.conveyor),
    ),
    "belt-change-update": TrueForm(
        PLANNER, typing(description="cold splice"), lambda book: book.belt_change.description == "cold splice"
    ),
    "run-record-create": TrueForm(
        PLANNER,
        lambda book: {"starts_at": at(days=-1), "ends_at": at(hours=-12), "running_h": "9.5"},
        lambda book: RunRecord.objects.filter(running_h=9.5, conveyor=book.conveyor),
    ),
    "run-record-correct": TrueForm(
        PLANNER,
        typing(running_h="18", correction_reason="misread"),
        lambda book: RunRecord.objects.filter(corrects=book.run_record, running_h=18),
    ),
    "meter-reading-create": TrueForm(
        PLANNER,
        typing(reading_h="130"),
        lambda book: MeterReading.objects.filter(conveyor=book.conveyor, reading_h=130),
    ),
    "meter-reading-correct": TrueForm(
        PLANNER,
        typing(reading_h="101", correction_reason="misread"),
        lambda book: MeterReading.objects.filter(corrects=book.meter_reading, reading_h=101),
    ),
    "incident-create": TrueForm(
        TECHNICIAN,
        lambda book: {
            "conveyor": book.conveyor.pk,
            "strand": "return",
            "chainage_m": "44",
            "note": "ran to the off side",
            "new_photos": picture(),
        },
        lambda book: Incident.objects.filter(chainage_m=44, photos__isnull=False, conveyor=book.conveyor),
    ),
    "incident-correct": TrueForm(
        TECHNICIAN,
        typing(chainage_m="81", correction_reason="counted the idlers again"),
        lambda book: Incident.objects.filter(corrects=book.incident, chainage_m=81),
    ),
    "incident-withdraw": TrueForm(
        TECHNICIAN,
        typing(correction_reason="a test of the switch"),
        lambda book: Incident.objects.filter(corrects=book.incident, is_withdrawn=True),
    ),
}

DEVICES = {
    "device-model-create": TrueForm(
        ENGINEER,
        typing(name="Swing 1200", sensor_new_mm="76", sensor_limit_mm="68"),
        lambda book: DeviceModel.objects.filter(name="Swing 1200", sensor_limit_mm=68, plant=book.plant),
    ),
    "device-model-update": TrueForm(ENGINEER, typing(mass_kg="85"), lambda book: book.device_model.mass_kg == 85),
    "fastener-create": TrueForm(
        ENGINEER,
        typing(place="stay", torque_nm="40"),
        lambda book: Fastener.objects.filter(device_model=book.device_model, place="stay", torque_nm=40),
    ),
    "fastener-update": TrueForm(ENGINEER, typing(torque_nm="80"), lambda book: book.fastener.torque_nm == 80),
    "model-part-create": TrueForm(
        ENGINEER,
        typing(name="shackle"),
        lambda book: ModelPart.objects.filter(device_model=book.device_model, name="shackle"),
    ),
    "model-part-update": TrueForm(ENGINEER, typing(count="3"), lambda book: book.model_part.count == 3),
    "logged-station-create": TrueForm(
        PLANNER,
        typing(chainage_m="33", logged_by="shift B"),
        lambda book: LoggedStation.objects.filter(conveyor=book.conveyor, chainage_m=33),
    ),
    "logged-station-update": TrueForm(
        PLANNER, lambda book: {"to_on": on()}, lambda book: book.logged_station.to_on is not None
    ),
    "cause-override-create": TrueForm(
        ENGINEER,
        typing(low_m="100", high_m="120", reason="chute is rebuilt in spring"),
        lambda book: CauseOverride.objects.filter(conveyor=book.conveyor, low_m=100),
    ),
    "cause-override-update": TrueForm(
        ENGINEER,
        lambda book: {"reason": "cured in autumn", "ended_on": on()},
        lambda book: book.cause_override.reason == "cured in autumn",
    ),
    "device-create": TrueForm(
        PLANNER,
        lambda book: {"number": "Al-8", "device_model": book.device_model.pk},
        lambda book: Device.objects.filter(number="Al-8", plant=book.plant),
    ),
    "device-update": TrueForm(PLANNER, typing(serial="S 4711"), lambda book: book.device.serial == "S 4711"),
    "device-scrap": TrueForm(
        PLANNER, typing(reason="frame bent"), lambda book: book.device.scrapped_on is not None, before=device_free
    ),
    "installation-create": TrueForm(
        PLANNER,
        lambda book: {
            "device": book.device.pk,
            "conveyor": book.conveyor.pk,
            "chainage_m": "150",
            "installed_at": at(days=-1),
        },
        lambda book: Installation.objects.filter(device=book.device, chainage_m=150),
        before=device_free,
    ),
    "installation-update": TrueForm(
        PLANNER, typing(access="from the east walkway"), lambda book: "east" in book.installation.access
    ),
    "installation-remove": TrueForm(
        PLANNER, typing(reason="moved up the belt"), lambda book: book.installation.removed_at is not None
    ),
    "installation-move": TrueForm(
        PLANNER,
        typing(reason="tracks well now", state="good", left_behind="brackets"),
        lambda book: book.installation.removed_at is not None,
    ),
    "installation-sheet": TrueForm(
        ENGINEER,
        typing(reason="same frame, better figures"),
        lambda book: book.installation.sheet == book.device_model.sheets.order_by("-number").first(),
        before=newer_sheet,
    ),
    "part-change-create": TrueForm(
        TECHNICIAN,
        typing(part="sensor_rollers", side="drive", why="worn"),
        lambda book: PartChange.objects.filter(installation=book.installation, part="sensor_rollers"),
    ),
    "part-change-correct": TrueForm(
        TECHNICIAN,
        typing(note="both bushes", correction_reason="the note was missing"),
        lambda book: PartChange.objects.filter(corrects=book.part_change, note="both bushes"),
    ),
    "out-of-service-create": TrueForm(
        TECHNICIAN,
        typing(reason="frame tied up"),
        lambda book: OutOfService.objects.filter(installation=book.installation, ends_at=None),
    ),
    "out-of-service-back": TrueForm(
        TECHNICIAN, typing(), lambda book: book.out_of_service.ends_at is not None, before=out_now
    ),
    "out-of-service-update": TrueForm(
        TECHNICIAN,
        lambda book: {"begins_at": at(days=-98), "ends_at": at(days=-97), "reason": "bent, straightened"},
        lambda book: book.out_of_service.reason == "bent, straightened",
    ),
    "instrument-create": TrueForm(
        PLANNER,
        typing(number="W-9", range_least_nm="20", range_most_nm="200"),
        lambda book: Instrument.objects.filter(number="W-9", plant=book.plant),
    ),
    "instrument-update": TrueForm(
        PLANNER, typing(note="in the van"), lambda book: book.instrument.note == "in the van"
    ),
    "instrument-calibrate": TrueForm(
        PLANNER,
        lambda book: {"calibrated_on": on(-1), "calibration_due_on": on(364), "certificate": "K 12"},
        lambda book: book.instrument.certificate == "K 12",
    ),
    "survey-create": TrueForm(
        TECHNICIAN,
        lambda book: {"conveyor": book.conveyor.pk, "chainage_m": "130", "device_model": book.device_model.pk},
        lambda book: Survey.objects.filter(conveyor=book.conveyor, chainage_m=130),
    ),
    "survey-update": TrueForm(
        TECHNICIAN,
        typing(belt_width_mm="1200", s0_empty="12", s0_empty_side="drive"),
        lambda book: book.survey.belt_width_mm == 1200 and BeltOffset.objects.filter(survey=book.survey, offset_mm=12),
    ),
    "survey-close": TrueForm(
        TECHNICIAN, typing(conditions="clean the chute first"), lambda book: book.survey.closed_at is not None
    ),
    "survey-reopen": TrueForm(
        TECHNICIAN, typing(reason="measured again"), lambda book: book.survey.closed_at is None, before=survey_closed
    ),
}

JOBS = {
    "fitting-create": TrueForm(
        PLANNER,
        lambda book: {"conveyor": book.conveyor.pk, "chainage_m": "170", "device_model": book.device_model.pk},
        lambda book: Fitting.objects.filter(conveyor=book.conveyor, chainage_m=170),
    ),
    "fitting-update": TrueForm(PLANNER, typing(note="bring the long sling"), lambda book: "sling" in book.fitting.note),
    "fitting-give-up": TrueForm(
        PLANNER, typing(reason="the chute comes first"), lambda book: book.fitting.given_up_at is not None
    ),
    "fitting-needs": TrueForm(
        TECHNICIAN,
        lambda book: {need_box(book): "2"},
        lambda book: FittingNeed.objects.get(fitting=book.fitting).at_hand == 2,
        before=need_listed,
    ),
    "fitting-need-create": TrueForm(
        PLANNER,
        typing(name="long sling"),
        lambda book: FittingNeed.objects.filter(fitting=book.fitting, name="long sling"),
    ),
    "fitting-isolation": TrueForm(
        TECHNICIAN,
        typing(points="switch 4, lock 12", tried_start="on"),
        lambda book: Isolation.objects.filter(fitting=book.fitting, points="switch 4, lock 12"),
        before=job_planned,
    ),
    "fitting-point": TrueForm(
        TECHNICIAN,
        typing(confirm="", note="all there"),
        lambda book: HoldPoint.objects.filter(fitting=book.fitting, point="parts", note="all there"),
        before=isolated_for_parts,
    ),
    "fitting-adjustment": TrueForm(
        TECHNICIAN,
        typing(drive_mm="6", drive_way="in", off_mm="6", off_way="out", note="one turn"),
        lambda book: Isolation.objects.filter(fitting=book.fitting, cycle=2, adjustment_note="one turn"),
        before=isolated_again,
    ),
    "fitting-trial-run": TrueForm(
        TECHNICIAN,
        lambda book: {"load": "empty", "minutes": "40", "started_at": at(hours=-3), "off_0_mm": "5", "side_0": "drive"},
        lambda book: TrialRun.objects.filter(fitting=book.fitting, minutes=40),
        before=ready_to_run,
    ),
    "fitting-acceptance": TrueForm(
        TECHNICIAN,
        typing(reason="measures are on paper for now"),
        lambda book: book.fitting.accepted_at is not None,
        before=ready_to_accept,
    ),
    "fitting-hand-over": TrueForm(
        TECHNICIAN,
        typing(handed_over_to="shift B"),
        lambda book: book.fitting.installation is not None,
        before=accepted,
    ),
    "hold-point-correct": TrueForm(
        TECHNICIAN,
        typing(note="two clamps came later", correction_reason="the note was wrong"),
        lambda book: HoldPoint.objects.filter(corrects=book.hold_point, note="two clamps came later"),
    ),
    "trial-run-readings": TrueForm(
        TECHNICIAN,
        typing(at_0_m="170", off_0_mm="4", side_0="off"),
        lambda book: BeltOffset.objects.filter(trial_run=book.trial_run, chainage_m=170, offset_mm=-4),
        before=run_once,
    ),
    "trial-run-withdraw": TrueForm(
        TECHNICIAN,
        typing(correction_reason="read at the wrong belt"),
        lambda book: TrialRun.objects.filter(corrects=book.trial_run, is_withdrawn=True),
    ),
    "fit-up": TrueForm(
        TECHNICIAN,
        typing(bracket_spacing_mm="1308", frame_length_mm="1194"),
        lambda book: FitUp.objects.filter(fitting=book.fitting, bracket_spacing_mm=1308),
    ),
    "fit-up-live": TrueForm(
        TECHNICIAN,
        typing(bracket_spacing_mm="1308"),
        lambda book: not FitUp.objects.exists(),  # drawn, never kept
        page=None,
        answer=200,
    ),
    "torque": TrueForm(
        TECHNICIAN,
        lambda book: {"instrument": book.instrument.pk, f"torque_{book.fastener.pk}_2_nm": "74"},
        lambda book: TorqueSignOff.objects.filter(fitting=book.fitting, number=2, torque_nm=74),
    ),
    "torque-pass-over": TrueForm(
        TECHNICIAN,
        lambda book: {"fasteners": f"{book.fastener.pk}-3", "reason": "out of reach"},
        lambda book: PassedFastener.objects.filter(fitting=book.fitting, number=3, reason="out of reach"),
    ),
    "passed-fastener-withdraw": TrueForm(
        TECHNICIAN,
        typing(reason="the socket came"),
        lambda book: PassedFastener.objects.filter(corrects=book.passed_fastener, is_withdrawn=True),
    ),
    "torque-withdraw": TrueForm(
        TECHNICIAN,
        typing(reason="wrong wrench"),
        lambda book: TorqueSignOff.objects.filter(corrects=book.torque, is_withdrawn=True),
    ),
}

CHECKS = {
    "task-put-off": TrueForm(
        PLANNER,
        lambda book: {"closes_on": on(20), "reason": "no window before"},
        lambda book: book.task.deferrals.filter(reason="no window before"),
    ),
    "task-withdraw": TrueForm(PLANNER, typing(reason="belt is down"), lambda book: book.task.outcome == "withdrawn"),
    "task-create": TrueForm(
        PLANNER,
        lambda book: {"check_kind": make.check_kind("pivot-freedom").pk, "why": "it squeals"},
        lambda book: Task.objects.filter(installation=book.installation, why="it squeals"),
    ),
    "task-could-not-do": TrueForm(
        TECHNICIAN,
        typing(reason="belt_running", note="no window"),
        lambda book: CouldNotDo.objects.filter(task=book.task, note="no window"),
    ),
    "check-kind-create": TrueForm(
        PLANNER, typing(name="Belt edge"), lambda book: CheckKind.objects.filter(name="Belt edge", plant=book.plant)
    ),
    "check-kind-update": TrueForm(PLANNER, typing(minutes="25"), lambda book: book.check_kind.minutes == 25),
    "reading-field-create": TrueForm(
        PLANNER,
        typing(label="Gap", quantity="mm", act_above="12"),
        lambda book: ReadingField.objects.filter(check_kind=book.check_kind, label="Gap", act_above=12),
    ),
    "reading-field-update": TrueForm(PLANNER, typing(act_above="9"), lambda book: book.reading_field.act_above == 9),
    "check-plan-create": TrueForm(
        PLANNER,
        lambda book: {
            "check_kind": make.check_kind("pivot-freedom").pk,
            "device_model": book.device_model.pk,
            "interval_days": "60",
        },
        lambda book: CheckPlan.objects.filter(device_model=book.device_model, interval_days=60),
    ),
    "check-plan-create-own": TrueForm(
        PLANNER,
        lambda book: {"check_kind": make.check_kind("pivot-freedom").pk, "interval_days": "45"},
        lambda book: CheckPlan.objects.filter(installation=book.installation, interval_days=45),
    ),
    "check-plan-update": TrueForm(
        PLANNER,
        typing(interval_days="40", reason="found sound twice"),
        lambda book: book.check_plan.interval_days == 40,
    ),
    "check-plan-suspend": TrueForm(PLANNER, typing(reason="belt is down"), lambda book: book.check_plan.is_suspended),
    "visit-create": TrueForm(
        TECHNICIAN,
        lambda book: {
            "lockout_confirmed": "on",
            "note": "both turn freely",
            **{
                f"t{book.task.pk}-{code}-as_found": value
                for code, value in (
                    ("drive_diameter", "75.1"),
                    ("off_diameter", "75"),
                    ("drive_state", "round"),
                    ("off_state", "round"),
                )
            },
        },
        lambda book: book.task.outcome == "done" and Visit.objects.filter(note="both turn freely"),
    ),
    "visit-correct": TrueForm(
        TECHNICIAN,
        lambda book: {
            f"t{book.reading_of_visit.task_id}-play-as_found": "4",
            "correction_reason": "misread",
        },
        lambda book: Reading.objects.filter(corrects=book.reading_of_visit, value=4),
        before=lambda book: {"reading_of_visit": Reading.objects.get(visit=book.visit)},
    ),
    "twice-closed": TrueForm(TECHNICIAN, typing(counts="first"), lambda book: book.twice_closed.counts == "first"),
    "round-entries": TrueForm(
        TECHNICIAN,
        phone_entry,
        lambda book: Visit.objects.filter(note="kept on the phone") and book.task.outcome == "done",
        page=None,
        answer=200,
        is_json=True,
    ),
    "round-aside": TrueForm(
        TECHNICIAN,
        phone_set_aside,
        lambda book: SetAside.objects.filter(content='{"fields": {}}', created_by=book.technician),
        page=None,
        answer=200,
        is_json=True,
    ),
    "set-aside": TrueForm(
        PLANNER,
        typing(settled_note="entered by hand"),
        lambda book: book.set_aside.settled_note == "entered by hand",
    ),
    "round-photos": TrueForm(
        TECHNICIAN,
        phone_photo,
        lambda book: Photo.objects.filter(created_by=book.technician, plant=book.plant),
        page=None,
        answer=200,
    ),
    "action-create": TrueForm(
        TECHNICIAN,
        typing(title="Renew the bushes", part0_name="bush", part0_count="2"),
        lambda book: Action.objects.filter(installation=book.installation, title="Renew the bushes"),
    ),
    "action-update": TrueForm(TECHNICIAN, typing(title="Renew both"), lambda book: book.action.title == "Renew both"),
    "action-give": TrueForm(
        PLANNER,
        lambda book: {"owner": book.people[ENGINEER].pk},
        lambda book: book.action.owner == book.people[ENGINEER],
        page="action-detail",
        before=nobodys_action,
    ),
    "action-done": TrueForm(
        TECHNICIAN,
        lambda book: {"done_note": "renewed"} | {f"left_{each.pk}": None for each in found_bad(book.action)},
        lambda book: book.action.done_note == "renewed",
    ),
}

ROUNDS = {
    "opportunity-put-on": TrueForm(
        PLANNER,
        lambda book: {
            "conveyor": book.conveyor.pk,
            "minutes": "120",
            "shift": book.shift.pk,
            "tasks": [book.task.pk],
        },
        lambda book: Round.objects.filter(shift=book.shift, published_at=None, stops__tasks=book.task),
        page=None,
        before=task_without_stop,
    ),
    "round-lay": TrueForm(PLANNER, typing(), lambda book: jobs("lay_rounds", plant=book.plant), page="round-list"),
    "round-stop": TrueForm(
        PLANNER,
        typing(),
        lambda book: jobs("lay_rounds", plant=book.plant, state="stopped"),
        page=None,
        before=laying,
    ),
    "round-publish": TrueForm(
        PLANNER,
        lambda book: {"day": book.shift.day.isoformat()},
        lambda book: book.round.published_at is not None,
        page=None,
        before=draft_laid,
    ),
    "round-stop-move": TrueForm(
        PLANNER,
        lambda book: {"step": "later"},
        lambda book: Round.objects.filter(shift=book.shift).count() == 2,
        page=None,
        before=stop_ahead,
        answer=200,
    ),
    "round-stop-out": TrueForm(
        PLANNER,
        typing(),
        lambda book: Round.objects.filter(shift=book.shift, published_at=None, stops=None),
        page=None,
        before=stop_ahead,
        answer=200,
    ),
    "round-calendar-renew": TrueForm(
        TECHNICIAN,
        typing(),
        lambda book: profile(book).calendar_key != book.known["old_key"],
        page="round-calendar",
        before=lambda book: {"old_key": profile(book).calendar_key},
    ),
    "shift-create": TrueForm(
        PLANNER,
        lambda book: {
            "person": book.technician.pk,
            "starts_at": at(days=3),
            "ends_at": at(days=3, hours=8),
            "break_starts_at": at(days=3, hours=4),
        },
        lambda book: Shift.objects.filter(person=book.technician).count() == 2,
    ),
    "shift-update": TrueForm(PLANNER, typing(break_minutes="45"), lambda book: book.shift.break_minutes == 45),
    "shift-away": TrueForm(PLANNER, typing(), lambda book: book.shift.away_from is not None),
    "shift-back": TrueForm(PLANNER, typing(), lambda book: book.shift.away_from is None, page=None, before=away),
    "shift-swap": TrueForm(
        PLANNER,
        lambda book: {"other": Shift.objects.get(person__username="alsecond").pk},
        lambda book: Round.objects.filter(shift__person__username="alsecond", stops__tasks=book.task),
        before=second_shift,
    ),
    "technician-profile-update": TrueForm(
        PLANNER,
        typing(skills="splicing"),
        lambda book: profile(book).skills == "splicing",
    ),
}

REPORTS = {
    "month-create": TrueForm(
        ENGINEER,
        typing(reason="hours came late"),
        lambda book: MonthlyReport.objects.filter(plant=book.plant, edition=2),
        before=lambda book: publish_month(book.month, by=book.people[ENGINEER], version=book.month.version) and None,
    ),
    "month-subscribe": TrueForm(
        MANAGER,
        typing(),
        lambda book: Subscription.objects.filter(person=book.people[MANAGER], plant=book.plant),
        page="month-list",
    ),
    "month-update": TrueForm(
        ENGINEER, typing(comment="A dry month."), lambda book: book.month.comment == "A dry month."
    ),
    "month-publish": TrueForm(MANAGER, typing(), lambda book: book.month.published_at is not None),
    "study-note-create": TrueForm(
        ENGINEER,
        typing(text="The chute was rebuilt."),
        lambda book: StudyNote.objects.filter(installation=book.installation, text="The chute was rebuilt."),
    ),
    "study-note-correct": TrueForm(
        ENGINEER,
        typing(text="It rained.", reason="wrong belt"),
        lambda book: StudyNote.objects.filter(corrects=book.study_note, text="It rained."),
    ),
    "study-note-withdraw": TrueForm(
        ENGINEER,
        typing(reason="wrong belt"),
        lambda book: StudyNote.objects.filter(corrects=book.study_note, is_withdrawn=True),
    ),
    "study-window-create": TrueForm(
        ENGINEER,
        typing(before_months="9", reason="a new crusher before"),
        lambda book: StudyWindow.objects.filter(installation=book.installation, before_months=9),
    ),
    "study-window-withdraw": TrueForm(
        ENGINEER,
        typing(reason="the rule will do"),
        lambda book: StudyWindow.objects.filter(corrects=book.study_window, is_withdrawn=True),
    ),
}

TRUE = {**SITE, **BELTS, **DEVICES, **JOBS, **CHECKS, **ROUNDS, **REPORTS}
