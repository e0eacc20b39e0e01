"""The monthly report: a draft that is computed on every read, and editions that never change once published."""

from __future__ import annotations

from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from plant.models import Plant, PlantQuerySet, Record
from plant.models.exported import Exported


class MonthlyReportQuerySet(PlantQuerySet["MonthlyReport"]):
    def published(self) -> Self:
        return self.filter(published_at__isnull=False)

    def drafts(self) -> Self:
        return self.filter(published_at__isnull=True)


class MonthlyReport(Record):
    """One edition of one month. Publishing writes figures, rows and the state of the code in one act."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="monthly_reports", editable=False)
    month = models.DateField(_("month"), editable=False)  # its first day
    edition = models.PositiveSmallIntegerField(_("edition"), default=1, editable=False)
    reason = models.CharField(_("why a new edition"), max_length=300, blank=True)
    comment = models.TextField(_("the engineer's comment"), blank=True, max_length=4000)
    published_at = models.DateTimeField(_("published"), null=True, blank=True, editable=False)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="+"
    )
    code_version = models.CharField(max_length=60, blank=True, editable=False)
    # Both are empty in a draft and fixed at publication.
    content = models.JSONField(default=dict, blank=True, editable=False)
    rows = models.JSONField(default=dict, blank=True, editable=False)

    objects = MonthlyReportQuerySet.as_manager()

    exported = Exported(
        "monthly_reports",
        key=("month", "edition"),
        meanings={
            "published_by": _("who published it"),
            "code_version": _("version of the calculations that made it"),
            "content": _("figures and words as they were published; empty in a draft"),
            "rows": _("the rows behind them as they were published; empty in a draft"),
        },
        units={"edition": "1"},
        addresses_in=("content", "rows"),
        addresses={
            "incident-detail": "plant.Incident",
            "task-detail": "inspections.Task",
            "action-detail": "inspections.Action",
            "installation-detail": "installs.Installation",
            "effect-detail": "installs.Installation",
            "device-model-detail": "installs.DeviceModel",
            "?conveyor": "plant.Conveyor",
            "?area": "plant.Area",
        },
    )

    class Meta:
        verbose_name = _("monthly report")
        verbose_name_plural = _("monthly reports")
        ordering = ["-month", "-edition"]
        permissions = [("publish_monthlyreport", "Can publish a monthly report")]
        constraints = [
            models.UniqueConstraint(fields=["plant", "month", "edition"], name="month_edition_once"),
            models.UniqueConstraint(
                fields=["plant", "month"], condition=Q(published_at__isnull=True), name="month_one_draft"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plant} {self.month:%Y-%m}, edition {self.edition}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk and type(self)._default_manager.filter(pk=self.pk, published_at__isnull=False).exists():
            raise TypeError("A published month is never overwritten; draft a new edition.")
        super().save(*args, **kwargs)

    def get_absolute_url(self) -> str:
        return reverse("month-detail", args=[self.pk])

    @property
    def is_published(self) -> bool:
        return self.published_at is not None


class Subscription(models.Model):
    """A person who gets the month of a plant by e-mail."""

    plant = models.ForeignKey(Plant, on_delete=models.CASCADE, related_name="subscriptions")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="subscriptions")
    since = models.DateTimeField(default=timezone.now)

    objects = PlantQuerySet.as_manager()

    exported = Exported(
        "subscriptions",
        key=("person",),
        meanings={"person": _("who gets the month by e-mail"), "since": _("since when")},
    )

    class Meta:
        verbose_name = _("subscription")
        verbose_name_plural = _("subscriptions")
        constraints = [models.UniqueConstraint(fields=["plant", "person"], name="subscription_once")]

    def __str__(self) -> str:
        return f"{self.person}: {self.plant}"


class MonthMail(models.Model):
    """Which edition went to whom, so that a job that runs twice writes to nobody twice."""

    report = models.ForeignKey(MonthlyReport, on_delete=models.CASCADE, related_name="mails")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    claimed_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    failure = models.CharField(max_length=300, blank=True)  # what the mail server said last; empty where it was sent

    exported = Exported(
        "month_mails",
        key=("report", "person"),
        plant_path="report__plant",
        meanings={
            "report": _("the edition of the month"),
            "person": _("to whom it went"),
            "claimed_at": _("when the site began to send it"),
            "sent_at": _("when it was sent"),
            "tries": _("how often it was tried"),
            "failure": _("what the mail server said last; empty where it was sent"),
        },
        units={"tries": "1"},
    )

    class Meta:
        verbose_name = _("mail of a month")
        verbose_name_plural = _("mails of months")
        constraints = [models.UniqueConstraint(fields=["report", "person"], name="month_mail_once")]

    def __str__(self) -> str:
        return f"{self.report} to {self.person}"
