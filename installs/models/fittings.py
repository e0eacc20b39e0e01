"""Fittings: the job of putting a device in its place, from the plan over the lockout to the hand-over.

A fitting becomes an installation when it is accepted and handed over; until then no check is due and no clock runs.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any, Self

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from installs.calc.adjustments import Adjustment
from installs.calc.specs import DeviceSpec, spec_from
from plant.calc.moments import MomentKind
from plant.models import Conveyor, Entry, EntryQuerySet, OutageWindow, Photo, Plant, PlantQuerySet, Record, Side, Strand
from plant.models.exported import Exported

from .device_models import DeviceModel, Fastener, ModelPart, ModelSheet
from .devices import Device
from .installations import Installation
from .instruments import Instrument
from .surveys import Survey


class FittingQuerySet(PlantQuerySet["Fitting"]):
    def open(self) -> Self:
        return self.filter(handed_over_at__isnull=True, given_up_at__isnull=True)

    def with_place(self) -> Self:
        return self.select_related(
            "plant",
            "conveyor__area",
            "conveyor__plant",
            "device__device_model",
            "device_model",
            "outage_window",
            "survey",
            "sheet",
        )


class Fitting(Record):
    """One job. Its state is read from its dates: planned, begun, accepted, handed over, given up."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="fittings", editable=False)
    conveyor = models.ForeignKey(
        Conveyor, verbose_name=_("conveyor"), on_delete=models.PROTECT, related_name="fittings"
    )
    strand = models.CharField(_("strand"), max_length=10, choices=Strand, default=Strand.RETURN)
    chainage_m = models.FloatField(_("chainage"), validators=[MinValueValidator(0)])
    device_model = models.ForeignKey(
        DeviceModel, verbose_name=_("model"), on_delete=models.PROTECT, related_name="fittings"
    )
    device = models.ForeignKey(
        Device, verbose_name=_("device"), null=True, blank=True, on_delete=models.PROTECT, related_name="fittings"
    )
    survey = models.ForeignKey(
        Survey, verbose_name=_("survey"), null=True, blank=True, on_delete=models.PROTECT, related_name="fittings"
    )
    # The version of the model's sheet that it is fitted to; set when the job begins.
    sheet = models.ForeignKey(
        ModelSheet, null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="fittings"
    )
    outage_window = models.ForeignKey(
        OutageWindow,
        verbose_name=_("outage window"),
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="fittings",
    )
    planned_at = models.DateTimeField(_("planned start"), null=True, blank=True)
    # Half a shift for each device: common practice, no source.
    duration_h = models.FloatField(
        _("duration [h]"), default=4, validators=[MinValueValidator(0.25), MaxValueValidator(240)]
    )
    crew = models.ManyToManyField(settings.AUTH_USER_MODEL, verbose_name=_("crew"), blank=True, related_name="fittings")
    # The same in words: links to people have no history of their own, a line of text has.
    crew_names = models.CharField(_("crew"), max_length=300, blank=True, editable=False)
    permit_reference = models.CharField(_("permit reference"), max_length=60, blank=True)
    # The offset that trial runs are accepted against; empty: the plant's permitted run-off.
    target_offset_mm = models.FloatField(
        _("offset to be met at every station"), null=True, blank=True, validators=[MinValueValidator(1)]
    )
    note = models.CharField(_("note"), max_length=300, blank=True)
    begun_at = models.DateTimeField(_("begun"), null=True, blank=True, editable=False)
    accepted_at = models.DateTimeField(_("accepted"), null=True, blank=True, editable=False)
    accepted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="+"
    )
    # Why it was accepted although a station was beyond the target or work was open, or what was said with it.
    accepted_reason = models.CharField(max_length=300, blank=True, editable=False)
    handed_over_at = models.DateTimeField(_("handed over"), null=True, blank=True, editable=False)
    handed_over_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="+"
    )
    handed_over_to = models.CharField(_("handed over to"), max_length=120, blank=True, editable=False)
    open_points = models.CharField(_("open points"), max_length=1000, blank=True, editable=False)
    given_up_at = models.DateTimeField(_("given up"), null=True, blank=True, editable=False)
    given_up_reason = models.CharField(_("why it was given up"), max_length=300, blank=True, editable=False)
    installation = models.OneToOneField(
        Installation, null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="fitting"
    )

    moments = {"planned_at": MomentKind.PLANNED}

    objects = FittingQuerySet.as_manager()

    exported = Exported(
        "fittings",
        meanings={
            "sheet": _("the version of the spec sheet that it is fitted to"),
            "accepted_by": _("who accepted it"),
            "accepted_reason": _("why it was accepted although something was open, or what was said with it"),
            "handed_over_by": _("who handed it over"),
            "installation": _("what it became"),
        },
    )

    class Meta:
        verbose_name = _("fitting")
        verbose_name_plural = _("fittings")
        ordering = ["planned_at", "pk"]
        permissions = [("do_fitting", "Can do the job: measures, hold points, trial runs, hand-over")]
        indexes = [models.Index(fields=["plant", "planned_at"], name="fitting_list")]
        constraints = [
            models.CheckConstraint(
                condition=Q(handed_over_at__isnull=True)
                | Q(accepted_at__isnull=False, installation__isnull=False, given_up_at__isnull=True),
                name="fitting_handed_over_after_acceptance",
            )
        ]

    def __str__(self) -> str:
        return f"{self.conveyor.tag} {self.strand} {self.chainage_m:g} m"

    def get_absolute_url(self) -> str:
        return reverse("fitting-detail", args=[self.pk])

    @property
    def planned_span(self) -> tuple[dt.datetime, dt.datetime] | None:
        """When its crew is at the job by the plan; None where no time is planned, or once it is accepted or over."""
        is_over = self.accepted_at or self.handed_over_at or self.given_up_at
        if self.planned_at is None or is_over:
            return None
        return self.planned_at, self.planned_at + dt.timedelta(hours=self.duration_h)

    @cached_property
    def spec(self) -> DeviceSpec:
        """What holds: the version of the sheet that the job is fitted to; before it began the model as it is."""
        if self.sheet is not None:
            return spec_from(self.sheet.content)
        model = self.device_model
        return spec_from({**vars(model), "fasteners": [vars(each) for each in model.fasteners.all()]})

    @property
    def stated(self) -> Mapping[str, Any]:
        """Single figures of the sheet that holds."""
        return self.sheet.content if self.sheet is not None else vars(self.device_model)


class FittingPartQuerySet(PlantQuerySet[Any]):
    """Records that belong to a fitting and with it to a plant."""

    plant_path = "fitting__plant"


class FittingEntryQuerySet(EntryQuerySet[Any]):
    """Entries that belong to a fitting and with it to a plant."""

    plant_path = "fitting__plant"


class FittingNeed(Record):
    """A part, tool or lifting aid that the job needs, and how many are at hand."""

    fitting = models.ForeignKey(Fitting, on_delete=models.CASCADE, related_name="needs", editable=False)
    kind = models.CharField(_("what"), max_length=10, choices=ModelPart.Kind, default=ModelPart.Kind.PART)
    name = models.CharField(_("name"), max_length=80)
    needed = models.PositiveSmallIntegerField(_("needed"), default=1)
    at_hand = models.PositiveSmallIntegerField(_("at hand"), default=0)
    note = models.CharField(_("note"), max_length=120, blank=True)

    objects = FittingPartQuerySet.as_manager()

    exported = Exported(
        "fitting_needs",
        key=("fitting", "kind", "name"),
        meanings={"fitting": _("the fitting")},
        units={"needed": "1", "at_hand": "1"},
    )

    class Meta:
        verbose_name = _("need of a fitting")
        verbose_name_plural = _("needs of fittings")
        ordering = ["kind", "pk"]
        constraints = [models.UniqueConstraint(fields=["fitting", "kind", "name"], name="fitting_need_once")]

    def __str__(self) -> str:
        return f"{self.name}: {self.at_hand} of {self.needed}"

    @property
    def plant(self) -> Plant:
        return self.fitting.plant

    @property
    def is_missing(self) -> bool:
        return self.at_hand < self.needed


class Isolation(Record):
    """The belt isolated once for this job: one record for each adjustment cycle. It is a record, never an interlock."""

    fitting = models.ForeignKey(Fitting, on_delete=models.PROTECT, related_name="isolations", editable=False)
    cycle = models.PositiveSmallIntegerField(_("cycle"), editable=False)
    isolated_at = models.DateTimeField(_("isolated"))
    isolated_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", editable=False
    )
    points = models.CharField(_("isolation points and locks"), max_length=300)
    energies = models.CharField(_("stored energies dealt with"), max_length=300, blank=True)
    tried_start = models.BooleanField(_("start was tried"), default=False)
    permit_reference = models.CharField(_("permit reference"), max_length=60, blank=True)
    people = models.ManyToManyField(settings.AUTH_USER_MODEL, verbose_name=_("people with a lock"), related_name="+")
    other_people = models.CharField(_("others with a lock"), max_length=200, blank=True)
    # What was moved in this cycle, as it was read on both sides. Of records from before both were kept the off side is
    # not known, and stays so.
    adjustment_mm = models.FloatField(_("adjustment, in on the drive side positive"), null=True, blank=True)
    adjustment_off_mm = models.FloatField(_("adjustment, out on the off side positive"), null=True, blank=True)
    adjustment_note = models.CharField(_("what was adjusted"), max_length=300, blank=True)
    released_at = models.DateTimeField(_("locks handed back"), null=True, blank=True, editable=False)
    released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="+"
    )

    moments = {"isolated_at": MomentKind.HAPPENED}

    objects = FittingPartQuerySet.as_manager()

    exported = Exported(
        "isolations",
        key=("fitting", "cycle"),
        meanings={
            "fitting": _("the fitting"),
            "isolated_by": _("who isolated"),
            "released_by": _("who handed the locks back"),
        },
        units={"cycle": "1"},
    )

    class Meta:
        verbose_name = _("isolation")
        verbose_name_plural = _("isolations")
        ordering = ["cycle"]
        constraints = [
            models.UniqueConstraint(fields=["fitting", "cycle"], name="isolation_cycle_once"),
            models.CheckConstraint(
                condition=Q(released_at__isnull=True) | Q(released_at__gte=models.F("isolated_at")),
                name="isolation_released_after_isolated",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.fitting} isolation {self.cycle}"

    @property
    def plant(self) -> Plant:
        return self.fitting.plant

    @property
    def adjustment(self) -> Adjustment | None:
        """What was moved under this isolation; None where nothing is recorded."""
        return None if self.adjustment_mm is None else Adjustment(self.adjustment_mm, self.adjustment_off_mm)


class HoldPoint(Entry):
    """A point at which the job waits until a person has confirmed it, or has said why it is passed over."""

    class Point(models.TextChoices):
        LOCKOUT = "lockout", _("lockout confirmed by the site's procedure")
        PARTS = "parts", _("parts and fasteners complete")
        RESTRAINT = "restraint", _("transport restraint removed, frame swings freely")
        CLEAR = "clear", _("clear of structure over the whole pivot range")
        GUARDS = "guards", _("guards back")
        PEOPLE = "people", _("people clear")
        LOCKS = "locks", _("locks handed back")

    fitting = models.ForeignKey(Fitting, on_delete=models.PROTECT, related_name="hold_points")
    point = models.CharField(_("hold point"), max_length=12, choices=Point)
    # 1 for the fitting itself; each adjustment is a cycle with its own lockout, guards, people and locks.
    cycle = models.PositiveSmallIntegerField(_("cycle"), default=1)
    confirmed_at = models.DateTimeField(_("when"))
    confirmed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    passed_over_reason = models.CharField(_("why it is passed over"), max_length=300, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    photo = models.ForeignKey(Photo, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    moments = {"confirmed_at": MomentKind.HAPPENED}

    objects = FittingEntryQuerySet.as_manager()

    exported = Exported(
        "hold_points",
        meanings={
            "fitting": _("the fitting"),
            "confirmed_by": _("who confirmed it"),
            "photo": _("a photo with it"),
        },
        units={"cycle": "1"},
    )

    class Meta:
        verbose_name = _("hold point")
        verbose_name_plural = _("hold points")
        ordering = ["confirmed_at", "pk"]
        indexes = [models.Index(fields=["fitting", "cycle", "point"], name="hold_point_of_fitting")]

    def __str__(self) -> str:
        return f"{self.fitting}: {self.get_point_display()}"

    @property
    def plant(self) -> Plant:
        return self.fitting.plant


class TrialRun(Entry):
    """The belt run for a look, empty or loaded, with its offsets at stations (BeltOffset rows)."""

    class FramePosition(models.TextChoices):
        CENTRED = "centred", _("about centred, moves both ways")
        DRIVE = "drive", _("held towards the drive side")
        OFF = "off", _("held towards the off side")
        HUNTING = "hunting", _("swings to and fro")

    fitting = models.ForeignKey(Fitting, on_delete=models.PROTECT, related_name="trial_runs")
    cycle = models.PositiveSmallIntegerField(_("after cycle"))
    is_loaded = models.BooleanField(_("belt loaded"), default=False)
    started_at = models.DateTimeField(_("started"))
    minutes = models.FloatField(_("minutes watched"), validators=[MinValueValidator(0.1), MaxValueValidator(1440)])
    frame_position = models.CharField(_("frame"), max_length=10, choices=FramePosition, blank=True)
    touches_structure = models.BooleanField(_("something touches the structure"), default=False)
    is_noisy = models.BooleanField(_("unusual noise"), default=False)
    note = models.CharField(_("note"), max_length=400, blank=True)
    # Why these times cannot be, as it was found when the run was entered (rules and values of the calculation), and why
    # the person let them stand.
    time_doubts = models.JSONField(default=list, blank=True, editable=False)
    time_reason = models.CharField(_("why these times stand"), max_length=300, blank=True)
    photos = models.ManyToManyField(Photo, blank=True, related_name="trial_runs")

    moments = {"started_at": MomentKind.HAPPENED}

    objects = FittingEntryQuerySet.as_manager()

    exported = Exported(
        "trial_runs",
        meanings={
            "fitting": _("the fitting"),
            "time_doubts": _("why these times cannot be, as it was found when the run was entered"),
        },
        units={"cycle": "1", "minutes": "min"},
    )

    class Meta:
        verbose_name = _("trial run")
        verbose_name_plural = _("trial runs")
        ordering = ["started_at", "pk"]

    def __str__(self) -> str:
        return f"{self.fitting} trial run {self.started_at:%Y-%m-%d %H:%M}"

    @property
    def ends_at(self) -> dt.datetime:
        return self.started_at + dt.timedelta(minutes=self.minutes)

    @property
    def plant(self) -> Plant:
        return self.fitting.plant


class FitUp(Record):
    """Measures of the fit-up as read on the tape; what follows from them is computed on every read."""

    class Squareness(models.TextChoices):
        PARALLEL = "parallel", _("same line along both stringers")
        CENTRE_POINT = "centre_point", _("from one point on the centre line")
        DIAGONALS = "diagonals", _("diagonals between two bracket pairs")

    fitting = models.OneToOneField(Fitting, on_delete=models.PROTECT, related_name="fit_up", editable=False)
    bracket_spacing_mm = models.FloatField(_("bracket spacing"), null=True, blank=True)
    frame_length_mm = models.FloatField(_("frame length"), null=True, blank=True)
    end_play_mm = models.FloatField(_("end play in total, wanted"), null=True, blank=True)
    extension_drive_mm = models.FloatField(_("extension, drive side"), null=True, blank=True)
    extension_off_mm = models.FloatField(_("extension, off side"), null=True, blank=True)
    end_play_left_mm = models.FloatField(_("end play in total, after tightening"), null=True, blank=True)
    squareness_way = models.CharField(_("squareness by"), max_length=15, choices=Squareness, blank=True)
    square_reference = models.CharField(
        _("measured from"), max_length=120, blank=True, help_text=_("Name the fixed point or line.")
    )
    reference_was_checked = models.BooleanField(_("that reference was itself checked"), default=False)
    reference_distance_mm = models.FloatField(_("distance of the point along the belt"), null=True, blank=True)
    square_drive_mm = models.FloatField(_("distance, drive side"), null=True, blank=True)
    square_off_mm = models.FloatField(_("distance, off side"), null=True, blank=True)
    centre_drive_mm = models.FloatField(_("bracket to frame, drive side"), null=True, blank=True)
    centre_off_mm = models.FloatField(_("bracket to frame, off side"), null=True, blank=True)
    belt_mark_drive_mm = models.FloatField(_("belt reference mark, drive side"), null=True, blank=True)
    belt_mark_off_mm = models.FloatField(_("belt reference mark, off side"), null=True, blank=True)
    wanted_lift_mm = models.FloatField(_("belt lift wanted"), null=True, blank=True)
    bracket_height_drive_mm = models.FloatField(_("bracket height, drive side"), null=True, blank=True)
    bracket_height_off_mm = models.FloatField(_("bracket height, off side"), null=True, blank=True)
    belt_width_mm = models.FloatField(_("belt width here"), null=True, blank=True)
    sensor_clear_mm = models.FloatField(_("clear distance between the sensors"), null=True, blank=True)
    belt_lies_to = models.CharField(_("belt lies to"), max_length=10, choices=Side, blank=True)
    belt_off_by_mm = models.FloatField(_("off centre by"), null=True, blank=True)
    gap_drive_mm = models.FloatField(_("sensor gap, drive side"), null=True, blank=True)
    gap_off_mm = models.FloatField(_("sensor gap, off side"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=400, blank=True)

    objects = FittingPartQuerySet.as_manager()

    exported = Exported("fit_ups", key=("fitting",), meanings={"fitting": _("the fitting")})

    class Meta:
        verbose_name = _("fit-up sheet")
        verbose_name_plural = _("fit-up sheets")

    def __str__(self) -> str:
        return f"{self.fitting} fit-up"

    def get_absolute_url(self) -> str:
        return reverse("fit-up", args=[self.fitting_id])

    @property
    def plant(self) -> Plant:
        return self.fitting.plant


class TorqueSignOff(Entry):
    """One fastener tightened to its torque, with the instrument and how its target was known."""

    class Method(models.TextChoices):
        TIGHTENING = "tightening", _("set while tightening")
        FIRST_MOVEMENT = "first_movement", _("first movement when tightening on")
        MARK_AND_RETIGHTEN = "mark_and_retighten", _("marked, loosened, tightened to the mark")

    fitting = models.ForeignKey(Fitting, on_delete=models.PROTECT, related_name="torques")
    fastener = models.ForeignKey(Fastener, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveSmallIntegerField(_("which one"))
    torque_nm = models.FloatField(_("torque as left"))
    target_nm = models.FloatField(_("target"))
    is_estimate = models.BooleanField(_("target is an estimate"), default=False)
    method = models.CharField(_("method"), max_length=20, choices=Method, default=Method.TIGHTENING)
    instrument = models.ForeignKey(Instrument, null=True, blank=True, on_delete=models.PROTECT, related_name="torques")
    # Why a tool out of calibration was used all the same; stays visible wherever the torque is shown.
    override_reason = models.CharField(_("why this tool all the same"), max_length=300, blank=True)
    signed_at = models.DateTimeField(_("when"))
    signed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    moments = {"signed_at": MomentKind.HAPPENED}

    objects = FittingEntryQuerySet.as_manager()

    exported = Exported(
        "torque_sign_offs",
        meanings={
            "fitting": _("the fitting"),
            "fastener": _("the group of fasteners"),
            "instrument": _("the torque wrench"),
            "signed_by": _("who signed it off"),
        },
        units={"number": "1"},
    )

    class Meta:
        verbose_name = _("torque sign-off")
        verbose_name_plural = _("torque sign-offs")
        ordering = ["signed_at", "pk"]
        indexes = [models.Index(fields=["fitting", "fastener", "number"], name="torque_of_fitting")]

    def __str__(self) -> str:
        return f"{self.fitting}: {self.fastener.place} {self.number}"

    @property
    def plant(self) -> Plant:
        return self.fitting.plant


class PassedFastener(Entry):
    """One fastener that nobody signed off before the guards went back, and why. A later sign-off counts instead."""

    fitting = models.ForeignKey(Fitting, on_delete=models.PROTECT, related_name="passed_fasteners")
    fastener = models.ForeignKey(Fastener, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveSmallIntegerField(_("which one"))
    reason = models.CharField(_("why it is passed over"), max_length=300)
    passed_at = models.DateTimeField(_("when"))
    passed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    moments = {"passed_at": MomentKind.HAPPENED}

    objects = FittingEntryQuerySet.as_manager()

    exported = Exported(
        "passed_fasteners",
        meanings={
            "fitting": _("the fitting"),
            "fastener": _("the group of fasteners"),
            "passed_by": _("who passed it over"),
        },
        units={"number": "1"},
    )

    class Meta:
        verbose_name = _("fastener passed over")
        verbose_name_plural = _("fasteners passed over")
        ordering = ["passed_at", "pk"]
        indexes = [models.Index(fields=["fitting", "fastener", "number"], name="passed_fastener_of_fitting")]

    def __str__(self) -> str:
        return f"{self.fitting}: {self.fastener.place} {self.number} passed over"

    @property
    def plant(self) -> Plant:
        return self.fitting.plant
