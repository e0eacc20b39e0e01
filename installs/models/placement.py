"""What people add to the search for places: where the wander is logged by eye, and causes that hold nothing back."""

from __future__ import annotations

from datetime import date
from typing import Any, Self

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.calc.moments import MomentKind
from plant.models import Conveyor, Plant, PlantQuerySet, Record, Strand
from plant.models.exported import Exported


class OnBeltQuerySet(PlantQuerySet[Any]):
    """Records that belong to a conveyor and with it to a plant."""

    plant_path = "conveyor__plant"


class LoggedStationQuerySet(OnBeltQuerySet):
    def logged_on(self, day: date) -> Self:
        """Stations at which people log on this day."""
        return self.filter(Q(to_on__isnull=True) | Q(to_on__gte=day), from_on__lte=day)


class LoggedStation(Record):
    """A place without a drift switch where people log how the belt runs: an incident there is seen all the same."""

    conveyor = models.ForeignKey(
        Conveyor, verbose_name=_("conveyor"), on_delete=models.PROTECT, related_name="logged_stations", editable=False
    )
    strand = models.CharField(_("strand"), max_length=10, choices=Strand, default=Strand.RETURN)
    chainage_m = models.FloatField(_("chainage"), validators=[MinValueValidator(0)])
    from_on = models.DateField(_("logged since"))
    to_on = models.DateField(_("logged until"), null=True, blank=True)
    logged_by = models.CharField(_("who logs it"), max_length=120)
    note = models.CharField(_("how"), max_length=200, blank=True)

    moments = {"from_on": MomentKind.HAPPENED, "to_on": MomentKind.PLANNED}

    objects = LoggedStationQuerySet.as_manager()

    exported = Exported("logged_stations")

    class Meta:
        verbose_name = _("logged station")
        verbose_name_plural = _("logged stations")
        ordering = ["conveyor__tag", "strand", "chainage_m", "from_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(to_on__isnull=True) | Q(to_on__gte=F("from_on")), name="logged_station_order"
            ),
            models.CheckConstraint(condition=Q(chainage_m__gte=0), name="logged_station_chainage_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.conveyor.tag} {self.strand} {self.chainage_m:g} m"

    def get_absolute_url(self) -> str:
        return f"{reverse('placement-conveyor', args=[self.conveyor_id])}#stations"

    @property
    def plant(self) -> Plant:
        return self.conveyor.plant


class CauseOverride(Record):
    """Why a device may be placed on a stretch before a cause is cured that was found or is suspected there."""

    conveyor = models.ForeignKey(
        Conveyor, verbose_name=_("conveyor"), on_delete=models.PROTECT, related_name="cause_overrides", editable=False
    )
    strand = models.CharField(_("strand"), max_length=10, choices=Strand, default=Strand.RETURN)
    low_m = models.FloatField(_("for places from"), validators=[MinValueValidator(0)])
    high_m = models.FloatField(_("to"), validators=[MinValueValidator(0)])
    reason = models.CharField(_("why not cure it first"), max_length=300)
    ended_on = models.DateField(_("no longer holds since"), null=True, blank=True)

    moments = {"ended_on": MomentKind.PLANNED}

    objects = OnBeltQuerySet.as_manager()

    exported = Exported("cause_overrides")

    class Meta:
        verbose_name = _("reason to place before a cause is cured")
        verbose_name_plural = _("reasons to place before a cause is cured")
        ordering = ["conveyor__tag", "strand", "low_m"]
        constraints = [models.CheckConstraint(condition=Q(high_m__gte=F("low_m")), name="cause_override_order")]

    def __str__(self) -> str:
        return f"{self.conveyor.tag} {self.strand} {self.low_m:g} to {self.high_m:g} m"

    def get_absolute_url(self) -> str:
        return f"{reverse('placement-conveyor', args=[self.conveyor_id])}#overrides"

    @property
    def plant(self) -> Plant:
        return self.conveyor.plant
