"""The month: drafted, commented, published once for all, corrected by a new edition, sent to those who asked for it."""

from __future__ import annotations

import datetime as dt
import logging
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core import signing
from django.core.mail import EmailMultiAlternatives, get_connection
from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.working_days import first_working_day
from plant.errors import Refused
from plant.models import Person, Plant
from plant.selectors.health import register_waiting_mails
from plant.selectors.kept import Kept
from plant.services.mails import is_refused_for_good, message_id
from plant.services.records import CONSTRAINT_WORDS, change_record, create_record, known_row
from reports.calc.editions import differences
from reports.models import MonthlyReport, MonthMail, Subscription
from reports.selectors.month_data import Month
from reports.selectors.months import code_version
from reports.services.kept_months import month_at_hand, true_month

log = logging.getLogger(__name__)

# Makes the paper of a month from its content and its head; which paper that is, a view or a job says.
MakePaper = Callable[[dict[str, Any], dict[str, Any]], bytes]

MAIL_HOUR = 6  # local time from which mails may go out
CLAIM_LASTS = dt.timedelta(hours=1)
MOST_TRIES = 8  # an address that refuses eight times is for a person to look at
MOST_CHANGES = 5  # of what changed, so many stand in a mail
MAIL_SALT = "end the mail of the month"

CONSTRAINT_WORDS.update(
    {
        "month_one_draft": gettext_lazy("A draft of this month is there already. Open that."),
        "month_edition_once": gettext_lazy("Somebody else drafted this edition at the same moment. Open that."),
    }
)


def month_before(day: dt.date) -> dt.date:
    """First day of the month before the one that a day lies in."""
    return (day.replace(day=1) - dt.timedelta(days=1)).replace(day=1)


@transaction.atomic
def draft_month(
    *, plant: Plant, month: dt.date, by: Any, client_key: uuid.UUID | None = None, reason: str = ""
) -> MonthlyReport:
    """Begin the report of a month, or a new edition of one that is published.

    Parameters
    ----------
    month : date
        Any day of it.
    reason : str, optional
        Why a new edition; needed where one is published.

    Raises
    ------
    Refused
        If the month is not over, a draft is there, or a new edition has no reason.
    """
    known = known_row(MonthlyReport, client_key)
    if known is not None:
        return known
    first = month.replace(day=1)
    if Month(first, plant.zone).end > timezone.now():
        raise Refused(_("%(month)s is not over yet; a report is of a whole month.") % {"month": f"{first:%Y-%m}"})
    latest = MonthlyReport.objects.filter(plant=plant, month=first).order_by("-edition").first()
    if latest is not None and not latest.is_published:
        raise Refused(_("A draft of this month is there already. Open that."), code="draft_known")
    if latest is not None and not reason.strip():
        raise Refused(_("Say why there is a new edition."), code="reason", fields={"reason": _("Give a reason.")})
    edition = latest.edition + 1 if latest is not None else 1
    return create_record(
        MonthlyReport,
        by=by,
        client_key=client_key,
        plant=plant,
        month=first,
        edition=edition,
        reason=reason.strip(),
        comment=latest.comment if latest is not None else "",
    )


def comment_month(report: MonthlyReport, *, by: Any, version: int, comment: str) -> MonthlyReport:
    """Write the engineer's comment into a draft.

    Raises
    ------
    Refused, ChangedMeanwhile
        If it is published; if somebody else changed it.
    """
    refuse_published(report)
    return change_record(report, by=by, version=version, comment=comment)


@transaction.atomic
def publish_month(report: MonthlyReport, *, by: Any, version: int, now: dt.datetime | None = None) -> MonthlyReport:
    """Freeze a draft: figures, the rows behind them and the version of the code, in one act.

    Everything is computed before anything is written and the write is one transaction: what is cut off on the way
    leaves the draft as it was.

    Raises
    ------
    Refused, ChangedMeanwhile
        If it is published already; if somebody else changed the draft since it was opened.
    """
    refuse_published(report)
    content, rows = true_month(report.plant, report.month)
    return change_record(
        report,
        by=by,
        version=version,
        reason=report.reason,
        content=content,
        rows=rows,
        code_version=code_version(),
        published_at=now or timezone.now(),
        published_by=by,
    )


def refuse_published(report: MonthlyReport) -> None:
    if report.is_published:
        raise Refused(
            _("This edition is published and never changes. Draft a new edition and say why."), code="published"
        )


def subscribe(*, plant: Plant, person: Person, wants: bool) -> None:
    """Begin or end that a person gets the month of a plant by e-mail."""
    if not wants:
        Subscription.objects.filter(plant=plant, person=person).delete()
    elif not person.email:
        raise Refused(_("You have no e-mail address in the book. Give one on your own page first."), code="no_address")
    else:
        Subscription.objects.get_or_create(plant=plant, person=person)


# --- by the timetable -------------------------------------------------------------------------------------------------
def draft_months(now: dt.datetime | None = None) -> list[MonthlyReport]:
    """The draft of last month in every plant that has none; made on its first day, by the plant's clock."""
    now = now or timezone.now()
    made = []
    for plant in Plant.objects.all():
        first = month_before(now.astimezone(plant.zone).date())
        if MonthlyReport.objects.filter(plant=plant, month=first).exists() or not has_history(plant, first):
            continue
        try:
            made.append(draft_month(plant=plant, month=first, by=None))
        except Refused:  # somebody drafted it by hand at the same moment
            log.info("draft of %s in %s was there already", first, plant)
    return made


def has_history(plant: Plant, month: dt.date) -> bool:
    """A plant that entered the book after the month has nothing to report of it."""
    return plant.created_at < Month(month, plant.zone).end or plant.incidents.exists()


@register_waiting_mails
def months_waiting(now: dt.datetime) -> int:
    """Of the last two months, and not given up."""
    rows = MonthMail.objects.filter(sent_at__isnull=True, claimed_at__gt=now - dt.timedelta(days=62))
    return rows.filter(tries__lt=MOST_TRIES).count()


def send_months(make_paper: MakePaper, now: dt.datetime | None = None) -> int:
    """Mail last month's newest published edition to its subscribers from the first working day on; returns how many.

    An edition that is published later goes out at the next run after it.

    Parameters
    ----------
    make_paper : callable
        Makes what is attached to the mail; asked once for an edition, and only where somebody is to get it.
    """
    now = now or timezone.now()
    sent = 0
    with get_connection() as connection:
        for plant in Plant.objects.all():
            local = now.astimezone(plant.zone)
            if local.hour < MAIL_HOUR or local.date() < first_working_day(local.date(), plant.holiday_names):
                continue
            month = month_before(local.date())
            report = MonthlyReport.objects.published().filter(plant=plant, month=month).order_by("-edition").first()
            if report is not None:
                sent += send_report(report, make_paper, now, connection)
    return sent


def send_report(report: MonthlyReport, make_paper: MakePaper, now: dt.datetime, connection: Any) -> int:
    done = MonthMail.objects.filter(report=report).filter(Q(sent_at__isnull=False) | Q(tries__gte=MOST_TRIES))
    people = (
        Person.objects.filter(subscriptions__plant=report.plant, memberships__plant=report.plant, is_active=True)
        .exclude(email="")
        .exclude(pk__in=done.values("person_id"))
        .order_by("pk")
        .distinct()
    )
    paper: bytes | None = None
    content: dict[str, Any] | None = None
    sent = 0
    for person in people:
        if not claim(report, person, now):
            continue
        if content is None or paper is None:
            content, _rows = read_month(report)
            paper = make_paper(content, report_head(report))
        sent += send_one(report, person, content, paper, connection)
    return sent


def report_head(report: MonthlyReport) -> dict[str, Any]:
    """What stands on the sheet beside the frozen content."""
    return {
        "edition": report.edition,
        "reason": report.reason,
        "comment": report.comment,
        "published_at": report.published_at.isoformat(timespec="minutes") if report.published_at else "",
        "published_by": str(report.published_by or ""),
        "code_version": report.code_version or code_version(),
    }


def claim(report: MonthlyReport, person: Person, now: dt.datetime) -> bool:
    """True for the one run that may send this mail, as for daily mails: better twice in one bad case than never."""
    try:
        with transaction.atomic():
            MonthMail.objects.create(report=report, person=person, claimed_at=now)
        return True
    except IntegrityError:
        given_up = MonthMail.objects.filter(
            report=report, person=person, sent_at__isnull=True, claimed_at__lt=now - CLAIM_LASTS
        )
        return given_up.update(claimed_at=now) == 1


def send_one(report: MonthlyReport, person: Person, content: Any, paper: bytes, connection: Any) -> bool:
    end_url = f"{settings.SITE_ADDRESS}{reverse('month-mail-end', args=[end_token(report.plant, person)])}"
    context = {
        "report": report,
        "content": content,
        "changes": content["changes"][:MOST_CHANGES],
        "person": person,
        "address": settings.SITE_ADDRESS,
        "url": f"{settings.SITE_ADDRESS}{report.get_absolute_url()}",
        "end_url": end_url,
    }
    mail = EmailMultiAlternatives(
        subject=_("%(plant)s, %(month)s: %(verdict)s")
        % {"plant": report.plant, "month": content["month_name"], "verdict": content["verdict"]["words"]},
        body=render_to_string("reports/mail/month.txt", context),
        to=[person.email],
        connection=connection,
        # RFC 8058: the mail program may offer a button of its own that sends this form.
        headers={
            "List-Unsubscribe": f"<{end_url}>",
            "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
            "Message-ID": message_id("month", report.pk, person.pk),
        },
    )
    mail.attach_alternative(render_to_string("reports/mail/month.html", context), "text/html")
    mail.attach(f"{file_name(report)}.pdf", paper, "application/pdf")
    row = MonthMail.objects.filter(report=report, person=person)
    try:
        mail.send()
    except Exception as error:
        # The claim stays; an hour later it is taken up again. One address that fails must not stop the others.
        log.exception("month %s to person %s could not be sent", report.pk, person.pk)
        n_tries = F("tries") + int(is_refused_for_good(error))
        row.update(tries=n_tries, failure=f"{type(error).__name__}: {error}"[:300])
        return False
    row.update(sent_at=timezone.now(), tries=F("tries") + 1, failure="")
    return True


def end_token(plant: Plant, person: Person) -> str:
    """What ends one person's mail of one plant without signing in; it opens nothing else."""
    return signing.dumps({"plant": plant.pk, "person": person.pk}, salt=MAIL_SALT)


def subscription_by(token: str) -> tuple[Plant, Person] | None:
    """Whose mail of which plant a token is about; None for one that this site did not sign."""
    try:
        said = signing.loads(token, salt=MAIL_SALT)
    except signing.BadSignature:
        return None
    plant = Plant.objects.filter(pk=said.get("plant")).first()
    person = Person.objects.filter(pk=said.get("person")).first()
    return (plant, person) if plant is not None and person is not None else None


@dataclass(frozen=True)
class MonthOnPage:
    """Content and rows of an edition; of a draft, how they are kept and of when they are."""

    content: dict[str, Any]
    rows: dict[str, Any]
    kept: Kept | None = None


def month_on_page(report: MonthlyReport) -> MonthOnPage:
    """An edition for a page: frozen, or as it is kept for a draft, which nobody waits for."""
    if report.is_published:
        return MonthOnPage(with_differences(report, report.content, report.rows), report.rows)
    kept = month_at_hand(report.plant, report.month)
    content, rows = kept.value
    return MonthOnPage(with_differences(report, content, rows), rows, kept)


def read_month(report: MonthlyReport) -> tuple[dict[str, Any], dict[str, Any]]:
    """Frozen content and rows of a published edition; those of the moment for a draft."""
    content, rows = (report.content, report.rows) if report.is_published else true_month(report.plant, report.month)
    return with_differences(report, content, rows), rows


def with_differences(report: MonthlyReport, content: dict[str, Any], rows: dict[str, Any]) -> dict[str, Any]:
    """The content with what the edition says otherwise than the one before it."""
    if report.edition == 1:
        return content
    older = MonthlyReport.objects.filter(plant=report.plant, month=report.month, edition=report.edition - 1).get()
    return {**content, "differences": [vars(each) for each in differences(older.content, older.rows, content, rows)]}


def file_name(report: MonthlyReport) -> str:
    plant = str(report.plant).lower().replace(" ", "-")
    return f"{plant}-{report.month:%Y-%m}-edition-{report.edition}"
