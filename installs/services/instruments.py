"""Instruments of a plant: added, changed, calibrated, put out of use."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.fasteners import permissible_deviation_pct
from installs.models import Instrument
from installs.services.installations import refuse, refuse_bound
from installs.words.bounds import BoundRule
from plant.models import Plant
from plant.services.records import CONSTRAINT_WORDS, all_but, change_record, create_record, known_row
from plant.words.moments import day_words

CONSTRAINT_WORDS.update(
    {
        "instrument_number_once": gettext_lazy("An instrument of this number is in the book already."),
        "instrument_calibration_order": gettext_lazy("The calibration is due after the day it was done."),
    }
)


def check_instrument(plant: Plant, values: Mapping[str, Any], *, but: Instrument | None = None) -> None:
    """Raises Refused, with the field, where figures of an instrument do not go together."""

    def given(name: str) -> Any:
        return values.get(name, getattr(but, name, None))

    number = (given("number") or "").strip()
    if all_but(Instrument.objects.filter(plant=plant, number__iexact=number), but).exists():
        refuse("number", "number_known", _("Instrument %s is in the book already. Give another number.") % number)
    low, high = given("range_least_nm"), given("range_most_nm")
    for name, value in (("range_least_nm", low), ("range_most_nm", high)):
        if value is not None and value < 0:
            refuse_bound(name, "negative", BoundRule.NEGATIVE_TORQUE, given_nm=value, least_nm=0.0)
    if high is not None and high == 0:
        refuse_bound("range_most_nm", "zero", BoundRule.RANGE_OF_NOTHING, most_nm=0.0)
    if low is not None and high is not None and low >= high:
        refuse_bound("range_least_nm", "order", BoundRule.RANGE_ORDER, low_nm=low, high_nm=high)
    check_calibration(given("calibrated_on"), given("calibration_due_on"))


def check_calibration(done: dt.date | None, due: dt.date | None) -> None:
    if done is not None and done > timezone.localdate():
        refuse("calibrated_on", "future", _("%s has not come yet; give the day it was done.") % day_words(done))
    if done is not None and due is not None and due < done:
        refuse(
            "calibration_due_on",
            "order",
            _("It was calibrated on %(done)s and would be due on %(due)s, before that. Give a later day.")
            % {"done": day_words(done), "due": day_words(due)},
        )


def with_deviation(values: dict[str, Any], kind: str, deviation_pct: float | None, most: float | None) -> None:
    """A torque wrench without a figure of its certificate gets the one of ISO 6789, to be seen and changed."""
    if kind == Instrument.Kind.TORQUE_WRENCH and deviation_pct is None and most:
        values["deviation_pct"] = permissible_deviation_pct(most)


@transaction.atomic
def add_instrument(*, plant: Plant, by: Any, client_key: uuid.UUID | None = None, **values: Any) -> Instrument:
    """Write an instrument into the register.

    Raises
    ------
    Refused
        If its number is known, its range or dates are in the wrong order, or a value is not allowed.
    """
    known = known_row(Instrument, client_key)
    if known is not None:
        return known
    check_instrument(plant, values)
    kind = values.get("kind", Instrument.Kind.TORQUE_WRENCH)
    with_deviation(values, kind, values.get("deviation_pct"), values.get("range_most_nm"))
    return create_record(Instrument, by=by, client_key=client_key, plant=plant, **values)


@transaction.atomic
def change_instrument(instrument: Instrument, *, by: Any, version: int, reason: str = "", **values: Any) -> Instrument:
    """Change what is in the book of an instrument; what stood there stays in its history.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_record` and `add_instrument`.
    """
    check_instrument(instrument.plant, values, but=instrument)
    return change_record(instrument, by=by, version=version, reason=reason, **values)


@transaction.atomic
def calibrate_instrument(
    instrument: Instrument,
    *,
    by: Any,
    version: int,
    calibrated_on: dt.date | None,
    calibration_due_on: dt.date | None,
    certificate: str = "",
    deviation_pct: float | None = None,
) -> Instrument:
    """Record a calibration: the day, the day it holds to, the certificate, the deviation that it allows.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_record`; if a day is missing, lies ahead or before the other; or if the instrument is out of use.
    """
    if instrument.retired_on is not None:
        words = _("%(instrument)s is no longer used since %(on)s. Take that day out first.") % {
            "instrument": instrument,
            "on": day_words(instrument.retired_on),
        }
        refuse("calibrated_on", "retired", words)
    if calibrated_on is None:
        refuse("calibrated_on", "missing", _("Give the day on which it was calibrated."))
    if calibration_due_on is None:
        refuse("calibration_due_on", "missing", _("Give the last day on which the calibration holds."))
    check_calibration(calibrated_on, calibration_due_on)
    values: dict[str, Any] = {
        "calibrated_on": calibrated_on,
        "calibration_due_on": calibration_due_on,
        "certificate": certificate,
    }
    if deviation_pct is not None:
        values["deviation_pct"] = deviation_pct
    return change_record(instrument, by=by, version=version, reason=_("calibrated"), **values)
