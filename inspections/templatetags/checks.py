"""Tags for the words of checks, actions and rounds: {{ task|put_off_words }}, {% because row.grade_because %}."""

from __future__ import annotations

from typing import Any

from django import template

from inspections.selectors.round_board import BoardStop
from inspections.words import (
    actions,
    backlog,
    check_rules,
    due_dates,
    fitting_clashes,
    grading,
    plan_advice,
    round_board,
    rounds,
    suspects,
    tasks,
    wear,
)
from plant.templatetags.quantities import units_of

register = template.Library()
register.filter(tasks.put_off_words)
register.filter(tasks.late_words)
register.filter(tasks.to_be_decided)
register.filter(actions.action_late_words)
register.filter(fitting_clashes.clash_words)
register.filter(due_dates.undated_words)
register.filter(wear.since_words)
register.filter(plan_advice.curve_words)
register.filter(plan_advice.says_words)
register.filter(plan_advice.change_words)
register.filter(plan_advice.shortened_words)
register.filter(backlog.figure_words)
register.filter(check_rules.label_words)
register.filter(rounds.fault_words)
register.filter(round_board.checks_words)
register.filter(round_board.spoken_words)
register.filter(round_board.spoken_with_faults)
register.filter(round_board.window_words)
register.filter(round_board.job_bar_words)
register.filter(round_board.job_bar_label)
register.filter(round_board.hours_words)
register.filter(round_board.plan_words)
register.filter("suspect_name", suspects.name_words)
register.filter("suspect_look", suspects.look_words)


@register.simple_tag(takes_context=True)
def because(context: Any, kept: Any) -> str:
    """Why a row has its grade, in the person's units: {% because row.grade_because %}; nothing where it says none."""
    return grading.because_words(kept or {}, units_of(context))


@register.simple_tag(takes_context=True)
def suspect_said(context: Any, suspect: Any) -> str:
    """What the book says of a suspect, in the person's units: {% suspect_said each %}."""
    return suspects.said_words(suspect, units_of(context))


@register.simple_tag(takes_context=True)
def wear_rate(context: Any, side: Any) -> str:
    """What a side loses in 1000 h, with limits, in the person's units: {% wear_rate side %}."""
    return wear.rate_words(side, units_of(context))


@register.simple_tag(takes_context=True)
def wear_reasons(context: Any, side: Any) -> str:
    """Why there is no date of the limit, or how the rate is to be taken: {% wear_reasons side %}."""
    return wear.wear_words(side, units_of(context))


@register.filter
def stop_classes(stop: BoardStop) -> str:
    """How a stop on the board of rounds is drawn."""
    shapes = {"locked": stop.stop.needs_lockout, "fixed": stop.is_fixed, "faulty": stop.faults}
    return " ".join(["stop", *(name for name, is_so in shapes.items() if is_so)])
