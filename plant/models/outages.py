"""When a belt may be locked out, and what else was changed on it."""

from __future__ import annotations

import datetime as dt
from typing import Any, Self

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.calc.moments import MomentKind

from .base import AnyModel, PlantQuerySet, Record
from .conveyors import Conveyor
from .exported import Exported
from .plants import Plant


class ConveyorRowQuerySet(PlantQuerySet[AnyModel]):
    plant_path = "conveyor__plant"

    def visible_to(self, person: Any) -> Self:
        return self.filter(conveyor__in=Conveyor.objects.visible_to(person))


class OutageWindowQuerySet(ConveyorRowQuerySet["OutageWindow"]):
    def ahead(self, now: dt.datetime) -> Self:
        return self.filter(ends_at__gt=now).order_by("starts_at")


class OutageWindow(Record):
    """A time when a belt may be locked out. It is a plan, never a permit."""

    conveyor = models.ForeignKey(
        Conveyor, verbose_name=_("conveyor"), on_delete=models.CASCADE, related_name="outage_windows"
    )
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("to"))
    reason = models.CharField(_("reason"), max_length=200, blank=True)

    moments = {"starts_at": MomentKind.PLANNED, "ends_at": MomentKind.PLANNED}

    objects = OutageWindowQuerySet.as_manager()

    exported = Exported("outage_windows")

    class Meta:
        verbose_name = _("outage window")
        verbose_name_plural = _("outage windows")
        ordering = ["starts_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")), name="outage_ends_after_start"
            )
        ]

    def __str__(self) -> str:
        return f"{self.conveyor.tag} {self.starts_at:%Y-%m-%d %H:%M}"

    def get_absolute_url(self) -> str:
        return reverse("outage-detail", args=[self.pk])

    @property
    def plant(self) -> Plant:
        return self.conveyor.plant


class BeltChange(Record):
    """Work that changes how a belt tracks by itself: it cuts the windows of a comparison."""

    class Kind(models.TextChoices):
        BELT = "belt", _("belt replaced")
        SPLICE = "splice", _("splice renewed")
        CHUTE = "chute", _("chute or loading changed")
        IDLERS = "idlers", _("idlers changed or aligned")
        PULLEY = "pulley", _("pulley or lagging")
        TAKE_UP = "take_up", _("take-up or tension")
        SWITCH = "switch", _("drift switch moved or set")
        OTHER = "other", _("other")

    conveyor = models.ForeignKey(
        Conveyor, verbose_name=_("conveyor"), on_delete=models.CASCADE, related_name="belt_changes"
    )
    changed_at = models.DateTimeField(_("when"))
    kind = models.CharField(_("what"), max_length=20, choices=Kind)
    chainage_m = models.FloatField(_("chainage, where it is at one place"), null=True, blank=True)
    description = models.CharField(_("description"), max_length=300)
    cuts_comparison = models.BooleanField(
        _("ends comparisons across it"),
        default=True,
        help_text=_("Yes for work that changes tracking by itself; no for a note such as a seized idler reported."),
    )

    moments = {"changed_at": MomentKind.HAPPENED}

    objects = ConveyorRowQuerySet.as_manager()

    exported = Exported("belt_changes")

    class Meta:
        verbose_name = _("change to a belt")
        verbose_name_plural = _("changes to belts")
        ordering = ["-changed_at"]

    def __str__(self) -> str:
        return f"{self.conveyor.tag} {self.get_kind_display()} {self.changed_at:%Y-%m-%d}"

    def get_absolute_url(self) -> str:
        return reverse("belt-change-detail", args=[self.pk])

    @property
    def plant(self) -> Plant:
        return self.conveyor.plant
