"""Figures of the site for Prometheus, in its text format.

Requests are counted in each process that serves pages. Where several do, they share the folder that
PROMETHEUS_MULTIPROC_DIR names (`deploy/start` makes one), and whichever is asked answers for all of that machine.
Everything else is read from the book, so it is the same whoever answers: jobs and mails are counted in rows
(`plant.models.Tally`), also those of workers on other machines.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Iterator

from django.conf import settings
from django.db import DatabaseError
from django.utils import timezone
from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from plant.models import LifeSign, Tally
from plant.selectors.backups import last_backups
from plant.selectors.health import (
    behind_kept,
    database_bytes,
    failed_jobs,
    free_bytes,
    last_sign,
    queue,
    seconds_since,
    tallies,
)

BUCKETS_S = (0.025, 0.05, 0.1, 0.25, 0.5, 1, 2, 5, 10, 30)
OWN = CollectorRegistry()
REQUESTS = Counter("driftbook_requests", "Requests that were answered.", ["route", "method", "status"], registry=OWN)
SECONDS = Histogram(
    "driftbook_request_seconds", "Time until the answer was made.", ["route"], buckets=BUCKETS_S, registry=OWN
)


def note_request(route: str, method: str, status: int, seconds: float) -> None:
    """Count an answer. A route is the name of an address, so that keys of rows make no new one."""
    REQUESTS.labels(route, method, str(status)).inc()
    SECONDS.labels(route).observe(seconds)


class BookCollector(Collector):
    """What the book and the machine say at the moment that they are asked."""

    def collect(self) -> Iterator[Metric]:
        now = timezone.now()
        about = GaugeMetricFamily("driftbook_info", "Version of the site.", labels=["version"])
        about.add_metric([settings.VERSION], 1)
        yield about
        free = free_bytes()
        if free is not None:
            yield GaugeMetricFamily("driftbook_disk_free_bytes", "Free where the data folder lies.", value=free)
        newest = last_backups(most=1).newest
        if newest is not None:
            age_s = seconds_since(newest.made_at, now) or 0.0
            yield GaugeMetricFamily("driftbook_last_backup_seconds", "Since the newest backup.", value=age_s)
        try:
            found = [*self.counted(), *self.gauges(now)]
        except DatabaseError:
            found = []
        yield GaugeMetricFamily("driftbook_database_up", "Whether the data base answers.", value=float(bool(found)))
        yield from found

    def counted(self) -> Iterator[Metric]:
        jobs = CounterMetricFamily("driftbook_jobs", "Jobs that are over.", labels=["kind", "outcome"])
        for each in tallies(Tally.What.JOB):
            jobs.add_metric([each.kind, each.outcome], each.n)
        yield jobs
        mails = CounterMetricFamily("driftbook_mails", "Mails that left or were refused.", labels=["outcome"])
        for each in tallies(Tally.What.MAIL):
            mails.add_metric([each.outcome], each.n)
        yield mails

    def gauges(self, now: dt.datetime) -> Iterator[Metric]:
        jobs = queue()
        oldest_s = seconds_since(jobs.oldest_at, now)
        yield GaugeMetricFamily("driftbook_jobs_waiting", "Jobs that wait.", value=jobs.n_waiting)
        yield GaugeMetricFamily("driftbook_jobs_running", "Jobs that are being done.", value=jobs.n_running)
        n_failed = failed_jobs(now).count()
        yield GaugeMetricFamily("driftbook_jobs_failed", "Jobs that failed and were not made good.", value=n_failed)
        yield GaugeMetricFamily("driftbook_oldest_job_seconds", "How long the oldest one waits.", value=oldest_s or 0.0)
        yield GaugeMetricFamily("driftbook_kept_behind", "Kept results behind the book.", value=behind_kept().count())
        size = database_bytes()
        yield GaugeMetricFamily("driftbook_database_bytes", "Size of the book without its files.", value=size)
        for part in LifeSign.Part.values:
            seen_s = seconds_since(last_sign(LifeSign.Part(part)), now)
            if seen_s is not None:
                yield GaugeMetricFamily(f"driftbook_{part}_seen_seconds", f"Since the {part} was seen.", value=seen_s)


def site_metrics() -> bytes:
    """All figures as text."""
    registry = CollectorRegistry()
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        MultiProcessCollector(registry)  # type: ignore[no-untyped-call]  # the library leaves it out
    else:
        registry.register(OWN_COLLECTOR)
    registry.register(BookCollector())
    return generate_latest(registry)


class OwnCollector(Collector):
    """The counters of this process, where no other serves pages."""

    def collect(self) -> Iterator[Metric]:
        yield from OWN.collect()


OWN_COLLECTOR = OwnCollector()
