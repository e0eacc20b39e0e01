"""Two kinds of rows: a Record may change and keeps its history; an Entry never changes and is corrected by a row."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Collection, Iterable
from typing import Any, ClassVar, Self, TypeVar

from django.apps import apps
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from plant.calc.moments import MomentKind
from plant.signals import rows_written

from .moments import moment_fault

AnyModel = TypeVar("AnyModel", bound=models.Model, covariant=True)


class PlantQuerySet(models.QuerySet[AnyModel]):
    """Rows that belong to one plant; `plant_path` leads from the row to its plant."""

    plant_path = "plant"

    def visible_to(self, person: Any) -> Self:
        """Rows of the plants that this person belongs to; none for a stranger."""
        if not person.is_authenticated:
            return self.none()
        membership = apps.get_model("plant", "Membership")
        return self.filter(**{f"{self.plant_path}_id__in": membership.objects.filter(person=person).values("plant_id")})

    def of_plant(self, plant: Any) -> Self:
        return self.filter(**{self.plant_path: plant})

    # Django sends no signal of these two. Kept results must learn of every write, so they send one of their own.
    def bulk_create(self, objs: Iterable[AnyModel], *args: Any, **kwargs: Any) -> list[AnyModel]:
        rows = list(objs)
        if not rows or not rows_written.has_listeners(self.model):
            return super().bulk_create(rows, *args, **kwargs)
        with transaction.atomic(using=self.db):
            made = super().bulk_create(rows, *args, **kwargs)
            rows_written.send(self.model, plants={plant_id_of(each) for each in rows}, rows=rows)
        return made

    def update(self, **kwargs: Any) -> int:
        if not rows_written.has_listeners(self.model):
            return super().update(**kwargs)
        with transaction.atomic(using=self.db):
            # Before the rows change: they may be no longer among the chosen ones after.
            plants = set(self.order_by().values_list(self.plant_path, flat=True).distinct())
            changed = super().update(**kwargs)
            if changed:
                rows_written.send(self.model, plants=plants, rows=None)
        return changed

    update.alters_data = True  # type: ignore[attr-defined]
    bulk_create.alters_data = True  # type: ignore[attr-defined]


def plant_id_of(row: models.Model) -> int | None:
    """The key of the plant that a row belongs to, by the path of its query set; None where it belongs to all."""
    *parents, last = type(row)._default_manager.all().plant_path.split("__")  # type: ignore[attr-defined]
    for name in parents:
        row = getattr(row, name)
    found: int | None = row.pk if last == "pk" else getattr(row, f"{last}_id")
    return found


class EntryQuerySet(PlantQuerySet[AnyModel]):
    def current(self) -> Self:
        """Rows that count: neither corrected by a later row nor withdrawn."""
        return self.filter(corrected_by__isnull=True, is_withdrawn=False)

    def with_corrections(self) -> Self:
        """Every row that was ever written, the corrected ones too."""
        return self.all()


class Row(models.Model):
    """What every row has: the client's key (a form sent twice counts once), who wrote it and when."""

    client_key = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    created_at = models.DateTimeField(_("entered at"), default=timezone.now, editable=False)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        verbose_name=_("entered by"),
        null=True,
        blank=True,
        editable=False,
        on_delete=models.PROTECT,
        related_name="+",
    )

    # What the moments and days that people give are of, by column; all others only lie in the calendar of a book.
    moments: ClassVar[dict[str, MomentKind]] = {}

    # Read by the history: who changed the row and why, where no request tells it.
    _history_user: Any
    _change_reason: str | None

    class Meta:
        abstract = True

    def clean_fields(self, exclude: Collection[str] | None = None) -> None:
        super().clean_fields(exclude={*(exclude or ()), *self.names_of_rows_at_hand()})
        faults = {name: words for name, words in self.moment_faults().items() if name not in (exclude or ())}
        if faults:
            raise ValidationError(faults)

    def names_of_rows_at_hand(self) -> list[str]:
        """Columns that name a row which was read already: that it is there need not be asked for once more."""
        return [
            column.name
            for column in self._meta.concrete_fields
            if isinstance(column, models.ForeignKey)
            and not column.get_limit_choices_to()
            and (row := column.get_cached_value(self, default=None)) is not None
            and row.pk is not None
            and not row._state.adding
        ]

    def moment_faults(self) -> dict[str, str]:
        """Sentences about moments that cannot be, by column."""
        found = {}
        for column in self._meta.concrete_fields:
            value = getattr(self, column.attname)
            if isinstance(column, models.DateField) and isinstance(value, dt.date):
                words = moment_fault(value, self.moments.get(column.name, MomentKind.CLOCK))
                if words:
                    found[column.name] = words
        return found


class Record(Row):
    """A row that people change: `version` tells a second editor that a first one was there."""

    version = models.PositiveIntegerField(default=1, editable=False)
    history = HistoricalRecords(inherit=True)

    # Models whose rows are parts of this record: they came with it and go with it, where nothing hangs on them either.
    parts_of_it: ClassVar[tuple[str, ...]] = ()

    class Meta:
        abstract = True


class Entry(Row):
    """A row that is never changed. A correction is a further row that names the one it replaces."""

    corrects = models.OneToOneField(
        "self", null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="corrected_by"
    )
    correction_reason = models.CharField(_("reason of the correction"), max_length=300, blank=True)
    is_withdrawn = models.BooleanField(_("withdrawn"), default=False, editable=False)

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError(f"{type(self).__name__} rows are never overwritten; write a row that corrects it.")
        super().save(*args, **kwargs)

    @property
    def counts(self) -> bool:
        return not self.is_withdrawn and not hasattr(self, "corrected_by")


class ImportedEntry(Entry):
    """An entry that a file may bring. `import_batch` is the file that brought the row, empty where a person wrote it:
    a person's correction stands, one that a file brought may be followed by the next file's."""

    import_batch = models.ForeignKey(
        "plant.ImportBatch", null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        abstract = True


def label_of(model: type[models.Model], name: str) -> str:
    """What a field of a model is called."""
    field: Any = model._meta.get_field(name)
    return str(field.verbose_name)
