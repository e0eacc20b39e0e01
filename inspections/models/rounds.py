"""Rounds: who works when, and the ordered stops of each shift. What is begun or done is read from the checks."""

from __future__ import annotations

import datetime as dt
import secrets
from typing import Any, Self

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from plant.calc.moments import MomentKind
from plant.models import Area, Conveyor, Job, Plant, PlantQuerySet, Record, Row
from plant.models.exported import Exported

from .tasks import Task


def words_of(text: str) -> frozenset[str]:
    """The set of words in "torque wrench, Caliper": parted by commas, without case."""
    return frozenset(word.strip().lower() for word in text.split(",") if word.strip())


def new_calendar_key() -> str:
    return secrets.token_urlsafe(32)


class TechnicianProfile(Record):
    """What a person can do and carries in one plant, and the secret address of their calendar there."""

    plant = models.ForeignKey(Plant, on_delete=models.CASCADE, related_name="technicians", editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="technician_profiles")
    skills = models.CharField(_("skills"), max_length=300, blank=True, help_text=_("Words with commas between them."))
    tools = models.CharField(
        _("tools"),
        max_length=300,
        blank=True,
        default="caliper, spring balance, torque wrench",
        help_text=_("Words with commas between them."),
    )
    calendar_key = models.CharField(max_length=64, unique=True, default=new_calendar_key, editable=False)

    objects = PlantQuerySet.as_manager()

    exported = Exported(
        "technician_profiles",
        key=("person",),
        stays={"calendar_key": _("the secret address of a calendar on this site")},
        meanings={"person": _("who")},
    )

    class Meta:
        verbose_name = _("skills and tools")
        verbose_name_plural = _("skills and tools")
        ordering = ["person__username"]
        constraints = [models.UniqueConstraint(fields=["plant", "person"], name="technician_profile_once")]

    def __str__(self) -> str:
        return str(self.person)


class ShiftQuerySet(PlantQuerySet["Shift"]):
    def on(self, day: dt.date) -> Self:
        return self.filter(day=day)

    def at_work(self) -> Self:
        """Shifts of people who are not away from the beginning."""
        return self.filter(Q(away_from__isnull=True) | Q(away_from__gt=models.F("starts_at")))


class Shift(Record):
    """When one person works on one day; a night shift belongs to the day on which it begins."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="shifts", editable=False)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, verbose_name=_("who"), on_delete=models.PROTECT, related_name="shifts"
    )
    day = models.DateField(_("day"), editable=False)
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("to"))
    start_area = models.ForeignKey(
        Area,
        verbose_name=_("starts and ends in"),
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        help_text=_("Where the round and the break begin and end. Empty: the first area in walking order."),
    )
    break_starts_at = models.DateTimeField(_("break from"), null=True, blank=True)
    break_minutes = models.PositiveSmallIntegerField(_("break [min]"), default=30, validators=[MaxValueValidator(240)])
    # Only that somebody is away and since when: the reason is nobody's business here.
    away_from = models.DateTimeField(_("away from"), null=True, blank=True, editable=False)

    moments = {
        "starts_at": MomentKind.PLANNED,
        "ends_at": MomentKind.PLANNED,
        "break_starts_at": MomentKind.PLANNED,
        "away_from": MomentKind.PLANNED,
    }

    objects = ShiftQuerySet.as_manager()

    exported = Exported("shifts", key=("person", "starts_at"))

    class Meta:
        verbose_name = _("shift")
        verbose_name_plural = _("shifts")
        ordering = ["starts_at", "person__username"]
        indexes = [models.Index(fields=["plant", "day"], name="shift_of_day")]
        constraints = [
            models.UniqueConstraint(fields=["plant", "person", "starts_at"], name="shift_once"),
            models.CheckConstraint(condition=Q(ends_at__gt=models.F("starts_at")), name="shift_ends_after_start"),
        ]

    def __str__(self) -> str:
        return f"{self.person} {self.day.isoformat()}"

    def get_absolute_url(self) -> str:
        return reverse("shift-update", args=[self.pk])

    @property
    def break_ends_at(self) -> dt.datetime | None:
        return self.break_starts_at and self.break_starts_at + dt.timedelta(minutes=self.break_minutes)


class RoundQuerySet(PlantQuerySet["Round"]):
    def drafts(self) -> Self:
        return self.filter(published_at__isnull=True, superseded_at__isnull=True)

    def published(self) -> Self:
        """The rounds that are on the phones."""
        return self.filter(published_at__isnull=False, superseded_at__isnull=True)

    def of_person(self, person: Any) -> Self:
        return self.filter(shift__person=person)

    def with_stops(self) -> Self:
        tasks = Task.objects.select_related(
            "check_kind", "installation__conveyor__area", "installation__device__device_model"
        ).order_by("installation__chainage_m", "pk")
        stops = Stop.objects.select_related("conveyor__area").prefetch_related(models.Prefetch("tasks", tasks))
        return self.select_related("shift__person", "shift__start_area").prefetch_related(
            models.Prefetch("stops", stops.order_by("position", "pk"))
        )


class Round(Record):
    """The ordered stops of one shift. A draft is the planner's; published it is on the phone until one replaces it."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="rounds", editable=False)
    shift = models.ForeignKey(Shift, on_delete=models.PROTECT, related_name="rounds", editable=False)
    published_at = models.DateTimeField(_("published"), null=True, blank=True, editable=False)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="+"
    )
    superseded_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = RoundQuerySet.as_manager()

    exported = Exported(
        "rounds",
        meanings={
            "shift": _("the shift that it is laid for"),
            "published_by": _("who published it"),
            "superseded_at": _("when another took its place"),
        },
    )

    class Meta:
        verbose_name = _("round")
        verbose_name_plural = _("rounds")
        ordering = ["shift__starts_at", "pk"]
        permissions = [("lay_round", "Can lay and publish rounds"), ("view_own_round", "Can see the own rounds")]
        constraints = [
            models.UniqueConstraint(
                fields=["shift"],
                condition=Q(published_at__isnull=True, superseded_at__isnull=True),
                name="round_one_draft",
            ),
            models.UniqueConstraint(
                fields=["shift"],
                condition=Q(published_at__isnull=False, superseded_at__isnull=True),
                name="round_one_published",
            ),
        ]

    def __str__(self) -> str:
        return str(self.shift)

    def get_absolute_url(self) -> str:
        return reverse("round-detail", args=[self.pk])


class StopQuerySet(PlantQuerySet["Stop"]):
    plant_path = "round__plant"


class Stop(Row):
    """Checks at one conveyor, at one or several devices, done one after the other; with a lockout or without one."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="stops")
    position = models.PositiveSmallIntegerField()
    conveyor = models.ForeignKey(Conveyor, on_delete=models.PROTECT, related_name="stops")
    needs_lockout = models.BooleanField(_("needs lockout"), default=False)
    tasks = models.ManyToManyField(Task, related_name="stops")
    # The keys of the tasks in the order in which the devices are walked to.
    task_order = models.JSONField(default=list)
    # From the arrival at the belt: the isolation comes first, then the work.
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("to"))
    walk_m = models.PositiveIntegerField(_("way there [m]"), default=0)
    walk_s = models.PositiveIntegerField(_("way there [s]"), default=0)
    lockout_s = models.PositiveIntegerField(_("isolation [s]"), default=0)
    # A planner moved it here by hand: not before this time.
    not_before = models.DateTimeField(null=True, blank=True)

    # What a stop that is being laid will hold; the rows follow when it is written.
    laid_tasks: list[Task]

    objects = StopQuerySet.as_manager()

    exported = Exported(
        "stops",
        meanings={
            "round": _("the round"),
            "position": _("which stop of the round"),
            "conveyor": _("the conveyor"),
            "task_order": _("row keys of its checks in the order in which the devices are walked to"),
            "not_before": _("a planner moved it here: not before this time"),
        },
        units={"position": "1"},
        keys_in={"task_order": "inspections.Task"},
    )

    class Meta:
        verbose_name = _("stop")
        verbose_name_plural = _("stops")
        ordering = ["round", "position", "pk"]

    def __str__(self) -> str:
        return f"{self.conveyor.tag} {timezone.localtime(self.starts_at):%H:%M}"

    @property
    def plant(self) -> Plant:
        return self.round.plant

    @property
    def tasks_in_order(self) -> list[Task]:
        """Its checks, device by device as one walks."""
        at = {pk: n for n, pk in enumerate(self.task_order)}
        return sorted(self.tasks.all(), key=lambda task: at.get(task.pk, len(at)))

    @property
    def tasks_key(self) -> str:
        """The same for the same checks, however often the round is written anew."""
        return "-".join(str(pk) for pk in sorted(self.task_order))

    def was_done_here(self, task: Task) -> bool:
        """Whether a closed check was done on this round: by its person on their day, or once the stop's time had come.

        What was done before, or by somebody else, is no work of this round any more.
        """
        if task.closed_at is None or task.outcome != Task.Outcome.DONE:
            return False
        shift = self.round.shift
        is_of_the_day = (
            task.closed_at >= shift.starts_at or task.closed_at.astimezone(self.plant.zone).date() == shift.day
        )
        return task.closed_at >= self.starts_at or (task.closed_by_id == shift.person_id and is_of_the_day)

    @property
    def is_done(self) -> bool:
        """Every check of the stop is closed."""
        return all(task.closed_at is not None for task in self.tasks.all())

    @property
    def is_begun(self) -> bool:
        """A check of the stop was done on this round: the stop is not moved any more."""
        return any(self.was_done_here(task) for task in self.tasks.all())


class RoundLaying(Row):
    """One run that laid rounds: for which shifts, what it left out and what would make that fit."""

    plant = models.ForeignKey(Plant, on_delete=models.CASCADE, related_name="round_layings")
    job = models.OneToOneField(Job, null=True, blank=True, on_delete=models.SET_NULL, related_name="round_laying")
    first_day = models.DateField()
    last_day = models.DateField()
    laid_at = models.DateTimeField(default=timezone.now)
    was_stopped = models.BooleanField(default=False)
    n_due = models.PositiveIntegerField()
    n_planned = models.PositiveIntegerField()
    n_lockouts = models.PositiveIntegerField(default=0)
    walk_m = models.PositiveIntegerField(default=0)
    # [{"tasks": [pk, ...], "reason": sentence, "change": sentence or ""}, ...], what matters most first.
    left_out = models.JSONField(default=list)

    objects = PlantQuerySet.as_manager()

    exported = Exported(
        "round_layings",
        stays={"job": _("work of this site")},
        meanings={
            "first_day": _("first day of it"),
            "last_day": _("last day of it"),
            "laid_at": _("when it was laid"),
            "was_stopped": _("whether a person stopped it before its end"),
            "n_due": _("checks that were due"),
            "n_planned": _("checks that found a place"),
            "n_lockouts": _("lockouts that it takes"),
            "walk_m": _("way that is walked"),
            "left_out": _("row keys of checks that found no place, with the reason and what would change that"),
        },
        units={"n_due": "1", "n_planned": "1", "n_lockouts": "1"},
        keys_in={"left_out": "inspections.Task:tasks"},
    )

    class Meta:
        verbose_name = _("laying of rounds")
        verbose_name_plural = _("layings of rounds")
        ordering = ["-laid_at", "-pk"]
        indexes = [models.Index(fields=["plant", "-laid_at"], name="laying_last")]

    def __str__(self) -> str:
        return f"{self.first_day.isoformat()} to {self.last_day.isoformat()}"
