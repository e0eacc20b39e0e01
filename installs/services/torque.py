"""Torque at the installation: one sign-off for each fastener, with its tool and how the target was known."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from installs.models import Fastener, Fitting, Instrument, PassedFastener, TorqueSignOff
from installs.selectors.torque import (
    count_for,
    doubts_about,
    judged,
    open_fasteners,
    passed_over,
    target_for,
    tolerance_for,
    torque_rows,
)
from installs.services.fittings import locked, refuse_if_accepted, refuse_if_over
from installs.services.installations import check_moment, refuse
from installs.words.torque import TEXTS, SignOffRule, fastener_names, passed_words
from plant.calc.reasons import Reason
from plant.errors import Refused
from plant.services.records import correct_entry, create_record, known_row
from plant.words.refusals import refused


def check_torques_settled(fitting: Fitting) -> None:
    """Raises Refused where a fastener is neither signed off nor passed over, and names each."""
    left = open_fasteners(torque_rows(fitting))
    if left:
        raise Refused(
            _(
                "Not signed off: %s. Sign each fastener off before the guards go back, or pass it over with a reason "
                "that stays visible."
            )
            % fastener_names(left),
            code="torque",
        )


def refuse_doubtful_tool(instrument: Instrument | None, torque_nm: float, on: dt.date, override_reason: str) -> None:
    """Raises Refused where the tool is in doubt and nobody said why it is used all the same."""
    if override_reason.strip():
        return
    if instrument is None:
        raise refused(Reason(SignOffRule.NO_TOOL), TEXTS, code="no_tool", fields=["instrument"])
    doubts = doubts_about(instrument, torque_nm, on)
    if doubts:
        why = Reason(SignOffRule.TOOL_IN_DOUBT, {"tool": str(instrument), "doubts": doubts})
        raise refused(why, TEXTS, code=doubts[0].rule, fields=["instrument"])


def check_fastener(fitting: Fitting, fastener: Fastener, number: int) -> None:
    if fastener.device_model_id != fitting.device_model_id:
        refuse("fastener", "other_model", _("%s is no fastener of this model.") % fastener.place)
    count = count_for(fitting, fastener)
    if not 1 <= number <= count:
        refuse(
            "number",
            "number",
            _("Fastener %(number)s of %(count)s at “%(place)s”: give 1 to %(count)s.")
            % {"number": number, "count": count, "place": fastener.place},
        )


@transaction.atomic
def sign_off_torque(
    *,
    fitting: Fitting,
    fastener: Fastener,
    number: int,
    torque_nm: float,
    by: Any,
    instrument: Instrument | None = None,
    method: str = TorqueSignOff.Method.TIGHTENING,
    override_reason: str = "",
    signed_at: dt.datetime | None = None,
    client_key: uuid.UUID | None = None,
    now: dt.datetime | None = None,
) -> TorqueSignOff:
    """Sign one fastener off. A later sign-off of the same one counts instead; the earlier one stays in the book.

    Parameters
    ----------
    number : int
        Which of the like fasteners, from 1.
    torque_nm : float
        Torque as left [N·m].
    override_reason : str, optional
        Why a tool out of calibration, out of range or not named is used all the same.
    signed_at : datetime, optional
        When; now where left out.

    Raises
    ------
    Refused
        If the job is over; the fastener is none of the model; no target is known; the torque is surely outside its
        tolerance; or the tool is in doubt and no reason is given.
    """
    fitting = locked(fitting)
    known = known_row(TorqueSignOff, client_key)
    if known is not None:
        return known
    refuse_if_over(fitting)
    now = now or timezone.now()
    moment = signed_at or now
    check_moment("signed_at", moment, now)
    check_fastener(fitting, fastener, number)
    if instrument is not None and instrument.plant_id != fitting.plant_id:
        refuse("instrument", "other_plant", _("%s belongs to another plant.") % instrument)
    if instrument is not None and instrument.kind != Instrument.Kind.TORQUE_WRENCH:
        refuse("instrument", "kind", _("%s measures no torque. Choose a torque wrench.") % instrument)
    target = target_for(fitting, fastener)
    if target.torque_nm is None:
        why = Reason(SignOffRule.NO_TARGET, {"place": fastener.place, "why": target.why})
        raise refused(why, TEXTS, code="no_target", fields=["torque_nm"])
    if not 0 < torque_nm < float("inf"):
        why = Reason(SignOffRule.NO_TORQUE, {"torque_nm": torque_nm, "least_nm": 0.0})
        raise refused(why, TEXTS, code="torque", fields=["torque_nm"])
    row = TorqueSignOff(torque_nm=torque_nm, target_nm=target.torque_nm, instrument=instrument)
    verdict = judged(row, tolerance_for(fitting, fastener))
    if verdict.verdict == "outside":
        raise refused(verdict.reason, TEXTS, code="outside", fields=["torque_nm"])
    refuse_doubtful_tool(instrument, torque_nm, timezone.localdate(moment, fitting.plant.zone), override_reason)
    return create_record(
        TorqueSignOff,
        by=by,
        client_key=client_key,
        fitting=fitting,
        fastener=fastener,
        number=number,
        torque_nm=torque_nm,
        target_nm=target.torque_nm,
        is_estimate=target.is_estimate,
        method=method,
        instrument=instrument,
        override_reason=override_reason.strip(),
        signed_at=moment,
        signed_by=by,
    )


@transaction.atomic
def sign_off_torques(
    *,
    fitting: Fitting,
    torques: Mapping[tuple[Fastener, int], float],
    by: Any,
    client_key: uuid.UUID | None = None,
    **values: Any,
) -> list[TorqueSignOff]:
    """Sign several fasteners off with one tool; all of them or none.

    Parameters
    ----------
    torques : mapping
        Torque as left [N·m] by fastener and which one of it.
    **values
        As `sign_off_torque`.

    Raises
    ------
    Refused
        As `sign_off_torque`, with the box `torque_<fastener>_<number>_nm` in place of torque_nm; or if none is given.
    """
    if not torques:
        raise Refused(_("No torque is given. Fill in at least one box."), code="nothing")
    signed = []
    for (fastener, number), torque_nm in torques.items():
        key = uuid.uuid5(client_key, f"torque {fastener.pk} {number}") if client_key else None
        try:
            signed.append(
                sign_off_torque(
                    fitting=fitting,
                    fastener=fastener,
                    number=number,
                    torque_nm=torque_nm,
                    by=by,
                    client_key=key,
                    **values,
                )
            )
        except Refused as refusal:
            box = f"torque_{fastener.pk}_{number}_nm"
            raise refusal.renamed({"torque_nm": box}) from refusal
    return signed


def check_may_withdraw(row: TorqueSignOff | PassedFastener, fitting: Fitting) -> None:
    """Raises Refused where an entry about a fastener stays as it is: the job is accepted or over, or it counts no more.

    The acceptance named every fastener that was not signed off; none may become open behind it.
    """
    how = _(
        "Its fasteners stay as they were accepted. Where that does not hold: sign the fastener off again, which counts "
        "instead, or name it as an open point at the hand-over."
    )
    refuse_if_accepted(fitting, how)
    if not row.counts:
        raise Refused(_("This entry was withdrawn already; it counts no more."), code="withdrawn")


@transaction.atomic
def withdraw_torque(row: TorqueSignOff, *, by: Any, reason: str, client_key: uuid.UUID | None = None) -> TorqueSignOff:
    """Take a mistaken sign-off back; it stays in the book with the reason.

    Raises
    ------
    Refused
        If the job is accepted or over, it was withdrawn before, or no reason is given.
    """
    fitting = locked(row.fitting)
    known = known_row(TorqueSignOff, client_key)
    if known is not None:
        return known
    check_may_withdraw(row, fitting)
    return correct_entry(row, by=by, reason=reason, client_key=client_key, withdraw=True)


@transaction.atomic
def pass_over_fasteners(
    *,
    fitting: Fitting,
    fasteners: Sequence[tuple[Fastener, int]],
    reason: str,
    by: Any,
    passed_at: dt.datetime | None = None,
    client_key: uuid.UUID | None = None,
    now: dt.datetime | None = None,
) -> list[PassedFastener]:
    """Pass fasteners over that nobody can sign off before the guards go back: a row with the reason for each.

    Of the same form sent again, nothing is written that is there already.

    Parameters
    ----------
    fasteners : sequence of (Fastener, int)
        Each with which of the like ones it is, from 1.
    reason : str
        Why; stays visible at the job, in the dossier and at the hand-over until the fastener is signed off.

    Raises
    ------
    Refused
        If the job is accepted or over, none is named, one is none of the model, signed off or passed over already, no
        reason is given, or the time lies ahead.
    """
    fitting, fasteners = locked(fitting), list(dict.fromkeys(fasteners))
    known = PassedFastener.objects.filter(client_key__in=[passed_key(client_key, *each) for each in fasteners])
    if client_key is not None and fasteners and known.count() == len(fasteners):
        return list(known)
    refuse_if_accepted(fitting)
    now = now or timezone.now()
    check_moment("passed_at", passed_at or now, now)
    if not fasteners:
        refuse("fasteners", "nothing", _("Choose at least one fastener."))
    if not reason.strip():
        refuse("reason", "reason", _("Say why it is passed over."))
    check_not_settled(fitting, fasteners, {row.client_key for row in known})
    return [
        create_record(
            PassedFastener,
            by=by,
            client_key=passed_key(client_key, fastener, number),
            fitting=fitting,
            fastener=fastener,
            number=number,
            reason=reason.strip(),
            passed_at=passed_at or now,
            passed_by=by,
        )
        for fastener, number in fasteners
    ]


def check_not_settled(fitting: Fitting, fasteners: Sequence[tuple[Fastener, int]], own: set[uuid.UUID]) -> None:
    """Raises Refused where a fastener is none of the model, or signed off or passed over by another form than `own`."""
    rows = torque_rows(fitting)
    signed = {(row.fastener.pk, n) for row in rows for n, one in enumerate(row.signed, start=1) if one}
    passed = {(one.fastener_id, one.number): one for one in passed_over(rows) if one.client_key not in own}
    for fastener, number in fasteners:
        check_fastener(fitting, fastener, number)
        if (fastener.pk, number) in signed:
            refuse(
                "fasteners",
                "signed",
                _("%s is signed off already. Withdraw that first if it does not hold.")
                % fastener_names([(fastener, number)]),
            )
        there = passed.get((fastener.pk, number))
        if there is not None:
            words = _("%s. Leave it out here, or withdraw that first if it does not hold.") % passed_words(there)
            refuse("fasteners", "passed_over", words)


def passed_key(client_key: uuid.UUID | None, fastener: Fastener, number: int) -> uuid.UUID | None:
    return uuid.uuid5(client_key, f"passed {fastener.pk} {number}") if client_key else None


@transaction.atomic
def withdraw_passed(
    row: PassedFastener, *, by: Any, reason: str, client_key: uuid.UUID | None = None
) -> PassedFastener:
    """Take back that a fastener was passed over; it stays in the book with the reason, and the job waits for it again.

    Raises
    ------
    Refused
        If the job is accepted or over, it was withdrawn before, or no reason is given.
    """
    fitting = locked(row.fitting)
    known = known_row(PassedFastener, client_key)
    if known is not None:
        return known
    check_may_withdraw(row, fitting)
    return correct_entry(row, by=by, reason=reason, client_key=client_key, withdraw=True)
