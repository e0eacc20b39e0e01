"""Where the site writes names of people in the book of fittings, and what of it may be in somebody's hands."""

from __future__ import annotations

from django.utils.translation import ngettext

from installs.models import Fitting
from plant.models import Person
from plant.selectors.names import register_site_text
from plant.services.names import register_open_work

register_site_text("crew_names", Fitting)


@register_open_work
def fittings(person: Person) -> str:
    n = Fitting.objects.open().filter(crew=person).count()
    return ngettext("%(n)s open fitting", "%(n)s open fittings", n) % {"n": n} if n else ""
