"""Results that are kept as rows, and the counters that tell whether one still holds."""

from __future__ import annotations

from typing import Self

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from .exported import NotExported


class WriteCounter(models.Model):
    """How often rows that a topic reads were written in a plant; raised in the transaction that writes them."""

    plant = models.ForeignKey("plant.Plant", on_delete=models.CASCADE, related_name="write_counters")
    topic = models.CharField(max_length=40)
    stamp = models.PositiveBigIntegerField(default=0)

    exported = NotExported(_("tells whether a kept result still holds"))

    class Meta:
        verbose_name = _("write counter")
        verbose_name_plural = _("write counters")
        constraints = [models.UniqueConstraint(fields=["plant", "topic"], name="one_counter_a_topic")]

    def __str__(self) -> str:
        return f"{self.topic} {self.stamp}"


class KeptResultQuerySet(models.QuerySet["KeptResult"]):
    def of_part(self, plant: object, topic: str, part: str) -> Self:
        return self.filter(plant=plant, topic=topic, part=part)


class KeptResult(models.Model):
    """The result of a topic for a plant, or a part of it that a page reads alone, as any process reads it.

    It holds while its stamp is that of the counter, its code that of the product, and its day today.
    """

    plant = models.ForeignKey("plant.Plant", on_delete=models.CASCADE, related_name="kept_results")
    topic = models.CharField(max_length=40)
    part = models.CharField(max_length=40)
    stamp = models.PositiveBigIntegerField()
    # What computed it: rows of another state of the product are not read.
    code = models.CharField(max_length=64)
    # The moment that it was computed for.
    as_of = models.DateTimeField()
    made_at = models.DateTimeField(default=timezone.now)
    took_s = models.FloatField(default=0.0)
    # By `plant.calc.codec`: JSON as text, because nobody looks into it with SQL and it may be megabytes.
    value = models.TextField()

    objects = KeptResultQuerySet.as_manager()

    exported = NotExported(_("a result that is computed anew from the book"))

    class Meta:
        verbose_name = _("kept result")
        verbose_name_plural = _("kept results")
        constraints = [models.UniqueConstraint(fields=["plant", "topic", "part"], name="one_kept_result_a_part")]

    def __str__(self) -> str:
        return f"{self.topic} {self.part} {self.as_of:%Y-%m-%d %H:%M}"
