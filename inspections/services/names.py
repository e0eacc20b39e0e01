"""Where the site writes names in the book of checks, what of it may be in somebody's hands, what ends with a name."""

from __future__ import annotations

from django.utils import timezone
from django.utils.translation import ngettext

from inspections.models import Action, RoundLaying, SetAside, Shift, Task, TechnicianProfile
from inspections.services.shifts import renew_calendar_key
from inspections.words.people_named import ASKED_FOR, DONE_WHILE_THERE, READINGS_COUNT
from plant.models import Person
from plant.selectors.names import register_site_text
from plant.services.names import register_open_work, when_a_name_goes

register_site_text("why", Task, sentence=ASKED_FOR)
register_site_text("why", Task, sentence=DONE_WHILE_THERE)
# A correction's reason also stands in the history of what follows from it.
for column in ("correction_reason", "history_change_reason"):
    register_site_text(column, sentence=READINGS_COUNT, people=("who", "by"))
register_site_text("left_out", RoundLaying)


@register_open_work
def actions(person: Person) -> str:
    n = Action.objects.open().filter(owner=person).count()
    return ngettext("%(n)s open action", "%(n)s open actions", n) % {"n": n} if n else ""


@register_open_work
def shifts(person: Person) -> str:
    n = Shift.objects.at_work().filter(person=person, ends_at__gt=timezone.now()).count()
    return ngettext("%(n)s shift to come", "%(n)s shifts to come", n) % {"n": n} if n else ""


@register_open_work
def entries_set_aside(person: Person) -> str:
    n = SetAside.objects.open().filter(created_by=person).count()
    words = ngettext("%(n)s entry of a phone that was set aside", "%(n)s entries of a phone that were set aside", n)
    return words % {"n": n} if n else ""


@when_a_name_goes
def end_calendars(person: Person, by: Person) -> None:
    for profile in TechnicianProfile.objects.filter(person=person):
        renew_calendar_key(profile, by=by)
