"""Plants that were taken out of this site as one file: who asked, when, and what came of it."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from .base import PlantQuerySet, Row
from .exported import NotExported
from .jobs import Job
from .plants import Plant


class PlantExport(Row):
    """One file with everything of a plant. The row stays when the file is cleared away."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="exports", editable=False)
    job = models.ForeignKey(Job, null=True, blank=True, on_delete=models.SET_NULL, related_name="plant_exports")
    # Empty until it is there, and again once it was cleared away.
    file_name = models.CharField(_("file"), max_length=120, blank=True, editable=False)
    n_rows = models.PositiveIntegerField(_("rows"), default=0, editable=False)
    n_bytes = models.PositiveBigIntegerField(_("size"), default=0, editable=False)
    written_at = models.DateTimeField(_("written"), null=True, blank=True, editable=False)
    cleared_at = models.DateTimeField(_("cleared away"), null=True, blank=True, editable=False)

    objects = PlantQuerySet.as_manager()

    exported = NotExported(_("who took files of this site, and when"))

    class Meta:
        verbose_name = _("export of a plant")
        verbose_name_plural = _("exports of plants")
        ordering = ["-created_at", "-pk"]
        permissions = [("export_plant", "Can take everything of a plant out")]

    def __str__(self) -> str:
        return f"{self.plant} {self.created_at:%Y-%m-%d %H:%M}"

    @property
    def standing(self) -> str:
        """waiting, running, there, cleared or failed."""
        if self.cleared_at is not None:
            return "cleared"
        if self.written_at is not None:
            return "there"
        is_alive = self.job is not None and self.job.state in (Job.State.WAITING, Job.State.RUNNING)
        return str(self.job.state) if is_alive and self.job is not None else "failed"
