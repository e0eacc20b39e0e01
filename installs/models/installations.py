"""Installations: one device in one place for one period."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any, Self

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from installs.calc.specs import DeviceSpec, spec_from
from plant.calc.moments import MomentKind
from plant.models import Conveyor, Entry, EntryQuerySet, Plant, PlantQuerySet, Record, Side, Strand
from plant.models.exported import Exported

from .device_models import ModelSheet
from .devices import Device


class InstallationQuerySet(PlantQuerySet["Installation"]):
    def in_place_at(self, moment: dt.datetime) -> Self:
        """Installations that stood at this moment."""
        return self.filter(Q(removed_at__isnull=True) | Q(removed_at__gt=moment), installed_at__lte=moment)

    def in_place(self) -> Self:
        return self.filter(removed_at__isnull=True)

    def out_of_service_now(self) -> Self:
        """Installations with a spell out of service that has not ended."""
        return self.filter(Exists(OutOfService.objects.filter(installation=OuterRef("pk"), ends_at__isnull=True)))

    def in_service(self) -> Self:
        """Installations that stand in their place and are not out of service."""
        return self.in_place().exclude(
            Exists(OutOfService.objects.filter(installation=OuterRef("pk"), ends_at__isnull=True))
        )

    def on_strand(self, conveyor: Conveyor, strand: str) -> Self:
        return self.filter(conveyor=conveyor, strand=strand)


class InstallationPartQuerySet(PlantQuerySet[Any]):
    """Records that belong to an installation and with it to a plant."""

    plant_path = "installation__plant"


class InstallationEntryQuerySet(EntryQuerySet[Any]):
    """Entries that belong to an installation and with it to a plant."""

    plant_path = "installation__plant"


class Installation(Record):
    """A device in a place from `installed_at` until `removed_at`. Overlaps are refused by the data base."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="installations", editable=False)
    device = models.ForeignKey(Device, verbose_name=_("device"), on_delete=models.PROTECT, related_name="installations")
    conveyor = models.ForeignKey(
        Conveyor, verbose_name=_("conveyor"), on_delete=models.PROTECT, related_name="installations"
    )
    strand = models.CharField(_("strand"), max_length=10, choices=Strand, default=Strand.RETURN)
    chainage_m = models.FloatField(_("chainage"), validators=[MinValueValidator(0)])
    # The version of the model's sheet that it was fitted to; empty for one from before versions were kept.
    sheet = models.ForeignKey(
        ModelSheet, null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="installations"
    )
    installed_at = models.DateTimeField(_("in service since"))
    removed_at = models.DateTimeField(_("removed"), null=True, blank=True)
    removal_reason = models.CharField(_("why it was removed"), max_length=200, blank=True)
    # As long as the survey's access and the open points of a hand-over, which are taken over whole.
    access = models.CharField(_("access"), max_length=200, blank=True, help_text=_("For example: drive side walkway."))
    note = models.CharField(_("note"), max_length=1000, blank=True)

    moments = {"installed_at": MomentKind.HAPPENED, "removed_at": MomentKind.HAPPENED}

    objects = InstallationQuerySet.as_manager()

    exported = Exported("installations", meanings={"sheet": _("the version of the spec sheet that it was fitted to")})

    class Meta:
        verbose_name = _("installation")
        verbose_name_plural = _("installations")
        ordering = ["conveyor__tag", "chainage_m"]
        permissions = [("view_placement", "Can see where the next device should go")]
        indexes = [models.Index(fields=["conveyor", "strand", "installed_at"], name="installation_on_strand")]
        constraints = [
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True) | Q(removed_at__gt=models.F("installed_at")),
                name="installation_removed_after_installed",
            ),
            models.CheckConstraint(condition=Q(chainage_m__gte=0), name="installation_chainage_not_negative"),
            # A second line of defence that every data base knows; overlaps of closed periods are refused by
            # migration 0002 (exclusion constraints on PostgreSQL, triggers on SQLite).
            models.UniqueConstraint(
                fields=["device"], condition=Q(removed_at__isnull=True), name="device_in_one_place"
            ),
            models.UniqueConstraint(
                fields=["conveyor", "strand", "chainage_m"],
                condition=Q(removed_at__isnull=True),
                name="place_holds_one_device",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.conveyor.tag} device {self.device.number}"

    def get_absolute_url(self) -> str:
        return reverse("installation-detail", args=[self.pk])

    @cached_property
    def spec(self) -> DeviceSpec:
        """What holds for this device: the version of the sheet that it was fitted to, else the model as it stands."""
        if self.sheet is not None:
            return spec_from(self.sheet.content)
        model = self.device.device_model
        return spec_from({**vars(model), "fasteners": [vars(each) for each in model.fasteners.all()]})

    @property
    def stated(self) -> Mapping[str, Any]:
        """Single figures of the sheet that holds; no query where sheet, device and model were loaded along."""
        return self.sheet.content if self.sheet is not None else vars(self.device.device_model)

    @property
    def effect_length_m(self) -> float:
        """What its sheet states, else the plant's start value (common practice, no source)."""
        return self.stated.get("effect_length_m") or self.plant.effect_length_m


class OutOfService(Record):
    """A spell in which a device stands in its place but does not work: its checks rest, no effect is claimed."""

    installation = models.ForeignKey(
        Installation, on_delete=models.PROTECT, related_name="out_of_service", editable=False
    )
    begins_at = models.DateTimeField(_("out of service since"))
    ends_at = models.DateTimeField(_("back in service"), null=True, blank=True)
    reason = models.CharField(_("reason"), max_length=200)

    moments = {"begins_at": MomentKind.HAPPENED, "ends_at": MomentKind.HAPPENED}

    objects = InstallationPartQuerySet.as_manager()

    exported = Exported("out_of_service", meanings={"installation": _("the device in its place")})

    class Meta:
        verbose_name = _("spell out of service")
        verbose_name_plural = _("spells out of service")
        ordering = ["-begins_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_at__isnull=True) | Q(ends_at__gt=models.F("begins_at")), name="out_of_service_order"
            ),
            models.UniqueConstraint(
                fields=["installation"], condition=Q(ends_at__isnull=True), name="out_of_service_one_open"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.installation} out of service since {self.begins_at:%Y-%m-%d}"

    @property
    def plant(self) -> Plant:
        return self.installation.plant


class PartChange(Entry):
    """A part of a device was changed: its trend and its bedding-in begin anew."""

    class Part(models.TextChoices):
        SENSOR_ROLLERS = "sensor_rollers", _("sensor rollers")
        PIVOT = "pivot", _("pivot")
        STEERING_ROLLER = "steering_roller", _("steering roller")
        FASTENERS = "fasteners", _("fasteners")
        BRACKETS = "brackets", _("brackets")
        OTHER = "other", _("other part")

    class Why(models.TextChoices):
        WORN = "worn", _("worn to its limit")
        FAILED = "failed", _("failed")
        SEIZED = "seized", _("seized")
        DAMAGED = "damaged", _("damaged from outside")
        EARLY = "early", _("changed early, still sound")

    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="part_changes")
    part = models.CharField(_("part"), max_length=20, choices=Part)
    side = models.CharField(_("side"), max_length=10, choices=Side, blank=True, help_text=_("Empty: both sides."))
    why = models.CharField(_("why"), max_length=10, choices=Why)
    changed_at = models.DateTimeField(_("when"))
    note = models.CharField(_("note"), max_length=300, blank=True)

    moments = {"changed_at": MomentKind.HAPPENED}

    objects = InstallationEntryQuerySet.as_manager()

    exported = Exported("part_changes", meanings={"installation": _("the device in its place")})

    class Meta:
        verbose_name = _("part change")
        verbose_name_plural = _("part changes")
        ordering = ["-changed_at"]
        indexes = [models.Index(fields=["installation", "part", "-changed_at"], name="part_change_last")]

    def __str__(self) -> str:
        return f"{self.get_part_display()} at {self.installation} {self.changed_at:%Y-%m-%d}"

    @property
    def plant(self) -> Plant:
        return self.installation.plant
