"""The fit-up sheet of a job: measures kept as they were read."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from installs.calc.fit_up_lines import FitUpLine
from installs.calc.fit_up_measures import Measures
from installs.models import Fitting, FitUp
from installs.selectors.fit_up import MEASURES, judge
from installs.services.fittings import refuse_if_over
from installs.words.fit_up import TEXTS, why_words
from plant.calc.reasons import NotAccepted
from plant.calc.units import UnitSystem
from plant.errors import ChangedMeanwhile, Refused
from plant.services.records import change_record, create_record, known_row
from plant.words.refusals import refused

# Where a line that cannot be is the sum of several measures, the one to look at first.
FIELD_OF_LINE = {
    "play_measured_mm": "extension_off_mm",
    "square_mm": "square_off_mm",
    "sensor_sum_mm": "sensor_clear_mm",
    "gap_drive_mm": "belt_off_by_mm",
    "gap_off_mm": "belt_off_by_mm",
}


def read_measures(values: Mapping[str, Any]) -> Measures:
    """Measures from what a form read.

    Raises
    ------
    Refused
        If a number is none that a tape can show; the field is named.
    """
    given = {name: values[name] for name in MEASURES if name in values}
    for name, value in given.items():
        try:
            Measures(**{name: value})
        except NotAccepted as error:
            raise refused(None, TEXTS, code="measure", fields={name: error.reason}) from error
    return Measures(**given)


def field_of(line: FitUpLine) -> str:
    """The measure to look at where a line cannot be."""
    if line.key.startswith("extension_") and line.measured is None:
        return "frame_length_mm"
    return FIELD_OF_LINE.get(line.key, line.key)


@transaction.atomic
def save_fit_up(
    *, fitting: Fitting, by: Any, version: int, client_key: uuid.UUID | None = None, **values: Any
) -> FitUp:
    """Keep the measures of a job. Several people may fill one sheet in; what one saved the next has to see first.

    Parameters
    ----------
    version : int
        Version of the sheet that the person opened; 0 where there was none.
    **values
        Fields of FitUp, lengths in mm.

    Raises
    ------
    ChangedMeanwhile
        If somebody else saved the sheet since.
    Refused
        If the job is accepted or over, or a number cannot be; the words hold the arithmetic.
    """
    known = known_row(FitUp, client_key)
    if known is not None and known.fitting_id == fitting.pk and not version:
        return known  # the first saving of this form came twice
    refuse_if_over(fitting)
    if fitting.accepted_at is not None:
        raise Refused(_("The job is accepted; its fit-up stays as it was."), code="accepted")
    sheet: FitUp | None = FitUp.objects.select_for_update().filter(fitting=fitting).first()
    before = {} if sheet is None else {name: getattr(sheet, name) for name in MEASURES}
    result = judge(fitting, read_measures({**before, **values}))
    if sheet is not None and version != sheet.version:
        words = _("Somebody else changed this sheet meanwhile. Your text is kept below; look at both and save again.")
        raise ChangedMeanwhile(words, current=sheet)
    if result.refused:
        told: dict[str, str] = {}
        for line in result.refused:
            told.setdefault(field_of(line), why_words(line, UnitSystem(by.unit_system)))
        raise Refused(" ".join(dict.fromkeys(told.values())), code="impossible", fields=told)
    if sheet is None:
        return create_record(FitUp, by=by, client_key=client_key, fitting=fitting, **values)
    return change_record(sheet, by=by, version=version, **values)
