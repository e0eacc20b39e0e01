"""Tasks: one check that is due once. Whether it is late is read from its dates; when that began is a row."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Case, Exists, OuterRef, Q, Subquery, Value, When
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inspections.models.check_plans import GRADES, CheckKind, CheckPlan
from installs.models import Installation
from plant.calc.moments import MomentKind
from plant.models import Entry, EntryQuerySet, OutageWindow, Plant, PlantQuerySet, Record
from plant.models.exported import Exported

if TYPE_CHECKING:
    from inspections.models.visits import TwiceClosed

# Days late: least and most of each age by which the backlog is parted.
LATE_AGES: dict[str, tuple[int, int | None]] = {"week": (1, 7), "month": (8, 30), "older": (31, None)}


class LateReason(models.TextChoices):
    """Why a late check was not done, as far as the book tells; the first five are those given at the belt."""

    BELT_RUNNING = "belt_running", _("belt running")
    NO_ACCESS = "no_access", _("no access")
    NO_PERMIT = "no_permit", _("no permit")
    NOT_SAFE = "not_safe", _("not safe to do")
    NO_TOOL = "no_tool", _("tool or part missing")
    PUT_OFF = "put_off", _("put off")
    NO_WINDOW = "no_window", _("no outage window")
    NOT_SAID = "not_said", _("no reason in the book")


def week_end(day: date) -> date:
    """The last of the seven days that begin with a day."""
    return day + timedelta(days=6)


class TaskQuerySet(PlantQuerySet["Task"]):
    def open(self) -> Self:
        return self.filter(closed_at__isnull=True)

    def done(self) -> Self:
        return self.filter(closed_at__isnull=False, outcome=Task.Outcome.DONE)

    def read(self) -> Self:
        """Done ones with readings of their own: what two asked for and one visit answered counts once."""
        return self.done().filter(done_with__isnull=True)

    def due_by(self, day: date) -> Self:
        """Open tasks whose window has opened by that day."""
        return self.open().filter(opens_on__lte=day)

    def due_this_week(self, day: date) -> Self:
        """Open tasks that are due on that day or the six after it, or were due and may still be done in time."""
        return self.open().filter(due_on__lte=week_end(day), closes_on__gte=day)

    def overdue(self, on: date) -> Self:
        """Open tasks whose window had closed before that day: late begins at 00:00 plant time of the next day."""
        return self.open().filter(closes_on__lt=on)

    def late_for(self, age: str, on: date) -> Self:
        """Overdue tasks of one of the ages in `LATE_AGES`."""
        least, most = LATE_AGES[age]
        rows = self.overdue(on).filter(closes_on__lte=on - timedelta(days=least))
        return rows if most is None else rows.filter(closes_on__gte=on - timedelta(days=most))

    def with_late_reason(self, now: datetime) -> Self:
        """Adds `late_reason`: given at the belt last; else put off; else it needed a stopped belt and had no window."""
        tried = CouldNotDo.objects.current().filter(task=OuterRef("pk")).order_by("-tried_at", "-pk")
        windows = OutageWindow.objects.filter(
            conveyor=OuterRef("installation__conveyor"),
            starts_at__lte=now,
            ends_at__date__gte=OuterRef("opens_on"),
        )
        put_off = Deferral.objects.current().filter(task=OuterRef("pk"))
        return self.annotate(
            late_reason=Coalesce(
                Subquery(tried.values("reason")[:1]),
                Case(
                    When(Exists(put_off), then=Value(LateReason.PUT_OFF.value)),
                    When(Q(check_kind__needs_lockout=True) & ~Exists(windows), then=Value(LateReason.NO_WINDOW.value)),
                    default=Value(LateReason.NOT_SAID.value),
                    output_field=models.CharField(),
                ),
            )
        )

    def with_last_grade(self) -> Self:
        """Adds `last_grade` and `last_task_id`: how the same check stood when it was last done here."""
        before = Task.objects.filter(
            installation=OuterRef("installation"),
            check_kind=OuterRef("check_kind"),
            outcome=Task.Outcome.DONE,
            done_with__isnull=True,
        ).order_by("-closed_at")
        return self.annotate(
            last_grade=Subquery(before.values("grade")[:1]), last_task_id=Subquery(before.values("pk")[:1])
        )

    def with_place(self) -> Self:
        return self.select_related(
            "check_kind", "installation__conveyor__area", "installation__device__device_model", "plant"
        )


class Task(Record):
    class Origin(models.TextChoices):
        PLAN = "plan", _("by plan")
        BEDDING_IN = "bedding_in", _("bedding-in after the installation")
        BY_HAND = "by_hand", _("asked for by a person")
        FOLLOW_UP = "follow_up", _("follow-up after the installation")
        RATE_WATCH = "rate_watch", _("asked for by the rate watch")

    # What querysets and selectors put on rows: `with_last_grade`, and `with_deferrals` of the selectors.
    last_grade: str | None
    last_task_id: int | None

    # Besides the plan, by a person or by the watch: of these one of a kind is open at a place.
    ASKED_FOR = (Origin.BY_HAND, Origin.RATE_WATCH)

    class Outcome(models.TextChoices):
        DONE = "done", _("done")
        WITHDRAWN = "withdrawn", _("withdrawn")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="tasks", editable=False)
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="tasks")
    check_kind = models.ForeignKey(CheckKind, on_delete=models.PROTECT, related_name="tasks")
    check_plan = models.ForeignKey(CheckPlan, null=True, blank=True, on_delete=models.SET_NULL, related_name="tasks")
    origin = models.CharField(_("origin"), max_length=12, choices=Origin, default=Origin.PLAN)
    due_on = models.DateField(_("due"))
    opens_on = models.DateField(_("window opens"))
    closes_on = models.DateField(_("window closes"))
    # The date of its plan for which it stands, where the plan keeps fixed dates.
    fixed_on = models.DateField(_("fixed date"), null=True, blank=True, editable=False)
    why = models.CharField(_("why then"), max_length=200, blank=True)
    closed_at = models.DateTimeField(_("closed"), null=True, blank=True)
    # Empty where no person did it: the device was removed, or the plan was suspended.
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    outcome = models.CharField(_("outcome"), max_length=10, choices=Outcome, blank=True)
    closing_reason = models.CharField(max_length=200, blank=True)
    visit = models.ForeignKey(
        "inspections.Visit", null=True, blank=True, on_delete=models.PROTECT, related_name="tasks"
    )
    # The check of the same kind at the same visit whose readings answer this one too; it has none of its own.
    done_with = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="answers_too")
    # The grade of the check as it stands, after corrections; the readings behind it are rows of their own.
    grade = models.CharField(_("grade"), max_length=6, choices=GRADES, blank=True)
    # Why: a rule of inspections/calc with what it read; its words are in inspections/words/grading.py.
    grade_because = models.JSONField(default=dict, blank=True)

    # Open ones of the same kind at the same device that the same readings will answer; set where checks are shown.
    asked_too: Sequence[Task] = ()
    # The question which of two visits counts, at this check or at the one before it, while nobody has answered it;
    # set where checks are shown.
    twice: TwiceClosed | None = None

    moments = {"due_on": MomentKind.PLANNED, "closes_on": MomentKind.PLANNED}

    objects = TaskQuerySet.as_manager()

    exported = Exported(
        "tasks",
        meanings={
            "installation": _("the device in its place"),
            "check_kind": _("the kind of check"),
            "check_plan": _("the plan that asks for it"),
            "closed_by": _("who closed it; empty where no person did"),
            "closing_reason": _("why it was closed without being done"),
            "visit": _("the visit that answers it"),
            "done_with": _("the check whose readings answer this one too"),
            "grade_because": _("why it has this grade: a rule and what it read"),
        },
    )

    class Meta:
        verbose_name = _("check")
        verbose_name_plural = _("checks")
        ordering = ["due_on", "pk"]
        permissions = [
            ("close_out_task", "Can close out checks with readings"),
            ("put_off_task", "Can put a task off with a reason"),
        ]
        indexes = [
            # Due and late tasks of a plant.
            models.Index(fields=["plant", "closes_on"], condition=Q(closed_at__isnull=True), name="task_open"),
            models.Index(fields=["plant", "due_on"], name="task_list"),
            # The latest checks of one kind, for what the findings say about its interval.
            models.Index(
                fields=["plant", "check_kind", "-closed_at"], condition=Q(outcome="done"), name="task_done_of_kind"
            ),
            # The last time that a check was done at an installation.
            models.Index(fields=["installation", "check_kind", "-closed_at"], name="task_last_done"),
        ]
        constraints = [
            # The nightly job may run twice, or on two workers at once: a check is due once.
            models.UniqueConstraint(
                fields=["installation", "check_kind", "origin"],
                condition=Q(closed_at__isnull=True),
                name="task_open_once",
            ),
            models.CheckConstraint(
                condition=Q(opens_on__lte=models.F("due_on")) & Q(due_on__lte=models.F("closes_on")),
                name="task_window_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.check_kind} at {self.installation}"

    def get_absolute_url(self) -> str:
        return reverse("task-detail", args=[self.pk])

    @property
    def most_pressing(self) -> Task:
        """Of those that are asked for at once the one whose window closes first."""
        return min((self, *self.asked_too), key=lambda task: (task.closes_on, task.pk))

    def dates_waiting(self, on: date) -> tuple[date, ...]:
        """Fixed dates of its plan that came while it is open; each is asked for once this one is closed."""
        if self.fixed_on is None or self.check_plan is None or self.closed_at is not None:
            return ()
        return tuple(day for day in self.check_plan.fixed_dates_until(on) if day > self.fixed_on)

    def days_late(self, on: date) -> int:
        """Whole days since the window closed; 0 while it is open or when the task is closed."""
        return max((on - self.closes_on).days, 0) if self.closed_at is None else 0


class OverdueSpell(models.Model):
    """When a task became late, who was told, and when that ended."""

    task = models.ForeignKey(Task, on_delete=models.CASCADE, related_name="overdue_spells")
    began_at = models.DateTimeField(_("late since"))
    noted_at = models.DateTimeField(default=timezone.now)
    notified_at = models.DateTimeField(null=True, blank=True)
    escalated_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    exported = Exported(
        "overdue_spells",
        key=("task", "began_at"),
        plant_path="task__plant",
        meanings={
            "task": _("the check"),
            "noted_at": _("when the site noted it"),
            "notified_at": _("when people were told"),
            "escalated_at": _("when the planner was told"),
            "ended_at": _("when it ended"),
        },
    )

    class Meta:
        verbose_name = _("late spell")
        verbose_name_plural = _("late spells")
        ordering = ["-began_at"]
        constraints = [
            models.UniqueConstraint(fields=["task", "began_at"], name="overdue_spell_once"),
            models.UniqueConstraint(fields=["task"], condition=Q(ended_at__isnull=True), name="overdue_spell_one_open"),
        ]

    def __str__(self) -> str:
        return f"{self.task} late since {self.began_at:%Y-%m-%d}"


class TaskEntryQuerySet(EntryQuerySet[Any]):
    """Entries that belong to a check and with it to a plant."""

    plant_path = "task__plant"


class Deferral(Entry):
    """A task that was put off: until when, why, and who agreed. Counted, never hidden."""

    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="deferrals")
    closes_on_before = models.DateField()
    closes_on = models.DateField(_("new end of the window"))
    reason = models.CharField(_("reason"), max_length=300)
    approved_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    moments = {"closes_on": MomentKind.PLANNED}

    objects = TaskEntryQuerySet.as_manager()

    exported = Exported(
        "deferrals",
        meanings={
            "task": _("the check"),
            "closes_on_before": _("the end of the window before"),
            "approved_by": _("who agreed"),
        },
    )

    class Meta:
        verbose_name = _("deferral")
        verbose_name_plural = _("deferrals")
        ordering = ["created_at"]

    def __str__(self) -> str:
        return f"{self.task} put off to {self.closes_on}"


class CouldNotDo(Entry):
    """A check that was tried and could not be done. Never a penalty: the task goes back to the planner."""

    class Obstacle(models.TextChoices):
        BELT_RUNNING = "belt_running", _("belt running")
        NO_ACCESS = "no_access", _("no access")
        NO_PERMIT = "no_permit", _("no permit")
        NOT_SAFE = "not_safe", _("not safe to do")
        NO_TOOL = "no_tool", _("tool or part missing")

    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="could_not_do")
    tried_at = models.DateTimeField(_("when"))
    reason = models.CharField(_("reason"), max_length=20, choices=Obstacle)
    note = models.CharField(_("note"), max_length=500, blank=True)

    objects = TaskEntryQuerySet.as_manager()

    exported = Exported("could_not_do", meanings={"task": _("the check")})

    class Meta:
        verbose_name = _("check that could not be done")
        verbose_name_plural = _("checks that could not be done")
        ordering = ["-tried_at"]

    def __str__(self) -> str:
        return f"{self.task}: {self.get_reason_display()}"
