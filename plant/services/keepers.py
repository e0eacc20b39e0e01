"""Who keeps the site: a mark that is given on and laid down, never by the last one. It opens no plant's book."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from plant.errors import Refused
from plant.models import KeeperAct, Person


def keepers_locked() -> list[Person]:
    """All keepers; two who take each other's mark at once come one after the other where a row can be locked."""
    return list(Person.objects.select_for_update().filter(is_keeper=True).order_by("pk"))


def check_may_act(by: Person | None) -> None:
    """The shell (None) may: whoever reaches it holds the data folder."""
    if by is not None and not (by.is_keeper and by.is_active):
        raise Refused(_("Only a keeper of this site may do this. Ask one of them."), code="not_theirs")


@transaction.atomic
def give_keeper(*, person: Person, by: Person | None) -> None:
    """Make somebody a keeper of the site. Twice changes nothing.

    Raises
    ------
    Refused
        If it is not theirs to give, or the person cannot sign in.
    """
    check_may_act(by)
    if not person.is_active:
        words = _("%s is switched off and cannot sign in. Switch the sign-in on first.") % person
        raise Refused(words, code="switched_off", fields={"username": words})
    if Person.objects.filter(pk=person.pk, is_keeper=False).update(is_keeper=True):
        KeeperAct.objects.create(person=person, by=by, act=KeeperAct.Act.GIVEN)
    person.is_keeper = True


@transaction.atomic
def take_keeper(*, person: Person, by: Person | None) -> None:
    """Lay the mark down, or take it from another keeper. Twice changes nothing.

    Raises
    ------
    Refused
        If it is not theirs to take, or nobody would be left who keeps the site.
    """
    check_may_act(by)
    check_a_keeper_is_left(person)
    if Person.objects.filter(pk=person.pk, is_keeper=True).update(is_keeper=False):
        KeeperAct.objects.create(person=person, by=by, act=KeeperAct.Act.TAKEN)
    person.is_keeper = False


def check_a_keeper_is_left(person: Person) -> None:
    """Refuses where this person is the last who keeps the site and can sign in."""
    active = [each for each in keepers_locked() if each.is_active]
    if active == [person]:
        words = _("%s is the last keeper of this site. Make somebody else a keeper first.")
        raise Refused(words % person, code="last_keeper")
