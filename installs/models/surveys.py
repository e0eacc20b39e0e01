"""Surveys: the check of a place before an installation, and belt offsets measured at stations along the belt."""

from __future__ import annotations

from collections.abc import Collection

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.calc.moments import MomentKind
from plant.models import Conveyor, Entry, EntryQuerySet, Photo, Plant, PlantQuerySet, Record, Side, Strand
from plant.models.exported import Exported

from .device_models import DeviceModel
from .installations import Installation


class SurveyQuerySet(PlantQuerySet["Survey"]):
    def open(self) -> SurveyQuerySet:
        return self.filter(closed_at__isnull=True)

    def with_place(self) -> SurveyQuerySet:
        return self.select_related("plant", "conveyor__area", "conveyor__plant", "device_model", "surveyed_by")


class Survey(Record):
    """What was seen and measured at a place; closed with a result, each reason by the rule that decided."""

    class Result(models.TextChoices):
        FITS = "fits", _("fits")
        CONDITIONS = "conditions", _("fits with conditions")
        DOES_NOT_FIT = "does_not_fit", _("does not fit")

    class Answer(models.TextChoices):
        YES = "yes", _("yes")
        NO = "no", _("no")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="surveys", editable=False)
    conveyor = models.ForeignKey(Conveyor, verbose_name=_("conveyor"), on_delete=models.PROTECT, related_name="surveys")
    strand = models.CharField(_("strand"), max_length=10, choices=Strand, default=Strand.RETURN)
    chainage_m = models.FloatField(_("chainage"), validators=[MinValueValidator(0)])
    between_idlers = models.CharField(
        _("between idlers"), max_length=60, blank=True, help_text=_("For example: return idlers 41 and 42.")
    )
    device_model = models.ForeignKey(
        DeviceModel,
        verbose_name=_("model in mind"),
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="surveys",
    )
    surveyed_at = models.DateTimeField(_("when"))
    surveyed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="surveys", editable=False
    )
    # Where the wander begins and ends, seen from outside the guards.
    wander_from_m = models.FloatField(_("wander begins at"), null=True, blank=True, validators=[MinValueValidator(0)])
    wander_to_m = models.FloatField(_("wander ends at"), null=True, blank=True, validators=[MinValueValidator(0)])
    wander_side = models.CharField(_("wanders to"), max_length=10, choices=Side, blank=True)
    belt_width_mm = models.FloatField(_("belt width, measured here"), null=True, blank=True)
    structure_spacing_mm = models.FloatField(_("clear width between the stringers"), null=True, blank=True)
    clearance_below_mm = models.FloatField(_("clearance below"), null=True, blank=True)
    clearance_drive_mm = models.FloatField(_("clearance beside, drive side"), null=True, blank=True)
    clearance_off_mm = models.FloatField(_("clearance beside, off side"), null=True, blank=True)
    clearance_along_mm = models.FloatField(_("room along the belt"), null=True, blank=True)
    whole_range = models.CharField(
        _("measured over the whole pivot and tilt range"), max_length=3, choices=Answer, blank=True
    )
    obstructions = models.CharField(_("obstructions"), max_length=300, blank=True)
    access = models.CharField(_("access"), max_length=200, blank=True)
    has_lifting_point = models.CharField(_("lifting point"), max_length=3, choices=Answer, blank=True)
    has_light = models.CharField(_("light enough to work"), max_length=3, choices=Answer, blank=True)
    guard_comes_off = models.CharField(_("a guard must come off"), max_length=3, choices=Answer, blank=True)
    guard_goes_back = models.CharField(
        _("an equal guard fits back with the device in place"), max_length=3, choices=Answer, blank=True
    )
    guard_note = models.CharField(_("which guard"), max_length=200, blank=True)
    conditions = models.CharField(_("conditions"), max_length=400, blank=True)
    # Why a device is fitted although a cause was found and not cured; stays visible as a condition.
    override_reason = models.CharField(_("why fit it before the cause is cured"), max_length=300, blank=True)
    note = models.TextField(_("note"), blank=True, max_length=4000)
    photos = models.ManyToManyField(Photo, blank=True, related_name="surveys")
    closed_at = models.DateTimeField(_("closed"), null=True, blank=True, editable=False)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="+"
    )
    result = models.CharField(_("result"), max_length=15, choices=Result, blank=True, editable=False)
    # Its lines as they stood at closing, as `installs.calc.survey_lines.SurveyLine.kept` writes them.
    reasons = models.JSONField(default=list, blank=True, editable=False)

    moments = {"surveyed_at": MomentKind.HAPPENED}

    objects = SurveyQuerySet.as_manager()

    exported = Exported(
        "surveys",
        meanings={
            "surveyed_by": _("who surveyed"),
            "closed_by": _("who closed it"),
            "reasons": _("the lines of the result as they stood at closing"),
        },
    )

    class Meta:
        verbose_name = _("survey")
        verbose_name_plural = _("surveys")
        ordering = ["-surveyed_at"]
        indexes = [models.Index(fields=["conveyor", "strand", "-surveyed_at"], name="survey_of_place")]

    def __str__(self) -> str:
        return f"{self.conveyor.tag} {self.strand} {self.chainage_m:g} m"

    def get_absolute_url(self) -> str:
        return reverse("survey-detail", args=[self.pk])


class SurveyPartQuerySet(PlantQuerySet["CauseTest"]):
    plant_path = "survey__plant"


class CauseTest(Record):
    """One cause that a device would hide, looked for at the survey."""

    class Cause(models.TextChoices):
        OUT_OF_SQUARE = "out_of_square", _("idler, pulley or structure out of square")
        SEIZED_ROLLS = "seized_rolls", _("seized or missing rolls, build-up")
        SPLICE = "splice", _("crooked splice, bowed or edge-damaged length")
        LOADING = "loading", _("loading off centre")
        TENSION = "tension", _("low or uneven tension, take-up, lagging")
        WEATHER = "weather", _("wind, sun, frost, wet material")
        REVERSING = "reversing", _("side changes with the direction")
        BELT = "belt", _("belt wider or stiffer than planned, cupped")
        SWITCH = "switch", _("drift switch out of place or stuck")

    class Found(models.TextChoices):
        NOT_TESTED = "not_tested", _("not tested")
        NO_SIGN = "no_sign", _("no sign of it")
        FOUND = "found", _("found, to be cured")
        CURED = "cured", _("found and cured")

    survey = models.ForeignKey(Survey, on_delete=models.CASCADE, related_name="cause_tests", editable=False)
    cause = models.CharField(_("cause"), max_length=20, choices=Cause)
    found = models.CharField(_("found"), max_length=12, choices=Found, default=Found.NOT_TESTED)
    note = models.CharField(_("note"), max_length=200, blank=True)

    objects = SurveyPartQuerySet.as_manager()

    exported = Exported("cause_tests", key=("survey", "cause"), meanings={"survey": _("the survey")})

    class Meta:
        verbose_name = _("test for a cause")
        verbose_name_plural = _("tests for causes")
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["survey", "cause"], name="cause_test_once")]

    def __str__(self) -> str:
        return f"{self.get_cause_display()}: {self.get_found_display()}"

    @property
    def plant(self) -> Plant:
        return self.survey.plant


class BeltOffsetQuerySet(EntryQuerySet["BeltOffset"]):
    def of_installation(self, installation: Installation) -> BeltOffsetQuerySet:
        """Rows that tell of its effect: its own, and those of the survey that its fitting was planned from."""
        return self.of_installations([installation.pk])

    def of_installations(self, installations: Collection[int]) -> BeltOffsetQuerySet:
        """The same for several, by their keys."""
        own = Q(installation__in=installations) | Q(survey__fittings__installation__in=installations)
        return self.filter(own).exclude(occasion=BeltOffset.Occasion.TRIAL_RUN).distinct()


class BeltOffset(Entry):
    """How far the belt lay off its centre line at one station: positive towards the drive side."""

    class Occasion(models.TextChoices):
        SURVEY = "survey", _("survey")
        TRIAL_RUN = "trial_run", _("trial run")
        ACCEPTANCE = "acceptance", _("acceptance")
        FOLLOW_UP = "follow_up", _("follow-up")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="belt_offsets", editable=False)
    conveyor = models.ForeignKey(Conveyor, on_delete=models.PROTECT, related_name="belt_offsets")
    strand = models.CharField(_("strand"), max_length=10, choices=Strand)
    chainage_m = models.FloatField(_("station"), validators=[MinValueValidator(0)])
    offset_mm = models.FloatField(_("offset, drive side positive"))
    is_loaded = models.BooleanField(_("belt loaded"), default=False)
    taken_at = models.DateTimeField(_("when"))
    occasion = models.CharField(_("occasion"), max_length=12, choices=Occasion)
    survey = models.ForeignKey(Survey, null=True, blank=True, on_delete=models.PROTECT, related_name="belt_offsets")
    trial_run = models.ForeignKey(
        "installs.TrialRun", null=True, blank=True, on_delete=models.PROTECT, related_name="belt_offsets"
    )
    # The installation whose effect the row tells of. Rows are never overwritten: at the hand-over the readings of the
    # last trial runs are written once more with it, and those of the survey are found through the fitting.
    installation = models.ForeignKey(
        Installation, null=True, blank=True, on_delete=models.PROTECT, related_name="belt_offsets"
    )

    moments = {"taken_at": MomentKind.HAPPENED}

    objects = BeltOffsetQuerySet.as_manager()

    exported = Exported(
        "belt_offsets",
        meanings={
            "conveyor": _("the conveyor"),
            "survey": _("the survey that it was measured at"),
            "trial_run": _("the trial run that it was measured in"),
            "installation": _("the device in its place whose effect it tells of"),
        },
    )

    class Meta:
        verbose_name = _("belt offset")
        verbose_name_plural = _("belt offsets")
        ordering = ["taken_at", "chainage_m"]
        indexes = [models.Index(fields=["conveyor", "strand", "taken_at"], name="belt_offset_of_strand")]
        constraints = [models.CheckConstraint(condition=Q(chainage_m__gte=0), name="belt_offset_station_not_negative")]

    def __str__(self) -> str:
        return f"{self.conveyor.tag} {self.chainage_m:g} m: {self.offset_mm:g} mm"
