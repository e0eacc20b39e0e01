"""What is said of a quantity that is outside the limits of its column, in the person's units."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.translation import gettext_lazy as _

from plant.calc.limits import LimitRule, outside
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind
from plant.words.reasons import Texts

TEXTS: Texts = {
    LimitRule.TOO_LITTLE: _("%(given_apart)s is too little; give %(limit_apart)s or more."),
    LimitRule.TOO_MUCH: _("%(given_apart)s is too much; give %(limit_apart)s or less."),
}
# What the framework says of a limit, by code; a limit that was given words of its own keeps them.
LIMITS = {each.code: each.message for each in (MinValueValidator, MaxValueValidator)}


def limit_reason(error: ValidationError, kind: QuantityKind) -> Reason | None:
    """The reason behind what a validator of limits raised; None for any other error, and for one with its own words."""
    params = error.params or {}
    given, limit = params.get("value"), params.get("limit_value")
    is_of_framework = error.code in LIMITS and error.message == LIMITS[error.code]
    if not is_of_framework or not isinstance(given, int | float) or limit is None:
        return None
    return outside(float(given), float(limit), kind)


__all__ = ["TEXTS", "limit_reason"]
