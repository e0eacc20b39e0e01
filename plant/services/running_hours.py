"""Running hours: spans and meter readings, each written once and corrected by a further row."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.calc.moments import MomentKind
from plant.errors import Refused
from plant.models import Conveyor, ImportBatch, MeterReading, RunRecord
from plant.services.records import check_moment, correct_entry, create_record
from plant.words.moments import moment_words

# A meter and the clock of whoever reads it may differ by so much before a reading is doubted.
CLOCK_TOLERANCE_H = 1.0
SPAN_TOLERANCE_H = 0.02


def hours_words(hours: float) -> str:
    # Django's number_format cuts digits off instead of rounding.
    return f"{hours:,.1f} h"


def check_span(*, kind: str, starts_at: dt.datetime, ends_at: dt.datetime, running_h: float, now: dt.datetime) -> float:
    """The running hours of a span, or a refusal that names the field.

    Raises
    ------
    Refused
        If the span ends before it starts, lies in the future, or holds more running hours than the clock.
    """
    if ends_at <= starts_at:
        raise Refused(
            _("It ends %(end)s, not after it starts (%(start)s). Give a later end.")
            % {"end": moment_words(ends_at), "start": moment_words(starts_at)},
            fields={"ends_at": _("Must be later than the start.")},
        )
    check_moment("starts_at", starts_at, MomentKind.SHIFT, now)
    check_moment("ends_at", ends_at, MomentKind.SHIFT, now)
    span_h = (ends_at - starts_at) / dt.timedelta(hours=1)
    if kind == RunRecord.Kind.RUNNING:
        return span_h
    if kind == RunRecord.Kind.NO_DATA:
        return 0.0
    if running_h < 0:
        raise Refused(
            _("%(given)s is negative; running hours are 0 or more.") % {"given": hours_words(running_h)},
            fields={"running_h": _("Must be 0 or more.")},
        )
    if running_h > span_h + SPAN_TOLERANCE_H:
        raise Refused(
            _("%(given)s running in a span of %(span)s is more than the clock has. Check the hours and both times.")
            % {"given": hours_words(running_h), "span": hours_words(span_h)},
            fields={"running_h": _("At most %(span)s.") % {"span": hours_words(span_h)}},
        )
    return min(running_h, span_h)


def record_run(
    *,
    conveyor: Conveyor,
    by: Any,
    starts_at: dt.datetime,
    ends_at: dt.datetime,
    running_h: float | None = None,
    kind: str = RunRecord.Kind.TOTAL,
    source: str = "",
    import_batch: ImportBatch | None = None,
    client_key: uuid.UUID | None = None,
    now: dt.datetime | None = None,
) -> RunRecord:
    """Write the running hours of a span (or that it ran all the while, or that nothing is known)."""
    hours = check_span(
        kind=kind, starts_at=starts_at, ends_at=ends_at, running_h=running_h or 0.0, now=now or timezone.now()
    )
    return create_record(
        RunRecord,
        by=by,
        client_key=client_key,
        conveyor=conveyor,
        kind=kind,
        starts_at=starts_at,
        ends_at=ends_at,
        running_h=hours,
        source=source,
        import_batch=import_batch,
    )


@transaction.atomic
def record_runs(rows: Iterable[Mapping[str, Any]], *, by: Any, now: dt.datetime | None = None) -> int:
    """Write many spans at once; rows whose client key is known already are left as they are.

    Parameters
    ----------
    rows : iterable of mappings
        Each as the keywords of `record_run`; `client_key` is needed.

    Returns
    -------
    int
        How many were new.
    """
    now = now or timezone.now()
    fresh = []
    for row in rows:
        kind = row.get("kind", RunRecord.Kind.TOTAL)
        hours = check_span(
            kind=kind,
            starts_at=row["starts_at"],
            ends_at=row["ends_at"],
            running_h=row.get("running_h") or 0.0,
            now=now,
        )
        fresh.append(RunRecord(**{**row, "kind": kind, "running_h": hours, "created_by": by}))
    known = set(
        RunRecord.objects.filter(client_key__in=[each.client_key for each in fresh]).values_list(
            "client_key", flat=True
        )
        if len(fresh) <= 500
        else RunRecord.objects.filter(conveyor__in={each.conveyor_id for each in fresh}).values_list(
            "client_key", flat=True
        )
    )
    new = [each for each in fresh if each.client_key not in known]
    RunRecord.objects.bulk_create(new, ignore_conflicts=True, batch_size=1000)
    return len(new)


def correct_run(
    *, row: RunRecord, by: Any, reason: str, client_key: uuid.UUID | None = None, withdraw: bool = False, **values: Any
) -> RunRecord:
    """Write the row that takes the place of a span, or withdraw it."""
    if not withdraw:
        merged = {
            "kind": row.kind,
            "starts_at": row.starts_at,
            "ends_at": row.ends_at,
            "running_h": row.running_h,
            **values,
        }
        values["running_h"] = check_span(
            kind=merged["kind"],
            starts_at=merged["starts_at"],
            ends_at=merged["ends_at"],
            running_h=merged["running_h"] or 0.0,
            now=timezone.now(),
        )
    return correct_entry(row, by=by, reason=reason, client_key=client_key, withdraw=withdraw, **values)


def doubt_about_reading(
    *, conveyor: Conveyor, read_at: dt.datetime, reading_h: float, event: str, apart_from: MeterReading | None = None
) -> str:
    """Why a reading does not fit the one before and the one after; empty where it does."""
    if event == MeterReading.Event.FIRST_OF_NEW:
        return ""
    known = conveyor.meter_readings.current()
    if apart_from is not None:
        known = known.exclude(pk=apart_from.pk)
    before = known.filter(read_at__lte=read_at).order_by("-read_at", "-pk").first()
    if before is not None and before.event != MeterReading.Event.LAST_OF_OLD:
        words = doubt_between(before.read_at, before.reading_h, read_at, reading_h, conveyor.meter_rolls_over_at_h)
        if words:
            return words
    if event == MeterReading.Event.LAST_OF_OLD:
        return ""
    after = known.filter(read_at__gt=read_at).order_by("read_at", "pk").first()
    if after is not None and after.event != MeterReading.Event.FIRST_OF_NEW:
        return doubt_between(read_at, reading_h, after.read_at, after.reading_h, conveyor.meter_rolls_over_at_h)
    return ""


def doubt_between(
    earlier_at: dt.datetime, earlier_h: float, later_at: dt.datetime, later_h: float, rolls_over_at_h: float | None
) -> str:
    elapsed_h = (later_at - earlier_at) / dt.timedelta(hours=1)
    run_h = later_h - earlier_h
    known = {
        "earlier": hours_words(earlier_h),
        "on": moment_words(earlier_at),
        "later": hours_words(later_h),
        "run": hours_words(run_h),
        "elapsed": hours_words(elapsed_h),
    }
    if run_h < 0:
        if rolls_over_at_h and run_h + rolls_over_at_h <= elapsed_h + CLOCK_TOLERANCE_H:
            return ""
        return (
            _(
                "The meter would run backwards: %(later)s after %(earlier)s on %(on)s. Check the digits; "
                "if the meter was replaced, enter the last reading of the old one and the first of the new one."
            )
            % known
        )
    if run_h > elapsed_h + CLOCK_TOLERANCE_H:
        return (
            _("The meter would have run %(run)s in %(elapsed)s since %(on)s, more than the clock has. Check it.")
            % known
        )
    return ""


def record_meter_reading(
    *,
    conveyor: Conveyor,
    by: Any,
    read_at: dt.datetime,
    reading_h: float,
    event: str = MeterReading.Event.NORMAL,
    note: str = "",
    keep_doubtful: bool = False,
    import_batch: ImportBatch | None = None,
    client_key: uuid.UUID | None = None,
    now: dt.datetime | None = None,
) -> MeterReading:
    """Write what a meter showed. A reading that cannot be is asked back; it is kept where the person insists.

    The ledger sets a kept doubtful reading aside, so it never turns into hours.

    Raises
    ------
    Refused
        With code "doubtful" where the reading does not fit its neighbours.
    """
    if client_key and (known := MeterReading.objects.filter(client_key=client_key).first()):
        return known
    check_moment("read_at", read_at, MomentKind.HAPPENED, now or timezone.now())
    if reading_h < 0:
        raise Refused(
            _("%(given)s is negative; a meter shows 0 or more.") % {"given": hours_words(reading_h)},
            fields={"reading_h": _("Must be 0 or more.")},
        )
    doubt = doubt_about_reading(conveyor=conveyor, read_at=read_at, reading_h=reading_h, event=event)
    if doubt and not keep_doubtful:
        raise Refused(doubt, code="doubtful", fields={"reading_h": doubt})
    return create_record(
        MeterReading,
        by=by,
        client_key=client_key,
        conveyor=conveyor,
        read_at=read_at,
        reading_h=reading_h,
        event=event,
        note=note,
        import_batch=import_batch,
    )


def correct_meter_reading(
    *,
    row: MeterReading,
    by: Any,
    reason: str,
    client_key: uuid.UUID | None = None,
    withdraw: bool = False,
    keep_doubtful: bool = False,
    **values: Any,
) -> MeterReading:
    """Write the row that takes the place of a reading, or withdraw it."""
    if not withdraw:
        merged = {"read_at": row.read_at, "reading_h": row.reading_h, "event": row.event, **values}
        check_moment("read_at", merged["read_at"], MomentKind.HAPPENED, timezone.now())
        doubt = doubt_about_reading(
            conveyor=row.conveyor,
            read_at=merged["read_at"],
            reading_h=merged["reading_h"],
            event=merged["event"],
            apart_from=row,
        )
        if doubt and not keep_doubtful:
            raise Refused(doubt, code="doubtful", fields={"reading_h": doubt})
    return correct_entry(row, by=by, reason=reason, client_key=client_key, withdraw=withdraw, **values)
