"""Spares in words."""

from __future__ import annotations

from django import template
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from reports.lives import Spares
from reports.templatetags.effect import one, run_hours

register = template.Library()


def whole(value: float) -> str:
    return number_format(round(value), 0)


@register.filter
def spare_words(spares: Spares) -> str:
    """12.3 (8 to 17) for failures; 3.2 (1 to 7) for parts changed while sound, if that goes on as so far."""
    if spares.n_in_service == 0:
        return _("0: none is in service")
    if spares.n_unknown_speed == spares.n_in_service:
        return _("not known: the running hours of late are not known of any belt with such parts")
    parts = [failure_words(spares), change_words(spares)]
    if spares.n_unknown_speed:
        left_out = ngettext(
            "without %(n)s of %(all)s part in service, whose belt's running hours are not known",
            "without %(n)s of %(all)s parts in service, whose belts' running hours are not known",
            spares.n_in_service,
        )
        parts.append(left_out % {"n": spares.n_unknown_speed, "all": spares.n_in_service})
    return "; ".join(each for each in parts if each)


def failure_words(spares: Spares) -> str:
    if spares.failures is None:
        return ""
    known = {
        "n": one(spares.failures.until_expected),
        "low": whole(spares.failures.until_low),
        "high": whole(spares.failures.until_high),
    }
    return _("%(n)s (%(low)s to %(high)s) for failures, every failed part replaced by a new one at once") % known


def change_words(spares: Spares) -> str:
    """Parts changed while sound beside a fitted life; without one all changes, or that nothing is known."""
    changes, is_fitted = spares.changes, spares.failures is not None
    if changes is None:
        return "" if is_fitted else _("not known: no life with known running hours")
    if changes.expected is None or changes.low is None or changes.high is None:
        if is_fitted:
            return _("none was changed while sound so far")
        return _("not known: none was changed in %(hours)s of all parts so far; at most %(most)s (one-sided 95 %%)") % {
            "hours": run_hours(changes.hours),
            "most": whole(changes.most),
        }
    known = {
        "n": one(changes.expected),
        "low": whole(changes.low),
        "high": whole(changes.high),
        "changed": changes.n,
        "hours": run_hours(changes.hours),
    }
    if is_fitted:
        return (
            _(
                "%(n)s (%(low)s to %(high)s) for parts changed while sound, if that goes on: %(changed)s in "
                "%(hours)s so far"
            )
            % known
        )
    return (
        _("%(n)s (%(low)s to %(high)s), if they go on being changed as so far: %(changed)s in %(hours)s of all parts")
        % known
    )
