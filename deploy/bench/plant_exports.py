"""How fast a plant is taken out and read in, beside a plain read and a plain insert of the same rows."""

from __future__ import annotations

import datetime as dt
import resource
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.db import models, transaction

from inspections.models import CheckKind
from plant.files.plant_export import write_folder
from plant.models import Area, Conveyor, Plant, RunRecord
from plant.selectors.export_tables import own_models
from plant.services.plant_import.writing import import_plant

AT_ONCE = 2000


@dataclass(frozen=True)
class ExportSpeed:
    """Seconds for the same rows, and by how much the process grew at most meanwhile [MB].

    Attributes
    ----------
    read_s, insert_s : float
        A plain read of all columns, and a plain bulk insert.
    out_s, in_s : float
        Written as a folder; checked, written and held against it.
    """

    n_rows: int
    read_s: float
    out_s: float
    insert_s: float
    in_s: float
    out_grew_mb: float
    in_grew_mb: float


def measure(n_rows: int, now: dt.datetime) -> ExportSpeed:
    """Make a plant with so many spans of running hours, take it out and read it in again.

    Raises
    ------
    ValueError
        If the book holds a plant already.
    """
    if Plant.objects.exists():
        raise ValueError("this book holds a plant already; name an empty one")
    plant = made_up_plant(n_rows, now)
    rows = RunRecord._base_manager.order_by("pk")
    names = [each.attname for each in RunRecord._meta.concrete_fields]

    def read() -> None:
        for _row in rows.values_list(*names).iterator(chunk_size=AT_ONCE):
            pass

    with tempfile.TemporaryDirectory(prefix="driftbook-export-") as aside:
        folder = Path(aside) / "out"
        read_s = seconds(read)
        before = peak_mb()
        out_s = seconds(lambda: write_folder(plant, folder, now=now))
        out_grew_mb = peak_mb() - before
        with transaction.atomic():
            empty_tables()
            before = peak_mb()
            in_s = seconds(lambda: import_plant(folder))
            in_grew_mb = peak_mb() - before
            transaction.set_rollback(True)
        kept = list(rows.values(*names))
        with transaction.atomic():
            empty_tables()
            insert_s = seconds(lambda: insert(kept))
            transaction.set_rollback(True)
    return ExportSpeed(n_rows, read_s, out_s, insert_s, in_s, out_grew_mb, in_grew_mb)


def made_up_plant(n_rows: int, now: dt.datetime) -> Plant:
    plant = Plant.objects.create(name="Made-up Works", time_zone="UTC")
    area = Area.objects.create(plant=plant, code="A", name="Made up")
    belt = Conveyor.objects.create(
        plant=plant, area=area, tag="M-1", belt_width_mm=1200.0, speed_m_s=2.5, length_m=200.0
    )
    hour = dt.timedelta(hours=1)
    for first in range(0, n_rows, AT_ONCE):
        RunRecord._base_manager.bulk_create(
            RunRecord(conveyor=belt, starts_at=now - (n + 1) * hour, ends_at=now - n * hour, running_h=n % 60 / 60)
            for n in range(first, min(first + AT_ONCE, n_rows))
        )
    return plant


def insert(kept: list[dict[str, Any]]) -> None:
    """The plain way: the same rows, in pieces of the same size."""
    for first in range(0, len(kept), AT_ONCE):
        RunRecord._base_manager.bulk_create([RunRecord(**each) for each in kept[first : first + AT_ONCE]])


def empty_tables() -> None:
    """Take every row of the product away but what migrations write; within a transaction that is taken back."""
    for model in own_models():
        if hasattr(model, "history"):
            delete(model.history.model._base_manager.all())
        for each in model._meta.local_many_to_many:
            links: Any = each.remote_field.through
            delete(links._base_manager.all())
    for model in own_models():
        delete(model._base_manager.exclude(plant=None) if model is CheckKind else model._base_manager.all())


def delete(rows: models.QuerySet[Any]) -> None:
    rows._raw_delete(rows.db)


def seconds(act: Callable[[], object]) -> float:
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


def peak_mb() -> float:
    """The most memory that this process held so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
