"""Take a file in from the shell: manage.py take_in incidents log.csv --plant "Alder Pit" --by pat"""

from __future__ import annotations

import json
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from plant.errors import Refused
from plant.files import rejected_rows
from plant.models import ImportBatch, Job, Person, Plant
from plant.permissions import has_right
from plant.services import import_understanding, import_writing, imports
from plant.services.import_preview import Preview, preview_of
from plant.services.import_subjects.shape import subject_of
from plant.services.jobs import do_job


class Command(BaseCommand):
    help = "Take a CSV or XLSX file in, as the import desk does: each row once, refused rows kept with their reasons."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("subject", help="conveyors, device_models, installations, running_hours, incidents ...")
        parser.add_argument("file", type=Path)
        parser.add_argument("--plant", required=True, help="name of the plant")
        parser.add_argument("--by", required=True, help="sign-in name of the person in whose name rows are written")
        parser.add_argument("--all-or-nothing", action="store_true", help="write nothing if one row is refused")
        parser.add_argument("--dry", action="store_true", help="say what was understood, write nothing")
        parser.add_argument(
            "--set",
            action="append",
            default=[],
            metavar="NAME=VALUE",
            help="a choice: date_order=dmy|mdy, decimal=point|comma, time_zone=..., doubled=refuse|earlier|later, "
            "known=refuse|correct, equal=one|each, midnight=time|day, "
            "encoding=..., delimiter=..., sheet=..., header_line=..., column.FIELD=HEAD, unit.FIELD=UNIT",
        )
        parser.add_argument("--refused", type=Path, help="write the refused rows with their reasons to this file")

    def handle(self, *args: Any, **given: Any) -> None:
        plant = Plant.objects.filter(name=given["plant"]).first()
        if plant is None:
            names = ", ".join(Plant.objects.values_list("name", flat=True))
            raise CommandError(f"There is no plant “{given['plant']}”; there are: {names or 'none'}.")
        person = Person.objects.filter(username=given["by"]).first()
        if person is None:
            raise CommandError(f"Nobody signs in as “{given['by']}”.")
        try:
            subject = subject_of(given["subject"])
            for name in ("plant.run_import", subject.right):
                if not has_right(person, name, plant):
                    raise CommandError(f"{person} may not import {subject.name} in {plant}; their role lacks {name}.")
            with timezone.override(plant.zone):
                self.take_in(plant, person, given)
        except Refused as refusal:
            raise CommandError(refusal.message) from refusal

    def take_in(self, plant: Plant, person: Person, given: dict[str, Any]) -> None:
        path: Path = given["file"]
        try:
            size = path.stat().st_size
            with path.open("rb") as file:
                batch = imports.take_in_file(
                    plant=plant,
                    by=person,
                    subject=given["subject"],
                    file=file,
                    file_name=path.name,
                    size=size,
                    limits=import_understanding.limits_in_a_job(),
                )
        except OSError as error:
            raise CommandError(f"{path} cannot be read ({error.strerror}).") from error
        try:
            imports.choose(batch=batch, options=chosen(given["set"]))
            self.say(batch, preview_of(batch))
            if not given["dry"]:
                self.write(batch, person, given)
        finally:
            if batch.job_id is None:
                imports.forget_file(batch=batch)  # nothing was asked for: no file is left waiting at the desk

    def say(self, batch: ImportBatch, preview: Preview) -> None:
        found = preview.found
        self.stdout.write(f"{batch.file_name}: {batch.n_rows} rows of {batch.subject}")
        for match in found.matched():
            unit = f" [{match.unit}]" if match.unit else ""
            self.stdout.write(f"  {match.column.name} <- {match.head}{unit}")
        reading = found.reading
        self.stdout.write(f"  dates {reading.date_order}, decimal {reading.decimal}, clock of {reading.time_zone}")
        if preview.sent_before:
            self.stdout.write(f"  {preview.sent_before.words}")
        for words in (*preview.notes, *found.problems, *(f"{q.words} (--set {q.option}=...)" for q in found.questions)):
            self.stdout.write(f"  {words}")
        if found.is_ready:
            self.stdout.write(f"  of the first {preview.n_tried} rows {preview.n_wrong} would be refused")
        for row in preview.wrong[:20]:
            for problem in row.problems:
                self.stdout.write(f"  line {row.line_number}: {problem['reason']}")

    def write(self, batch: ImportBatch, person: Person, given: dict[str, Any]) -> None:
        job = imports.start_import(batch=batch, by=person, all_or_nothing=given["all_or_nothing"])
        # A worker of the site may have been told and be faster; then this only waits for it.
        while not do_job(job.pk):
            job.refresh_from_db()
            if job.state not in (Job.State.WAITING, Job.State.RUNNING):
                break
            time.sleep(1)
        job.refresh_from_db()
        batch.refresh_from_db()
        if given["refused"] and batch.n_refused:
            given["refused"].write_text("".join(rejected_rows.rejected_as_csv(batch)), encoding="utf-8")
        self.stdout.write(json.dumps(import_writing.counts_of(batch)))
        for row in batch.rejected_rows.refused()[:20]:
            reasons = " ".join(each["reason"] for each in row.problems)
            self.stderr.write(f"line {row.line_number}: {reasons}")
        if batch.state != ImportBatch.State.DONE:
            raise CommandError(
                batch.problem or job.error.split("\n")[0] or f"Nothing was written: {batch.n_refused} wrong."
            )


def chosen(pairs: list[str]) -> dict[str, Any]:
    """NAME=VALUE pairs as the desk's choices.

    Raises
    ------
    CommandError
        If a pair has no value or its name is no choice.
    """
    options: dict[str, Any] = {"columns": {}, "units": {}}
    for pair in pairs:
        name, mark, value = pair.partition("=")
        kind, _dot, field = name.partition(".")
        if mark and kind == "column" and field:
            options["columns"][field] = value
        elif mark and kind == "unit" and field:
            options["units"][field] = value
        elif mark and name in imports.CHOSEN:
            options[name] = "\t" if value in ("\\t", "tab") else value
        else:
            names = ", ".join(imports.CHOSEN)
            raise CommandError(
                f"--set {pair} was not understood; give NAME=VALUE, NAME one of {names}, column.*, unit.*"
            )
    return options
