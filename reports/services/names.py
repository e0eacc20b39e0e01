"""Where the site writes names of people in its reports, and the mails that end with the name."""

from __future__ import annotations

from plant.models import Person
from plant.selectors.names import register_site_text
from plant.services.names import when_a_name_goes
from reports.models import MonthlyReport, MonthMail, Subscription
from reports.words.months import NOTE_WRITTEN, WINDOWS_SET
from reports.words.verdicts import WINDOWS_SET_BY

for column in ("content", "rows"):
    # A cell that holds a name and nothing else, such as the owner of a decision.
    for sentence in (NOTE_WRITTEN, WINDOWS_SET, WINDOWS_SET_BY, "%(who)s"):
        register_site_text(column, MonthlyReport, sentence=sentence)
register_site_text("failure", MonthMail)


@when_a_name_goes
def end_subscriptions(person: Person, by: Person) -> None:
    Subscription.objects.filter(person=person).delete()
