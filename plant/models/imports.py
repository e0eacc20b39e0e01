"""Files that were sent in, what was understood of them, and the rows that were refused."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from .base import PlantQuerySet, Record, Row
from .conveyors import Conveyor
from .exported import Exported, NotExported
from .jobs import Job
from .plants import Plant


def import_path(batch: ImportBatch, filename: str) -> str:
    suffix = "xlsx" if batch.is_workbook else "csv"
    return f"imports/{batch.plant_id}/{batch.client_key}.{suffix}"


class ImportBatch(Row):
    """One file on its way into the book."""

    class State(models.TextChoices):
        UNDERSTOOD = "understood", _("read, nothing written yet")
        RUNNING = "running", _("being written")
        DONE = "done", _("done")
        REFUSED = "refused", _("refused as a whole, nothing written")
        FAILED = "failed", _("stopped by an error")
        TAKING_BACK = "taking_back", _("being taken back")
        TAKEN_BACK = "taken_back", _("taken back")

    # At work, or stopped while they were.
    AT_WORK = (State.RUNNING, State.TAKING_BACK)

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="import_batches", editable=False)
    subject = models.CharField(_("what"), max_length=30)
    file = models.FileField(upload_to=import_path)
    file_name = models.CharField(_("file"), max_length=200)
    is_workbook = models.BooleanField(default=False)
    sha256 = models.CharField(max_length=64)
    options = models.JSONField(default=dict)  # columns, units, date order, time zone, delimiter, encoding, sheet
    all_or_nothing = models.BooleanField(_("all rows or none"), default=False)
    state = models.CharField(_("state"), max_length=12, choices=State, default=State.UNDERSTOOD)
    job = models.ForeignKey(Job, null=True, blank=True, on_delete=models.SET_NULL, related_name="import_batches")
    n_rows = models.PositiveIntegerField(_("rows"), default=0)
    rows_done = models.PositiveIntegerField(default=0)  # a killed import goes on after this row
    n_written = models.PositiveIntegerField(_("written"), default=0)
    n_changed = models.PositiveIntegerField(_("changed"), default=0)
    n_unchanged = models.PositiveIntegerField(_("already known"), default=0)
    n_repeated = models.PositiveIntegerField(_("equal rows, counted once"), default=0)
    n_refused = models.PositiveIntegerField(_("refused"), default=0)
    problem = models.CharField(max_length=500, blank=True)
    taken_back_at = models.DateTimeField(_("taken back"), null=True, blank=True, editable=False)
    taken_back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        verbose_name=_("taken back by"),
        null=True,
        blank=True,
        editable=False,
        on_delete=models.PROTECT,
        related_name="+",
    )
    taken_back_because = models.CharField(_("why it was taken back"), max_length=200, blank=True)
    n_taken_back = models.PositiveIntegerField(_("rows that went when it was taken back"), default=0)
    n_staying = models.PositiveIntegerField(_("rows that stayed then, because people went on with them"), default=0)

    objects = PlantQuerySet.as_manager()

    exported = Exported(
        "import_batches",
        stays={"job": _("work of this site")},
        meanings={
            "file": _("the file as it was sent, beside this folder; empty once it was cleared away"),
            "is_workbook": _("whether the file is a workbook"),
            "sha256": _("checksum of the file as it was sent"),
            "options": _("how the file was read: columns, units, order of dates and the like"),
            "rows_done": _("rows that were read so far"),
            "problem": _("why the whole file was refused"),
        },
        units=dict.fromkeys(
            (
                "n_rows",
                "rows_done",
                "n_written",
                "n_changed",
                "n_unchanged",
                "n_repeated",
                "n_refused",
                "n_taken_back",
                "n_staying",
            ),
            "1",
        ),
    )

    class Meta:
        verbose_name = _("import")
        verbose_name_plural = _("imports")
        ordering = ["-created_at"]
        permissions = [("run_import", "Can import files")]

    def __str__(self) -> str:
        return self.file_name

    def get_absolute_url(self) -> str:
        return reverse("import-detail", args=[self.pk])

    @property
    def standing(self) -> str:
        """The state with what the job says: an import whose job was stopped or failed is interrupted."""
        if self.state not in self.AT_WORK:
            return str(self.state)
        is_alive = self.job is not None and self.job.state in (Job.State.WAITING, Job.State.RUNNING)
        return "running" if is_alive else "interrupted"

    @property
    def standing_words(self) -> str:
        return str(_("stopped, can go on")) if self.standing == "interrupted" else str(self.State(self.state).label)


class ImportedRecord(models.Model):
    """What a file did to a record: made it, or changed it from what it was before."""

    batch = models.ForeignKey(ImportBatch, on_delete=models.CASCADE, related_name="records")
    model = models.CharField(max_length=60)  # as "app.Model"
    row_id = models.BigIntegerField()
    version = models.PositiveIntegerField()  # as the file left it
    before = models.JSONField(null=True)  # the fields that it changed, as they were; none where it made the record

    exported = NotExported(_("what lets a file be taken back at this site"))

    class Meta:
        verbose_name = _("record of a file")
        verbose_name_plural = _("records of files")
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.model} {self.row_id}"


class RejectedRowQuerySet(models.QuerySet["RejectedRow"]):
    def refused(self) -> Self:
        """Rows that could not be written as they stood."""
        return self.exclude(state__in=RejectedRow.EQUAL)

    def open(self) -> Self:
        return self.filter(state=RejectedRow.State.OPEN)

    def repeated(self) -> Self:
        """Rows that are equal to another row of their file, also those that a person had written all the same."""
        return self.filter(state__in=RejectedRow.EQUAL)

    def written(self) -> Self:
        return self.filter(state__in=[RejectedRow.State.CORRECTED, RejectedRow.State.OWN])


class RejectedRow(models.Model):
    """A row that was not written, as it stood in the file, and why."""

    class State(models.TextChoices):
        OPEN = "open", _("to be corrected")
        CORRECTED = "corrected", _("corrected and written")
        DROPPED = "dropped", _("left out on purpose")
        REPEATED = "repeated", _("equal to another row, counted once")
        OWN = "own", _("equal to another row, written as an event of its own")

    EQUAL = (State.REPEATED, State.OWN)

    batch = models.ForeignKey(ImportBatch, on_delete=models.CASCADE, related_name="rejected_rows")
    line_number = models.PositiveIntegerField(_("line"))
    values = models.JSONField(default=dict)  # column of the file -> text as it stood there
    problems = models.JSONField(default=list)  # [{"field": ..., "reason": ...}]
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)

    objects = RejectedRowQuerySet.as_manager()

    exported = Exported(
        "rejected_rows",
        key=("batch", "line_number"),
        plant_path="batch__plant",
        meanings={
            "batch": _("the file that the row stood in"),
            "values": _("the row as it stood there: its cells by the heads of their columns"),
            "problems": _("why it was refused, by field"),
            "state": _("what became of it"),
        },
        units={"line_number": "1"},
    )

    class Meta:
        verbose_name = _("refused row")
        verbose_name_plural = _("refused rows")
        ordering = ["line_number"]
        constraints = [models.UniqueConstraint(fields=["batch", "line_number"], name="rejected_row_once")]

    def __str__(self) -> str:
        return f"line {self.line_number}"


class PlantWord(Record):
    """What a word of the plant's own files stands for, said once and taken from then on."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="own_words", editable=False)
    # A field of imports such as "side"; for the name of a column the kind of rows with "columns" before it.
    about = models.CharField(_("where"), max_length=60, editable=False)
    word_key = models.CharField(max_length=120, editable=False)
    written = models.CharField(_("word in files"), max_length=120, editable=False)
    means = models.CharField(_("stands for"), max_length=60, blank=True)  # a code; empty where it says nothing
    conveyor = models.ForeignKey(
        Conveyor, verbose_name=_("conveyor"), null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = PlantQuerySet.as_manager()

    exported = Exported(
        "plant_words", key=("about", "word_key"), meanings={"word_key": _("the word as files are compared with it")}
    )

    class Meta:
        verbose_name = _("word of the plant")
        verbose_name_plural = _("words of the plant")
        ordering = ["about", "written"]
        constraints = [models.UniqueConstraint(fields=["plant", "about", "word_key"], name="plant_word_once")]

    def __str__(self) -> str:
        return self.written

    @property
    def stands_for(self) -> str:
        """The code, or the tag of the conveyor as it is now."""
        return self.conveyor.tag if self.conveyor is not None else self.means
