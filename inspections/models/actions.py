"""Actions: corrective work that a finding calls for."""

from __future__ import annotations

from datetime import date
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from installs.models import Installation
from plant.calc.moments import MomentKind
from plant.models import Entry, EntryQuerySet, Photo, Plant, PlantQuerySet, Record
from plant.models.exported import Exported

from .check_plans import CheckKind
from .visits import TwiceClosed, Visit


class ActionQuerySet(PlantQuerySet["Action"]):
    def open(self) -> Self:
        return self.filter(done_at__isnull=True)

    def unowned(self) -> Self:
        """Open ones that nobody owns yet: a planner gives them to somebody."""
        return self.open().filter(owner__isnull=True)

    def overdue(self, on: date) -> Self:
        return self.open().filter(due_on__lt=on)

    def from_findings_of(self, person: Any) -> Self:
        """Actions that came of visits of a person."""
        return self.filter(visit__visited_by=person)


class Action(Record):
    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="actions", editable=False)
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="actions")
    visit = models.ForeignKey(Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="actions")
    # The check whose finding it answers; empty where it was raised with a visit (its findings tell) or for none.
    check_kind = models.ForeignKey(
        CheckKind,
        verbose_name=_("answers a finding of"),
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="actions",
    )
    title = models.CharField(_("what is to be done"), max_length=200)
    due_on = models.DateField(_("due"))
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        verbose_name=_("owner"),
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="actions",
    )
    # Raised knowingly although this one was open for the same finding.
    beside = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="raised_beside")
    # What the work needs: rows of {"name", "count", "is_at_hand"}.
    parts = models.JSONField(_("parts needed"), default=list, blank=True)
    done_at = models.DateTimeField(_("done"), null=True, blank=True)
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    done_note = models.CharField(_("what was done"), max_length=400, blank=True)
    # How it was left: the visit that read it again, or rows of {"label", "quantity", "value", "typed"} in SI.
    done_visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="actions_done", verbose_name=_("visit")
    )
    as_left = models.JSONField(_("readings as left"), default=list, blank=True)
    photos = models.ManyToManyField(Photo, blank=True, related_name="actions")

    # The question which of two visits counts, where one of them raised it; set where actions are shown.
    twice: TwiceClosed | None = None

    moments = {"due_on": MomentKind.PLANNED, "done_at": MomentKind.HAPPENED}

    objects = ActionQuerySet.as_manager()

    exported = Exported(
        "actions",
        meanings={
            "installation": _("the device in its place"),
            "visit": _("the visit that raised it"),
            "beside": _("the action that was open for the same finding"),
            "done_by": _("who did it"),
        },
    )

    class Meta:
        verbose_name = _("action")
        verbose_name_plural = _("actions")
        ordering = ["due_on", "pk"]
        indexes = [models.Index(fields=["plant", "due_on"], name="action_list")]

    def __str__(self) -> str:
        return self.title

    @property
    def parts_missing(self) -> list[dict[str, Any]]:
        return [part for part in self.parts if not part["is_at_hand"]]

    def get_absolute_url(self) -> str:
        return reverse("action-detail", args=[self.pk])


class ActionNoteQuerySet(EntryQuerySet["ActionNote"]):
    plant_path = "action__plant"


class ActionNote(Entry):
    """What was found again, or seen besides, while an action was open; with the visit that found it."""

    action = models.ForeignKey(Action, on_delete=models.PROTECT, related_name="notes")
    visit = models.ForeignKey(Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="action_notes")
    text = models.CharField(_("what was found"), max_length=400)
    photos = models.ManyToManyField(Photo, blank=True, related_name="action_notes")

    objects = ActionNoteQuerySet.as_manager()

    exported = Exported(
        "action_notes",
        meanings={"action": _("the action"), "visit": _("the visit that found it")},
    )

    class Meta:
        verbose_name = _("note on an action")
        verbose_name_plural = _("notes on actions")
        ordering = ["created_at", "pk"]

    def __str__(self) -> str:
        return self.text

    @property
    def plant(self) -> Plant:
        return self.action.plant
