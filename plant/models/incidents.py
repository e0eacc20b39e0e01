"""Incidents of mistracking, and the raw switch events that some of them come from."""

from __future__ import annotations

import datetime as dt
from typing import Any, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.calc.calendar import local_day_bounds
from plant.calc.moments import MomentKind

from .base import EntryQuerySet, ImportedEntry
from .conveyors import Conveyor, ConveyorPart, Side, Strand
from .exported import Exported
from .photos import Photo
from .plants import Plant


def surely_before(moment: dt.datetime, zone: dt.tzinfo) -> models.Q:
    """Incidents before a moment, without those of which only the day is known and the moment lies within it.

    What was entered by then had happened by then.
    """
    start = local_day_bounds(moment.astimezone(zone).date(), zone)[0]
    is_told = models.Q(time_is_known=True) | models.Q(happened_at__lt=start) | models.Q(created_at__lte=moment)
    return models.Q(happened_at__lt=moment) & is_told


class IncidentQuerySet(EntryQuerySet["Incident"]):
    def between(self, start: dt.datetime, end: dt.datetime) -> Self:
        return self.filter(happened_at__gte=start, happened_at__lt=end)

    def surely_before(self, moment: dt.datetime, zone: dt.tzinfo) -> Self:
        return self.filter(surely_before(moment, zone))

    def in_the_days_before(self, moment: dt.datetime, days: int) -> dict[str, Any]:
        """How many there were, and how many of them stopped a belt."""
        return self.between(moment - dt.timedelta(days=days), moment).aggregate(
            n=models.Count("pk"), stops=models.Count("pk", filter=models.Q(severity=Incident.Severity.TRIP))
        )

    def on_strand(self, conveyor: Conveyor, strand: str) -> Self:
        return self.filter(conveyor=conveyor, strand=strand)


class Incident(ImportedEntry):
    """One recorded episode in which the belt ran off its centre line."""

    class Severity(models.TextChoices):
        DRIFT = "drift", _("drift: off centre, nothing touched")
        CONTACT = "contact", _("contact: edge touched structure")
        SPILL = "spill", _("spill")
        TRIP = "trip", _("trip: drift switch stopped the belt")
        DAMAGE = "damage", _("damage: belt or structure needs repair")

    class Source(models.TextChoices):
        SWITCH = "switch", _("drift switch")
        LOG = "log", _("shift log")
        PERSON = "person", _("seen by a person")

    class Cause(models.TextChoices):
        UNKNOWN = "unknown", _("unknown")
        LOAD = "load", _("load off centre")
        ALIGNMENT = "alignment", _("idlers or pulleys out of square")
        SEIZED = "seized", _("seized or missing idler")
        BUILD_UP = "build_up", _("build-up")
        SPLICE = "splice", _("crooked splice")
        BELT = "belt", _("cupped, bowed or damaged belt")
        STRUCTURE = "structure", _("structure out of line")
        WEATHER = "weather", _("wind, water or frost")
        TENSION = "tension", _("take-up or tension")
        DEVICE = "device", _("the tracking device itself")
        SWITCH = "switch", _("switch out of place or stuck")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="incidents", editable=False)
    conveyor = models.ForeignKey(
        Conveyor, verbose_name=_("conveyor"), on_delete=models.PROTECT, related_name="incidents"
    )
    # Where only the day is known, the first instant of that day by the plant's clock.
    happened_at = models.DateTimeField(_("when"))
    time_is_known = models.BooleanField(_("time of day is known"), default=True)
    strand = models.CharField(_("strand"), max_length=10, choices=Strand, blank=True)
    chainage_m = models.FloatField(
        _("chainage"),
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
        help_text=_("Where the edge was off, or where the switch stands. Leave empty where nobody knows."),
    )
    side = models.CharField(_("side"), max_length=10, choices=Side, blank=True)
    offset_mm = models.FloatField(
        _("offset from the centre line"),
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(3000)],
    )
    severity = models.CharField(_("severity"), max_length=10, choices=Severity, default=Severity.DRIFT)
    consequence = models.CharField(_("consequence"), max_length=300, blank=True)
    minutes_lost = models.FloatField(_("minutes lost"), null=True, blank=True, validators=[MinValueValidator(0)])
    spilled_t = models.FloatField(_("spilled"), null=True, blank=True, validators=[MinValueValidator(0)])
    was_loaded = models.BooleanField(_("belt was loaded"), null=True, blank=True)
    suspected_cause = models.CharField(_("suspected cause"), max_length=20, choices=Cause, default=Cause.UNKNOWN)
    source = models.CharField(_("source"), max_length=10, choices=Source, default=Source.PERSON)
    note = models.TextField(_("note"), blank=True, max_length=2000)
    photos = models.ManyToManyField(Photo, blank=True, related_name="incidents")

    moments = {"happened_at": MomentKind.HAPPENED}

    objects = IncidentQuerySet.as_manager()

    exported = Exported("incidents", units={"minutes_lost": "min"})

    class Meta:
        verbose_name = _("incident")
        verbose_name_plural = _("incidents")
        ordering = ["-happened_at"]
        indexes = [
            # The list of a plant, newest first.
            models.Index(fields=["plant", "-happened_at"], name="incident_list"),
            # Counts on a strand of a belt in a window.
            models.Index(fields=["conveyor", "strand", "happened_at"], name="incident_window"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(chainage_m__isnull=True) | models.Q(chainage_m__gte=0),
                name="incident_chainage_not_negative",
            )
        ]

    def __str__(self) -> str:
        when = f"{self.happened_at:%Y-%m-%d %H:%M}" if self.time_is_known else self.happened_on.isoformat()
        return f"{self.conveyor.tag} {when} {self.severity}"

    @property
    def happened_on(self) -> dt.date:
        """The day by the plant's clock."""
        return self.happened_at.astimezone(self.plant.zone).date()

    def get_absolute_url(self) -> str:
        return reverse("incident-detail", args=[self.pk])


class SwitchEventQuerySet(models.QuerySet["SwitchEvent"]):
    def visible_to(self, person: Any) -> Self:
        return self.filter(drift_switch__conveyor__in=Conveyor.objects.visible_to(person))


class SwitchEvent(models.Model):
    """A drift switch went on or off, as the control system wrote it down."""

    drift_switch = models.ForeignKey(ConveyorPart, on_delete=models.CASCADE, related_name="switch_events")
    at = models.DateTimeField(_("at"))
    is_on = models.BooleanField(_("on"))
    side = models.CharField(_("side"), max_length=10, choices=Side, blank=True)

    objects = SwitchEventQuerySet.as_manager()

    exported = Exported(
        "switch_events",
        key=("drift_switch", "at", "is_on", "side"),
        plant_path="drift_switch__conveyor__plant",
        meanings={"drift_switch": _("the drift switch")},
    )

    class Meta:
        verbose_name = _("switch event")
        verbose_name_plural = _("switch events")
        ordering = ["at"]
        constraints = [
            # A repeated export of the same rows changes nothing.
            models.UniqueConstraint(fields=["drift_switch", "at", "is_on", "side"], name="switch_event_once")
        ]

    def __str__(self) -> str:
        return f"{self.drift_switch} {self.at:%Y-%m-%d %H:%M:%S} {'on' if self.is_on else 'off'}"
