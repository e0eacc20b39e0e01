"""What late checks are counted by, in words."""

from __future__ import annotations

from django.utils.translation import gettext as _

from inspections.models.tasks import LATE_AGES, LateReason
from inspections.selectors.backlog import Figure, FiguredBy


def figure_words(figure: Figure) -> str:
    """How long they are late, where, or why."""
    if figure.by is FiguredBy.AGE:
        return age_words(figure.of)
    return str(LateReason(figure.of).label) if figure.by is FiguredBy.REASON else figure.of


def age_words(age: str) -> str:
    least, most = LATE_AGES[age]
    if most is None:
        return _("over %(days)s days") % {"days": least - 1}
    return _("%(least)s to %(most)s days") % {"least": least, "most": most}
