"""What a person adds to a comparison: other windows with the reason, and notes. Earlier ones stay."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from installs.models import Installation
from plant.calc.moments import MomentKind
from plant.models import Entry, EntryQuerySet, Plant
from plant.models.exported import Exported


class StudyWindowQuerySet(EntryQuerySet["StudyWindow"]):
    plant_path = "installation__plant"


class StudyWindow(Entry):
    """Takes the place of the rule (twelve months before, everything after settling-in) for one installation."""

    installation = models.ForeignKey(Installation, on_delete=models.CASCADE, related_name="study_windows")
    before_months = models.PositiveSmallIntegerField(
        _("months before"), default=12, validators=[MinValueValidator(1), MaxValueValidator(60)]
    )
    after_from = models.DateField(_("after, from"), null=True, blank=True)
    after_until = models.DateField(_("after, until"), null=True, blank=True)
    reason = models.CharField(_("reason"), max_length=300)

    moments = {"after_from": MomentKind.PLANNED, "after_until": MomentKind.PLANNED}

    objects = StudyWindowQuerySet.as_manager()

    exported = Exported(
        "study_windows",
        meanings={"installation": _("the device in its place")},
        units={"before_months": "mo"},
    )

    class Meta:
        verbose_name = _("window of a comparison")
        verbose_name_plural = _("windows of comparisons")
        ordering = ["-created_at"]

    def __str__(self) -> str:
        return f"{self.installation}: {self.before_months} months before"


class StudyNoteQuerySet(EntryQuerySet["StudyNote"]):
    plant_path = "installation__plant"


class StudyNote(Entry):
    """What somebody who knows the place has to say about a comparison. It stays with it and goes into its files."""

    installation = models.ForeignKey(
        Installation,
        on_delete=models.CASCADE,
        related_name="study_notes",
        editable=False,
        verbose_name=_("installation"),
    )
    text = models.TextField(_("note"), max_length=2000)

    objects = StudyNoteQuerySet.as_manager()

    exported = Exported("study_notes")

    class Meta:
        verbose_name = _("note on a comparison")
        verbose_name_plural = _("notes on comparisons")
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.installation}: {self.text[:60]}"

    @property
    def plant(self) -> Plant:
        return self.installation.plant
