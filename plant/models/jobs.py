"""Long work. The row is the job; the message to a worker is only a nudge, so a lost one costs nothing."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from .exported import NotExported


class JobQuerySet(models.QuerySet["Job"]):
    def unfinished(self) -> Self:
        return self.filter(state__in=[Job.State.WAITING, Job.State.RUNNING])


class Job(models.Model):
    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RUNNING = "running", _("running")
        DONE = "done", _("done")
        FAILED = "failed", _("failed")
        STOPPED = "stopped", _("stopped")

    kind = models.CharField(max_length=60)
    plant = models.ForeignKey("plant.Plant", null=True, blank=True, on_delete=models.CASCADE, related_name="jobs")
    args = models.JSONField(default=dict)
    # Work that may be done once only (a night, an import) has a key; a second request finds the first.
    key = models.CharField(max_length=120, null=True, blank=True, unique=True)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    holder = models.CharField(max_length=120, blank=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    nudged_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    done_units = models.PositiveIntegerField(default=0)
    total_units = models.PositiveIntegerField(default=0)
    words = models.CharField(max_length=200, blank=True)
    stop_requested = models.BooleanField(default=False)
    result = models.JSONField(null=True, blank=True)
    error = models.TextField(blank=True)
    requested_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    # Who asked is a person's request, named as in the log; empty for what the timetable asked for.
    request_id = models.CharField(max_length=64, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = JobQuerySet.as_manager()

    exported = NotExported(_("work of this site"))

    class Meta:
        verbose_name = _("job")
        verbose_name_plural = _("jobs")
        ordering = ["-created_at"]
        indexes = [
            # The sweep looks for jobs that nobody holds.
            models.Index(fields=["state", "heartbeat_at"], name="job_sweep"),
            # The banner looks for the last job of a kind that was done.
            models.Index(fields=["kind", "-finished_at"], name="job_last_done"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.state}"

    @property
    def share(self) -> float:
        return self.done_units / self.total_units if self.total_units else 0.0
