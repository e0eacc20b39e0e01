"""Exposure: how long a belt moved under power, and how much of the time is known."""

from __future__ import annotations

from typing import Any, Self

from django.core.validators import MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from plant.calc.moments import MomentKind

from .base import AnyModel, EntryQuerySet, ImportedEntry
from .conveyors import Conveyor
from .exported import Exported
from .plants import Plant


class HoursQuerySet(EntryQuerySet[AnyModel]):
    plant_path = "conveyor__plant"

    def visible_to(self, person: Any) -> Self:
        return self.filter(conveyor__in=Conveyor.objects.visible_to(person))


class RunRecord(ImportedEntry):
    """A span of time with the hours that the belt ran in it."""

    class Kind(models.TextChoices):
        RUNNING = "running", _("ran all the while")
        TOTAL = "total", _("hours in a span")
        NO_DATA = "no_data", _("nothing is known")

    conveyor = models.ForeignKey(
        Conveyor, verbose_name=_("conveyor"), on_delete=models.CASCADE, related_name="run_records"
    )
    kind = models.CharField(_("kind"), max_length=10, choices=Kind, default=Kind.TOTAL)
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("to"))
    running_h = models.FloatField(_("running hours"), default=0, validators=[MinValueValidator(0)])
    source = models.CharField(_("source"), max_length=60, blank=True)

    moments = {"starts_at": MomentKind.SHIFT, "ends_at": MomentKind.SHIFT}

    objects = HoursQuerySet.as_manager()

    exported = Exported("running_hours")

    class Meta:
        verbose_name = _("running hours")
        verbose_name_plural = _("running hours")
        ordering = ["-starts_at"]
        indexes = [
            # The ledger reads one belt's spans in order.
            models.Index(fields=["conveyor", "starts_at"], name="run_record_ledger"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")), name="run_record_ends_after_start"
            ),
            models.CheckConstraint(condition=models.Q(running_h__gte=0), name="run_record_hours_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.conveyor.tag} {self.starts_at:%Y-%m-%d} {self.running_h:.1f} h"

    @property
    def plant(self) -> Plant:
        return self.conveyor.plant


class MeterReading(ImportedEntry):
    """What the hour meter of a belt showed."""

    class Event(models.TextChoices):
        NORMAL = "normal", _("reading")
        LAST_OF_OLD = "last_of_old", _("last reading of the old meter")
        FIRST_OF_NEW = "first_of_new", _("first reading of the new meter")

    conveyor = models.ForeignKey(
        Conveyor, verbose_name=_("conveyor"), on_delete=models.CASCADE, related_name="meter_readings"
    )
    read_at = models.DateTimeField(_("read at"))
    reading_h = models.FloatField(_("meter shows"), validators=[MinValueValidator(0)])
    event = models.CharField(_("what"), max_length=20, choices=Event, default=Event.NORMAL)
    note = models.CharField(_("note"), max_length=200, blank=True)

    moments = {"read_at": MomentKind.HAPPENED}

    objects = HoursQuerySet.as_manager()

    exported = Exported("meter_readings")

    class Meta:
        verbose_name = _("meter reading")
        verbose_name_plural = _("meter readings")
        ordering = ["-read_at"]
        indexes = [models.Index(fields=["conveyor", "read_at"], name="meter_reading_ledger")]
        constraints = [models.CheckConstraint(condition=models.Q(reading_h__gte=0), name="meter_reading_not_negative")]

    def __str__(self) -> str:
        return f"{self.conveyor.tag} {self.read_at:%Y-%m-%d} {self.reading_h:.1f} h"

    @property
    def plant(self) -> Plant:
        return self.conveyor.plant
