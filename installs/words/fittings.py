"""What a planned fitting lacks, in words, and the jobs that it clashes with."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db.models import Choices
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from installs.models import Fitting, FittingNeed, Installation, Survey
from installs.selectors.fittings import Clash, Needed, ReadinessLine, ReadinessRule
from installs.words.installations import place_words
from plant.calc.chainage import format_chainage
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.calc.wording import figure
from plant.words.moments import moment_words
from plant.words.reasons import Texts

LABELS: Texts = {
    Needed.SURVEY: _("Survey"),
    Needed.DEVICE: _("Device"),
    Needed.PLACE: _("Place"),
    Needed.NEEDS: _("Parts and tools"),
    Needed.WINDOW: _("Outage window"),
    Needed.CREW: _("Crew"),
    Needed.PERMIT: _("Permit"),
    Needed.INSTRUMENT: _("Torque wrench"),
}
TEXTS: Texts = {
    ReadinessRule.NO_SURVEY: _("No survey of the place belongs to this job."),
    ReadinessRule.SURVEY_OPEN: _("The survey is not closed yet."),
    ReadinessRule.SURVEY_SAYS: _("The survey says: %(result)s."),
    ReadinessRule.SURVEY_SAYS_CONDITIONS: _("The survey says: %(result)s. Conditions: %(conditions)s"),
    ReadinessRule.NO_DEVICE: _("No device is chosen yet; a %(model)s is planned."),
    ReadinessRule.DEVICE_SCRAPPED: _("Device %(number)s was scrapped on %(scrapped_on)s."),
    ReadinessRule.DEVICE_STANDS: _("Device %(number)s still stands on %(place)s."),
    ReadinessRule.DEVICE_PLANNED: _("Device %(number)s is planned for another job too: %(job)s."),
    ReadinessRule.DEVICE_FREE: _("Device %(number)s stands in no place."),
    ReadinessRule.PLACE_TAKEN: _("Device %(number)s still stands in this place."),
    ReadinessRule.PLACE_FREE: _("No device stands in this place."),
    ReadinessRule.NO_NEEDS: _("The model lists no parts or tools; put on the list of the job what it needs."),
    ReadinessRule.NEED_SHORT: _("%(name)s: %(there)s of %(needed)s at hand."),
    ReadinessRule.NEEDS_AT_HAND: ngettext_lazy(
        "%(n)s part or tool is at hand.", "All %(n)s parts and tools are at hand.", "n"
    ),
    ReadinessRule.NO_WINDOW: _("No outage window is chosen."),
    ReadinessRule.PLANNED_IN_NO_WINDOW: _("Planned for %(planned_at)s, in no outage window."),
    ReadinessRule.WINDOW_PASSED: _("The window %(begins_at)s to %(ends_at)s has passed."),
    ReadinessRule.WINDOW_SHORT: _(
        "The window %(begins_at)s to %(ends_at)s leaves %(there_h)s h from the planned start, the job takes "
        "%(needed_h)s h."
    ),
    ReadinessRule.WINDOW_CLASHES: "%(clashes)s",
    ReadinessRule.WINDOW_LONG_ENOUGH: _(
        "%(begins_at)s to %(ends_at)s; from the planned start %(there_h)s h are left for a job of %(needed_h)s h."
    ),
    ReadinessRule.NO_CREW: _("Nobody is named for the job."),
    ReadinessRule.CREW_CLASHES: "%(clashes)s",
    ReadinessRule.CREW_NAMED: _("%(people)s."),
    ReadinessRule.NO_PERMIT: _("No permit reference is written down."),
    ReadinessRule.PERMIT_NAMED: _("Reference %(reference)s. A number is no permit: look at the paper."),
    ReadinessRule.NO_WRENCH: _("No torque wrench is in calibration on %(day)s."),
    ReadinessRule.WRENCH_COVERS_NOT: _(
        "No wrench that is in calibration on %(day)s covers %(low_nm_number)s to %(high_nm)s."
    ),
    ReadinessRule.WRENCHES: _("In calibration on %(day)s: %(numbers)s."),
}


def readiness_label(line: ReadinessLine) -> str:
    """What the thing is called that the job needs."""
    need = line.known.get("need")
    return str(need.get_kind_display().capitalize() if need is not None else LABELS[line.about])


def readiness_words(line: ReadinessLine, system: UnitSystem) -> str:
    """What the book knows of it, in the person's units."""
    return str(TEXTS[line.rule] % _known_words(line.known, system))


def job_words(fitting: Fitting | Survey, system: UnitSystem) -> str:
    """S-12, return strand, 120 m."""
    return str(
        _("%(tag)s, %(strand)s, %(chainage)s")
        % {
            "tag": fitting.conveyor.tag,
            "strand": fitting.get_strand_display(),
            "chainage": format_chainage(fitting.chainage_m, system),
        }
    )


def clash_words(clash: Clash, system: UnitSystem) -> str:
    """Another job at the same time: on the same belt, or with people of this one."""
    job = clash.job
    when = moment_words(job.planned_at) if job.planned_at else ""
    known = {"job": job_words(job, system), "when": when, "hours": figure(job.duration_h)}
    if not clash.people:
        text = _("Another job is planned on this belt at the same time: %(job)s, %(when)s for %(hours)s h.")
        return str(text % known)
    known["who"] = _said(clash.people, system)
    return str(_("%(who)s is planned at the same time for %(job)s, %(when)s for %(hours)s h.") % known)


def _known_words(known: Mapping[str, Any], system: UnitSystem) -> dict[str, Any]:
    need: FittingNeed | None = known.get("need")
    if need is not None:
        return {"name": need.name, "there": need.at_hand, "needed": need.needed}
    written = {name: _said(value, system) for name, value in known.items()}
    for name in known.keys() & {"low_nm", "high_nm"}:
        written[name] = format_quantity(known[name], QuantityKind.TORQUE_NM, system)
        written[f"{name}_number"] = format_quantity(known[name], QuantityKind.TORQUE_NM, system, with_unit=False)
    return written


def _said(value: Any, system: UnitSystem) -> Any:
    if isinstance(value, tuple):
        between = " " if value and isinstance(value[0], Clash) else ", "
        return between.join(str(_said(each, system)) for each in value)
    if isinstance(value, Clash):
        return clash_words(value, system)
    if isinstance(value, Installation):
        return place_words(value, system)
    if isinstance(value, Fitting):
        return job_words(value, system)
    if isinstance(value, dt.datetime):
        return moment_words(value)
    if isinstance(value, dt.date):
        return date_format(value, "j M Y")
    if isinstance(value, float):
        return figure(value)
    if isinstance(value, Choices):
        return str(value.label)
    return value if isinstance(value, int) else str(value)
