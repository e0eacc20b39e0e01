"""Tags for the words of pooled comparisons."""

from __future__ import annotations

from django import template

from reports.charts.forest import forest_pool
from reports.words import pooled_effects

register = template.Library()
register.filter(pooled_effects.pool_kind)
register.filter(pooled_effects.pool_name)
register.filter(pooled_effects.limits_words)
register.filter(pooled_effects.basis_words)
register.filter(pooled_effects.counted_words)
register.filter(pooled_effects.next_words)
register.filter(pooled_effects.differ_words)
register.filter(pooled_effects.p_words)
register.filter("drawing", forest_pool)
