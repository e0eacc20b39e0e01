"""Raw events of drift switches: kept as the control system wrote them, each once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from plant.calc.moments import MomentKind
from plant.errors import Refused
from plant.models import ConveyorPart, SwitchEvent
from plant.services.records import check_moment


@transaction.atomic
def keep_switch_events(rows: Iterable[Mapping[str, Any]]) -> int:
    """Keep many events at once; an event that is known already is left as it is.

    Parameters
    ----------
    rows : iterable of mappings
        drift_switch (ConveyorPart), at (datetime with a zone), is_on (bool), side ("drive", "off" or "").

    Returns
    -------
    int
        How many rows were given and are in the book now.

    Raises
    ------
    Refused
        If a part is not a drift switch, or a time has no zone, lies before every book or more than a day ahead.
    """
    fresh, now = [], timezone.now()
    for row in rows:
        part = row["drift_switch"]
        if part.kind != ConveyorPart.Kind.DRIFT_SWITCH:
            raise Refused(f"{part} is not a drift switch; name the switch that the event comes from.", code="no_switch")
        if row["at"].tzinfo is None:
            raise Refused(f"{row['at']} has no time zone; give the zone of the control system's clock.", code="no_zone")
        check_moment("at", row["at"], MomentKind.SHIFT, now)  # by the control system's clock
        fresh.append(SwitchEvent(**row))
    SwitchEvent.objects.bulk_create(fresh, ignore_conflicts=True, batch_size=1000)
    return len(fresh)
