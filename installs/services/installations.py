"""Installations: a device is fitted in a place, and one day taken out of it."""

from __future__ import annotations

import datetime as dt
import uuid
from functools import partial
from typing import Any, NoReturn

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.placement import SAME_PLACE_M
from installs.models import Device, Installation, OutOfService
from installs.signals import device_installed, device_removed
from installs.words import bounds
from installs.words.bounds import BoundRule
from installs.words.installations import period_words
from plant.calc.moments import MomentKind
from plant.calc.reasons import Reason
from plant.errors import Refused
from plant.models import Conveyor, Strand
from plant.services import records
from plant.services.records import CONSTRAINT_WORDS, all_but, change_record, create_record, known_row
from plant.words.conveyors import PlaceRule
from plant.words.moments import day_words, moment_words
from plant.words.refusals import refused

CONSTRAINT_WORDS.update(
    {
        name: gettext_lazy("The device stood in another place at that time. Record its removal there first.")
        for name in ("device_in_one_place", "installation_device_no_overlap")
    }
    | {
        name: gettext_lazy("Another device stood in that place at that time. Record its removal first.")
        for name in ("place_holds_one_device", "installation_place_no_overlap")
    }
    | {"installation_removed_after_installed": gettext_lazy("It must be removed after it was installed.")}
)


def refuse(field: str, code: str, words: str) -> NoReturn:
    raise Refused(words, code=code, fields={field: words})


def refuse_bound(field: str, code: str, rule: str, **values: float | str) -> NoReturn:
    """Raises the refusal of a number that cannot be, said in the person's units."""
    raise refused(Reason(rule, values), bounds.TEXTS, code=code, fields=[field])


def check_place(conveyor: Conveyor, strand: str, chainage_m: float) -> None:
    if strand not in Strand.values:
        refuse("strand", "strand", _("Say which strand it stands on: carry or return."))
    if not 0 <= chainage_m <= conveyor.length_m:
        known: dict[str, float | str] = {"given_m": chainage_m, "tag": conveyor.tag, "length_m": conveyor.length_m}
        refuse_bound("chainage_m", "chainage_beyond_belt", PlaceRule.OFF_BELT, **known)


def check_moment(field: str, moment: dt.datetime, now: dt.datetime) -> None:
    """Raises Refused where something has not happened by now, or long before there were belts."""
    records.check_moment(field, moment, MomentKind.HAPPENED, now)


def check_device_suits(device: Device, conveyor: Conveyor, installed_at: dt.datetime) -> None:
    if device.plant_id != conveyor.plant_id:
        refuse("conveyor", "other_plant", _("Device and conveyor belong to different plants. Choose both from one."))
    if conveyor.is_reversing and not device.device_model.suits_reversing:
        refuse(
            "device",
            "reversing",
            _(
                "%(tag)s is a reversing belt and %(model)s is not made for both directions: in reverse it would steer "
                "the belt off. Choose a model that is made for reversing belts."
            )
            % {"tag": conveyor.tag, "model": device.device_model},
        )
    day = timezone.localdate(installed_at, timezone=conveyor.plant.zone)
    if device.scrapped_on is not None and device.scrapped_on <= day:
        refuse(
            "device",
            "scrapped",
            _("Device %(number)s was scrapped on %(day)s.")
            % {"number": device.number, "day": day_words(device.scrapped_on)},
        )
    if conveyor.retired_on is not None and conveyor.retired_on <= day:
        refuse(
            "conveyor",
            "retired",
            _("%(tag)s was taken out of use on %(day)s.")
            % {"tag": conveyor.tag, "day": day_words(conveyor.retired_on)},
        )


def check_free(
    *,
    device: Device,
    conveyor: Conveyor,
    strand: str,
    chainage_m: float,
    installed_at: dt.datetime,
    removed_at: dt.datetime | None = None,
    but: Installation | None = None,
) -> None:
    """Raises Refused with the place and the period where the device stood elsewhere or the place was taken."""
    meanwhile = all_but(Installation.objects.all(), but).select_related("conveyor", "device")
    meanwhile = meanwhile.exclude(removed_at__lte=installed_at)
    if removed_at is not None:
        meanwhile = meanwhile.filter(installed_at__lt=removed_at)
    elsewhere = meanwhile.filter(device=device).order_by("installed_at").first()
    if elsewhere is not None:
        rule = BoundRule.DEVICE_STANDS if elsewhere.removed_at is None else BoundRule.DEVICE_STOOD
        refuse_bound("device", "device_elsewhere", rule, number=device.number, **place_values(elsewhere))
    taken = meanwhile.filter(
        conveyor=conveyor,
        strand=strand,
        chainage_m__gt=chainage_m - SAME_PLACE_M,
        chainage_m__lt=chainage_m + SAME_PLACE_M,
    ).first()
    if taken is not None:
        values = place_values(taken)
        refuse_bound("chainage_m", "place_taken", BoundRule.PLACE_TAKEN, number=taken.device.number, **values)


def place_values(at: Installation) -> dict[str, float | str]:
    """Where a device stands or stood, and when."""
    return {
        "tag": at.conveyor.tag,
        "strand": str(at.get_strand_display()),
        "at_m": at.chainage_m,
        "period": period_words(at),
    }


@transaction.atomic
def install_device(
    *,
    device: Device,
    conveyor: Conveyor,
    strand: str,
    chainage_m: float,
    installed_at: dt.datetime,
    by: Any,
    client_key: uuid.UUID | None = None,
    now: dt.datetime | None = None,
    **values: Any,
) -> Installation:
    """Write that a device went into service in a place; apps above hear of it after the commit.

    What speaks against the place without forbidding it is told by `words.installations.fit_warnings`.

    Parameters
    ----------
    strand : {"carry", "return"}
        Strand that it stands on.
    chainage_m : float
        From the tail pulley's centre, 0 to the length of the belt [m].
    installed_at : datetime
        With a zone, not in the future.
    **values
        access, note; removed_at with removal_reason for a period that is over already.

    Raises
    ------
    Refused
        If the place is off the belt or taken, the device stands elsewhere, is not made for a reversing belt, is
        scrapped or another plant's, or a time lies in the future.
    """
    known = known_row(Installation, client_key)
    if known is not None:
        return known
    now = now or timezone.now()
    check_moment("installed_at", installed_at, now)
    removed_at = values.get("removed_at")
    if removed_at is not None:
        check_removal(installed_at, removed_at, now)
    check_place(conveyor, strand, chainage_m)
    check_device_suits(device, conveyor, installed_at)
    place: dict[str, Any] = {"device": device, "conveyor": conveyor, "strand": strand, "chainage_m": chainage_m}
    check_free(**place, installed_at=installed_at, removed_at=removed_at)
    if values.get("sheet") is None:
        # What it is fitted to; a later version of the sheet changes nothing here until somebody takes it over.
        values["sheet"] = device.device_model.sheets.order_by("-number").first()
    try:
        row = create_record(
            Installation,
            by=by,
            client_key=client_key,
            plant=conveyor.plant,
            installed_at=installed_at,
            **place,
            **values,
        )
    except Refused as refusal:
        if refusal.code == "conflict":  # somebody else was faster: say what stands there now
            check_free(**place, installed_at=installed_at, removed_at=removed_at)
        raise
    transaction.on_commit(partial(device_installed.send, sender=Installation, installation=row), robust=True)
    return row


@transaction.atomic
def change_installation(
    installation: Installation, *, by: Any, version: int, reason: str = "", **values: Any
) -> Installation:
    """Put right what was written about a place: strand, chainage_m, installed_at, access, note.

    A device that goes to another place is removed and installed again, so that both periods stay in the book.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_record`; and as `install_device` for the place and the time.
    """
    fixed = {"device", "conveyor", "plant", "removed_at"} & set(values)
    if fixed:
        raise Refused(
            _("A device goes to another place by a removal and a new installation. Record these two."), code="moved"
        )
    at: dict[str, Any] = {
        name: values.get(name, getattr(installation, name)) for name in ("strand", "chainage_m", "installed_at")
    }
    check_moment("installed_at", at["installed_at"], timezone.now())
    check_place(installation.conveyor, at["strand"], at["chainage_m"])
    if installation.removed_at is not None and at["installed_at"] >= installation.removed_at:
        words = _("It was removed %(when)s; it must have been installed before that.")
        refuse("installed_at", "order", words % {"when": moment_words(installation.removed_at)})
    check_free(
        device=installation.device,
        conveyor=installation.conveyor,
        removed_at=installation.removed_at,
        but=installation,
        **at,
    )
    return change_record(installation, by=by, version=version, reason=reason, **values)


@transaction.atomic
def take_over_sheet(installation: Installation, *, by: Any, version: int, reason: str) -> Installation:
    """Hold an installation against the newest version of its model's sheet from now on; the history keeps why.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_record`; if no reason is given or it is held against the newest one already.
    """
    if not reason.strip():
        refuse("reason", "reason", _("Say why the newer sheet holds for this device."))
    newest = installation.device.device_model.sheets.order_by("-number").first()
    if newest is None or newest.pk == installation.sheet_id:
        raise Refused(_("It is held against the newest sheet already."), code="newest")
    return change_record(installation, by=by, version=version, reason=reason.strip(), sheet=newest)


def check_removal(installed_at: dt.datetime, removed_at: dt.datetime, now: dt.datetime) -> None:
    check_moment("removed_at", removed_at, now)
    if removed_at <= installed_at:
        words = _("Removed %(removed)s is not after installed %(installed)s. Check both times.")
        known = {"removed": moment_words(removed_at), "installed": moment_words(installed_at)}
        refuse("removed_at", "order", words % known)


def end_spell(installation: Installation, *, by: Any, removed_at: dt.datetime) -> None:
    """A spell out of service ends with the removal at the latest."""
    late = OutOfService.objects.filter(installation=installation, begins_at__gte=removed_at).first()
    if late is not None:
        words = _("It was out of service since %(start)s, after the removal. Check both times.")
        refuse("removed_at", "out_of_service", words % {"start": moment_words(late.begins_at)})
    for spell in OutOfService.objects.filter(installation=installation, ends_at__isnull=True):
        change_record(spell, by=by, version=spell.version, reason=_("the device was removed"), ends_at=removed_at)


@transaction.atomic
def begin_move(
    installation: Installation,
    *,
    by: Any,
    version: int,
    removed_at: dt.datetime,
    reason: str,
    state: str = "",
    left_behind: str = "",
    now: dt.datetime | None = None,
) -> Installation:
    """Take a device out of its place so that it can be fitted elsewhere: the old place keeps its period and its notes.

    Parameters
    ----------
    state : str
        How the device is and where it is kept; written on the device.
    left_behind : str
        What stays at the old place; written on the installation.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `remove_installation`; if a note grows too long.
    """
    row = remove_installation(installation, by=by, version=version, removed_at=removed_at, reason=reason, now=now)
    if left_behind.strip():
        words = _("Left behind: %(what)s") % {"what": left_behind.strip()}
        row = change_record(row, by=by, version=row.version, note=added(row.note, words))
    if state.strip():
        device = row.device
        words = f"{timezone.localdate(removed_at, timezone=row.plant.zone)}: {state.strip()}"
        change_record(device, by=by, version=device.version, note=added(device.note, words))
    return row


def added(note: str, words: str) -> str:
    return f"{note.rstrip('. ')}. {words}" if note else words


@transaction.atomic
def remove_installation(
    installation: Installation,
    *,
    by: Any,
    version: int,
    removed_at: dt.datetime,
    reason: str,
    now: dt.datetime | None = None,
) -> Installation:
    """Write that the device was taken out of its place, and why; apps above hear of it after the commit.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_record`; if no reason is given, it was removed before, or the time does not fit.
    """
    if not reason.strip():
        refuse("reason", "reason", _("Say why it was removed."))
    if installation.removed_at is not None:
        raise Refused(
            _("It was removed %(when)s already.") % {"when": moment_words(installation.removed_at)}, code="removed"
        )
    check_removal(installation.installed_at, removed_at, now or timezone.now())
    end_spell(installation, by=by, removed_at=removed_at)
    row = change_record(
        installation, by=by, version=version, reason=reason, removed_at=removed_at, removal_reason=reason.strip()
    )
    transaction.on_commit(partial(device_removed.send, sender=Installation, installation=row), robust=True)
    return row
