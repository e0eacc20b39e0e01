"""A person who left asks that their name goes: it is taken out of the book for good, and every record stays.

What was signed stays signed, by "a person whose name was removed, no. 17". A keeper does it, as a person is one for all
plants and nothing brings the name back.
"""

from __future__ import annotations

import email
import email.policy
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.calc.names import holds_name
from plant.errors import Refused
from plant.models import Job, KeptResult, NameRemoval, Notice, Person, RejectedRow, SentForm, Tally
from plant.permissions import PLANNER
from plant.selectors.names import NameFound, TextFound, name_found, names_of, register_site_text, spellings
from plant.selectors.people import people_in
from plant.services.import_subjects.shape import CORRECTED_BY_A_PERSON, WITHDRAWN_BY_A_PERSON
from plant.services.keepers import check_may_act
from plant.services.sign_ins import sign_out_everywhere

MOST_NOTICES = 20
register_site_text("text", Notice)
for column in ("words", "result", "error"):
    register_site_text(column, Job)
register_site_text("last_words", Tally)
for sentence in (CORRECTED_BY_A_PERSON, WITHDRAWN_BY_A_PERSON):
    register_site_text("problems", RejectedRow, sentence=sentence)
_open_work: list[Callable[[Person], str]] = []
_when_a_name_goes: list[Callable[[Person, Person], None]] = []


def register_open_work(asks: Callable[[Person], str]) -> Callable[[Person], str]:
    """Add what may be open in a person's name: a function that says how much, or nothing."""
    _open_work.append(asks)
    return asks


def when_a_name_goes(act: Callable[[Person, Person], None]) -> Callable[[Person, Person], None]:
    """Add what an app takes away with the name, such as addresses of calendars: (person, by), in the transaction."""
    _when_a_name_goes.append(act)
    return act


def removed_name(person: Person) -> str:
    """What stands in the name's place from then on: nobody can sign in under it, and no form takes it."""
    return _("a person whose name was removed, no. %(n)s") % {"n": person.pk}


def in_the_way(person: Person, by: Person) -> list[str]:
    """What keeps a name from being removed, each with what to do; nothing where it can be."""
    if NameRemoval.objects.filter(person=person).exists():
        return [_("This name was removed already.")]
    if person == by:
        return [_("This is your own name. Another keeper removes it, once you have left.")]
    found = []
    if person.is_active:
        found.append(_("%s can still sign in. A planner, or you among the people, switches the sign-in off.") % person)
    if person.is_keeper:
        found.append(_("%s keeps this site. Take that mark first.") % person)
    work = ", ".join(words for asks in _open_work if (words := asks(person)))
    if work:
        words = _("Still in the hands of %(person)s: %(work)s. Give it to somebody else, or close it.")
        found.append(words % {"person": person, "work": work})
    return found


@transaction.atomic
def remove_name(*, person: Person, by: Person, typed: str, reason: str) -> NameRemoval:
    """Take the name of a person out of everything that the site wrote. It cannot be undone.

    Parameters
    ----------
    typed : str
        The name under which the person signed in, to say that it is meant.
    reason : str
        Why; it stays, and so may not hold the name.

    Raises
    ------
    Refused
        If it is not theirs to do, or something is in the way.
    """
    check_may_act(by)
    person = Person.objects.select_for_update().get(pk=person.pk)
    names = names_of(person)
    stands = in_the_way(person, by)
    if stands:
        raise Refused(" ".join(stands), code="in_the_way")
    if typed.strip() != person.username:
        words = _("Type %s here, to say that it is meant.") % person.username
        raise Refused(words, code="not_meant", fields={"typed": words})
    if not reason.strip() or holds_name(reason, names.said):
        words = _("Give a reason without the name: it stays in the book.")
        raise Refused(words, code="reason", fields={"reason": words})
    instead = removed_name(person)
    found = name_found(person, instead)
    for each in found.by_site:
        rewrite(each, each.without(names, instead))
    forget_results(names.said)
    forget_sign_ins(person, names.said)
    for act in _when_a_name_goes:
        act(person, by)
    for membership in person.memberships.all():
        membership._history_user = by  # type: ignore[attr-defined]
        membership.delete()
    person.notices.all().delete()
    SentForm.objects.filter(person=person).delete()
    blank(person, instead)
    row = NameRemoval.objects.create(
        person=person, by=by, reason=reason.strip(), n_rewritten=len(found.by_site), n_typed=len(found.typed)
    )
    tell_planners(person, found)
    transaction.on_commit(lambda: forget_mail_files(names.said), robust=True)
    return row


def rewrite(found: TextFound, value: Any) -> None:
    """Past the rules of entries, which never change: what they say stays, only the name in it goes."""
    length = getattr(found.model._meta.get_field(found.column), "max_length", None)
    if isinstance(value, str) and length:
        value = value[:length]
    found.model._base_manager.filter(pk=found.pk).update(**{found.column: value})


def forget_results(said: tuple[str, ...]) -> None:
    """Results that hold the name are made anew when somebody wants them."""
    holds = Q()
    for name in said:
        for each in spellings(name):
            holds |= Q(value__icontains=each)
    KeptResult.objects.filter(holds).delete()


def forget_sign_ins(person: Person, said: tuple[str, ...]) -> None:
    sign_out_everywhere(person)
    for session in Session.objects.all():
        held = session.get_decoded()
        if held.get("first_password", {}).get("username") == person.username:
            del held["first_password"]
            session.session_data = Session.objects.encode(held)
            session.save(update_fields=["session_data"])
    for model in (AccessAttempt, AccessLog, AccessFailureLog):
        for name in said:
            model.objects.filter(username__iexact=name).delete()


def blank(person: Person, instead: str) -> None:
    person.username, person.first_name, person.last_name, person.email = instead, "", "", ""
    person.last_login, person.wants_digest, person.must_change_password = None, False, False
    person.set_unusable_password()
    person.save()


def tell_planners(person: Person, found: NameFound) -> None:
    """Whoever looks after a plant's book learns which typed texts to look at; the notice holds no name."""
    words = _("A name was removed on request. This text, typed by a person, may still hold it: %(what)s, “%(label)s”.")
    told: dict[int, int] = {}
    for each in found.typed:
        if each.plant is None or told.get(each.plant.pk, 0) >= MOST_NOTICES:
            continue
        told[each.plant.pk] = told.get(each.plant.pk, 0) + 1
        for person_id in people_in(each.plant, PLANNER):
            Notice.objects.get_or_create(
                person_id=person_id,
                key=f"name-{person.pk}-{told[each.plant.pk]}",
                defaults={
                    "plant": each.plant,
                    "text": (words % {"what": each.what, "label": each.label})[:300],
                    "url": each.url[:300],
                    "created_at": timezone.now(),
                },
            )


def forget_mail_files(said: tuple[str, ...]) -> int:
    """Delete mails that were written as files and hold the name; how many files went."""
    gone = 0
    for path in mail_files():
        if any(holds_name(text, said) for text in texts_of_mails(path)):
            path.unlink(missing_ok=True)
            gone += 1
    return gone


def mail_files() -> Iterator[Path]:
    folder = Path(settings.EMAIL_FILE_PATH)
    if folder.is_dir():
        yield from sorted(path for path in folder.iterdir() if path.is_file())


def texts_of_mails(path: Path) -> Iterator[str]:
    """Heads and texts of the mails in a file, as a reader sees them."""
    for part in path.read_bytes().split(b"\n" + b"-" * 79 + b"\n"):
        mail = email.message_from_bytes(part, policy=email.policy.default)
        yield from (str(value) for _name, value in mail.items())
        for each in mail.walk():
            if each.get_content_maintype() == "text":
                yield str(each.get_content())
