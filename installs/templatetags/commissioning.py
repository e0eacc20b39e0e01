"""Tags for the words of a job at a belt."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template

from installs.selectors.fittings import ReadinessLine
from installs.selectors.job_steps import Step
from installs.words import commissioning, fittings, job_steps, torque
from plant.calc.reasons import Reason
from plant.templatetags.quantities import units_of

register = template.Library()
register.filter(job_steps.act_words)
register.filter(job_steps.step_label)
register.filter(job_steps.words_of_isolation)
register.filter(fittings.readiness_label)


@register.simple_tag(takes_context=True)
def commissioning_words(context: Any, reasons: Reason | Iterable[Reason]) -> str:
    """A line of an acceptance or what is missing: {% commissioning_words line.why %}."""
    return commissioning.commissioning_words(reasons, units_of(context))


@register.simple_tag(takes_context=True)
def readiness_words(context: Any, line: ReadinessLine) -> str:
    """What the book knows of something that a job needs: {% readiness_words line %}."""
    return fittings.readiness_words(line, units_of(context))


@register.simple_tag(takes_context=True)
def step_words(context: Any, step: Step) -> tuple[str, ...]:
    """What stands below a line of the job: {% step_words step as told %}."""
    return job_steps.step_words(step, units_of(context))


@register.simple_tag(takes_context=True)
def torque_reasons(context: Any, reasons: Reason | Iterable[Reason]) -> str:
    """How a target came about, or what a tool can tell: {% torque_reasons row.target.why %}."""
    return torque.torque_reasons(reasons, units_of(context))
