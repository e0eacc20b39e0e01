"""Visits: the tasks done at one device in one stop, with their readings."""

from __future__ import annotations

from datetime import timedelta
from typing import Self

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from inspections.models.check_plans import GRADES
from installs.models import Installation, Instrument, TorqueSignOff
from plant.calc.moments import CLOCK_TOLERANCE, MomentKind
from plant.models import Entry, EntryQuerySet, Photo, Plant, PlantQuerySet, Record, Side
from plant.models.exported import Exported

from .tasks import Task

# Two clocks that differ by less are taken to agree.
CLOCK_DRIFT = CLOCK_TOLERANCE


class Visit(Entry):
    """One stop at one device. It is never overwritten: a correction is a further visit row with new readings."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="visits", editable=False)
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="visits")
    visited_at = models.DateTimeField(_("when"))
    visited_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="visits")
    # A record of what a person did, never an interlock.
    lockout_confirmed_at = models.DateTimeField(_("lockout confirmed at"), null=True, blank=True)
    lockout_confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    permit_reference = models.CharField(_("permit reference"), max_length=60, blank=True)
    note = models.TextField(_("note"), blank=True, max_length=4000)
    no_action_reason = models.CharField(_("why no action was raised"), max_length=300, blank=True)
    photos = models.ManyToManyField(Photo, blank=True, related_name="visits")
    # Kept on a phone first: by its own clock, when the visit was closed out there and when it was sent. Between sending
    # and `created_at` lies next to nothing, so their difference is how far that clock was off.
    phone_at = models.DateTimeField(_("by the phone's clock"), null=True, blank=True, editable=False)
    phone_sent_at = models.DateTimeField(null=True, blank=True, editable=False)

    moments = {"visited_at": MomentKind.HAPPENED, "lockout_confirmed_at": MomentKind.HAPPENED}

    objects = EntryQuerySet.as_manager()

    exported = Exported(
        "visits",
        meanings={
            "installation": _("the device in its place"),
            "visited_by": _("who was there"),
            "lockout_confirmed_by": _("who confirmed the lockout"),
            "phone_sent_at": _("when the phone sent it, by its clock"),
        },
    )

    class Meta:
        verbose_name = _("visit")
        verbose_name_plural = _("visits")
        ordering = ["-visited_at"]
        indexes = [models.Index(fields=["installation", "-visited_at"], name="visit_last")]

    def __str__(self) -> str:
        return f"{self.installation} {self.visited_at:%Y-%m-%d}"

    def get_absolute_url(self) -> str:
        return reverse("visit-detail", args=[self.pk])

    @property
    def came_late(self) -> bool:
        """Whether the phone's time and that of its arrival are so far apart that both are worth showing."""
        return self.phone_at is not None and abs(self.created_at - self.phone_at) > CLOCK_DRIFT

    @property
    def clock_off(self) -> timedelta | None:
        """How far the phone's clock went ahead (below zero: behind); None where it was right or no phone was used."""
        if self.phone_sent_at is None or abs(self.phone_sent_at - self.created_at) <= CLOCK_DRIFT:
            return None
        return self.phone_sent_at - self.created_at

    @property
    def was_ahead(self) -> bool:
        """Whether the phone said a time that had not come yet, by a clock that was right when it sent."""
        return self.phone_at is not None and self.clock_off is None and self.phone_at > self.created_at + CLOCK_DRIFT


class ReadingQuerySet(EntryQuerySet["Reading"]):
    plant_path = "visit__plant"

    def as_found(self) -> Self:
        return self.filter(stage=Reading.Stage.AS_FOUND)


class Reading(Entry):
    """A measured or observed value, as found or as left. Numbers are in the SI unit that `quantity` names."""

    class Stage(models.TextChoices):
        AS_FOUND = "as_found", _("as found")
        AS_LEFT = "as_left", _("as left")

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="readings")
    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="readings")
    code = models.CharField(max_length=60)  # for example drive_diameter, pivot, clamp_3
    label = models.CharField(_("what"), max_length=120)
    side = models.CharField(_("side"), max_length=10, choices=Side, blank=True)
    stage = models.CharField(_("stage"), max_length=10, choices=Stage, default=Stage.AS_FOUND)
    value = models.FloatField(_("value"), null=True, blank=True)
    quantity = models.CharField(max_length=10, blank=True)
    answer = models.CharField(_("answer"), max_length=60, blank=True)
    typed = models.CharField(_("as typed"), max_length=60, blank=True)
    grade = models.CharField(_("grade"), max_length=6, choices=GRADES, blank=True)
    # Why: a rule of inspections/calc with what it read; its words are in inspections/words/grading.py.
    grade_because = models.JSONField(default=dict, blank=True)
    # Torques only. Readings by different methods cannot be compared; the deviation is the one that the grade used [%].
    method = models.CharField(_("method"), max_length=20, choices=TorqueSignOff.Method, blank=True)
    instrument = models.ForeignKey(
        Instrument,
        verbose_name=_("instrument"),
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="readings",
    )
    deviation_pct = models.FloatField(_("permissible deviation"), null=True, blank=True)
    # Why the instrument was in doubt that day: it marks the reading and blocks nothing.
    doubt = models.CharField(_("doubt about the instrument"), max_length=300, blank=True)

    objects = ReadingQuerySet.as_manager()

    exported = Exported(
        "readings",
        meanings={
            "visit": _("the visit"),
            "task": _("the check"),
            "code": _("which reading of the check"),
            "quantity": _("the unit of the value; empty for a plain number"),
            "grade_because": _("why it has this grade: a rule and what it read"),
        },
        units={"value": "as quantity says"},
    )

    class Meta:
        verbose_name = _("reading")
        verbose_name_plural = _("readings")
        ordering = ["pk"]
        indexes = [models.Index(fields=["task", "code"], name="reading_of_task")]

    def __str__(self) -> str:
        return f"{self.label} {self.stage}"


class TwiceClosed(Record):
    """One check that two people closed, not knowing of each other. Both visits stay; people say which counts."""

    class Counts(models.TextChoices):
        FIRST = "first", _("the first")
        SECOND = "second", _("the second")
        BOTH = "both", _("both")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="+", editable=False)
    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="twice_closed")
    first = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="closed_again")
    second = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="closed_before")
    counts = models.CharField(_("which counts"), max_length=6, choices=Counts, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    decided_at = models.DateTimeField(_("decided"), null=True, blank=True)

    objects = PlantQuerySet.as_manager()

    exported = Exported(
        "twice_closed",
        key=("task", "second"),
        meanings={
            "task": _("the check"),
            "first": _("the visit that closed it first"),
            "second": _("the visit that closed it again"),
            "decided_by": _("who decided"),
        },
    )

    class Meta:
        verbose_name = _("check closed twice")
        verbose_name_plural = _("checks closed twice")
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["task", "second"], name="twice_closed_once")]

    def __str__(self) -> str:
        return f"{self.task} closed twice"

    def get_absolute_url(self) -> str:
        return reverse("twice-closed", args=[self.pk])
