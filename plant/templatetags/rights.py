"""{% may "plant.add_incident" as may_add %} {% if may_add %} ... in templates; denied by default."""

from typing import Any

from django import template

from plant.permissions import has_right

register = template.Library()


@register.simple_tag(takes_context=True)
def may(context: Any, name: str) -> bool:
    request = context.get("request")
    return bool(request and name and has_right(request.user, name, request.plant))
