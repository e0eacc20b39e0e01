"""The fit-up of a job on pages of others: {% fit_up_summary fitting %}."""

from __future__ import annotations

from typing import Any

from django import template

from installs.files.fit_up_sheet import shown_for
from installs.models import Fitting
from installs.selectors.torque import torque_rows
from plant.templatetags.quantities import units_of

register = template.Library()


@register.inclusion_tag("installs/_fit_up_summary.html", takes_context=True)
def fit_up_summary(context: Any, fitting: Fitting) -> dict[str, Any]:
    """Drawing, lines and torques of a job as they were saved."""
    system = units_of(context)
    return {
        "fitting": fitting,
        "sheet": shown_for(fitting, system),
        "torques": torque_rows(fitting),
        "units": system,
        "drawing_id": f"fit-up-{fitting.pk}",
    }
