"""Fittings: a device planned into a place and an outage window, with crew, needs and permit; changed and given up."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.placement import SAME_PLACE_M
from installs.models import Fitting, FittingNeed, Isolation
from installs.services.installations import check_device_suits, check_place, refuse
from installs.signals import fitting_planned
from installs.words import bounds
from installs.words.bounds import BoundRule
from plant.calc.reasons import Reason
from plant.calc.wording import full_stop
from plant.errors import Refused
from plant.models import Conveyor, Membership
from plant.services.records import CONSTRAINT_WORDS, all_but, change_record, create_record, known_row
from plant.words.moments import moment_words
from plant.words.refusals import refused

CONSTRAINT_WORDS.update(
    {"fitting_need_once": gettext_lazy("This part or tool is on the list already. Change its number.")}
)


def locked(fitting: Fitting) -> Fitting:
    """The job as it stands now, kept from others until this act is written.

    Taken before anything is looked up: of one form that comes twice at the same moment the second then finds what the
    first one wrote.
    """
    return Fitting.objects.select_for_update().get(pk=fitting.pk)


def refuse_if_over(fitting: Fitting) -> None:
    """Raises Refused where the job is handed over or given up: its record is closed."""
    if fitting.given_up_at is not None:
        raise Refused(
            _("This job was given up %(when)s: %(why)s Plan a new one.")
            % {"when": moment_words(fitting.given_up_at), "why": full_stop(fitting.given_up_reason)},
            code="given_up",
        )
    if fitting.handed_over_at is not None:
        raise Refused(
            _(
                "This job was handed over %(when)s; its record is closed. What is found since is recorded at the "
                "installation, as a check or an action."
            )
            % {"when": moment_words(fitting.handed_over_at)},
            code="handed_over",
        )


def refuse_if_accepted(fitting: Fitting, how: str = "") -> None:
    """Raises Refused where the job is over or accepted: nothing that it was accepted with is taken away or added to.

    Parameters
    ----------
    how : str, optional
        What can be done instead, where that is more than an open point at the hand-over.
    """
    refuse_if_over(fitting)
    if fitting.accepted_at is not None:
        known = {"when": moment_words(fitting.accepted_at), "who": fitting.accepted_by}
        said = _("The job was accepted %(when)s by %(who)s.") % known
        how = how or _("What is left is the hand-over; name there, as an open point, what does not hold.")
        raise Refused(f"{said} {how}", code="accepted")


def check_plan(values: Mapping[str, Any], crew: Iterable[Any], *, begun: bool = False) -> None:
    """Raises Refused, with the field, where place, model, device, survey, window and crew do not go together."""
    conveyor: Conveyor = values["conveyor"]
    model, device, survey = values["device_model"], values.get("device"), values.get("survey")
    check_place(conveyor, values["strand"], values["chainage_m"])
    if model.plant_id != conveyor.plant_id:
        refuse("device_model", "other_plant", _("Model and conveyor belong to different plants. Choose both from one."))
    if conveyor.is_reversing and not model.suits_reversing:
        refuse(
            "device_model",
            "reversing",
            _("%(tag)s is a reversing belt and %(model)s is not made for both directions. Choose another model.")
            % {"tag": conveyor.tag, "model": model},
        )
    if device is not None:
        if device.device_model_id != model.pk:
            refuse(
                "device",
                "other_model",
                _("Device %(number)s is a %(its)s, the job is planned for a %(planned)s. Choose one of that model.")
                % {"number": device.number, "its": device.device_model, "planned": model},
            )
        check_device_suits(device, conveyor, timezone.now())
    if survey is not None and survey.conveyor_id != conveyor.pk:
        refuse("survey", "other_belt", _("That survey is of another belt. Choose one of %s.") % conveyor.tag)
    check_window(values, begun=begun)
    belong = set(
        Membership.objects.filter(plant_id=conveyor.plant_id, person__in=list(crew)).values_list("person_id", flat=True)
    )
    strangers = [str(person) for person in crew if person.pk not in belong]
    if strangers:
        refuse("crew", "crew", _("%s does not belong to this plant.") % ", ".join(strangers))


def check_not_planned(conveyor: Conveyor, strand: str, chainage_m: float, *, but: Fitting | None = None) -> None:
    """Raises Refused, with the page of the other plan, where a job that is not over is planned for the same place."""
    other = (
        all_but(Fitting.objects.open(), but)
        .filter(
            conveyor=conveyor,
            strand=strand,
            chainage_m__gt=chainage_m - SAME_PLACE_M,
            chainage_m__lt=chainage_m + SAME_PLACE_M,
        )
        .select_related("device_model")
        .first()
    )
    if other is None:
        return
    known: dict[str, float | str] = {
        "tag": conveyor.tag,
        "strand": str(other.get_strand_display()),
        "at_m": other.chainage_m,
        "model": str(other.device_model),
    }
    rule = BoundRule.PLACE_PLANNED
    if other.planned_at is not None:
        rule, known["when"] = BoundRule.PLACE_PLANNED_AT, moment_words(other.planned_at)
    refusal = refused(Reason(rule, known), bounds.TEXTS, code="place_planned", fields=["chainage_m"])
    refusal.stands_at = other.get_absolute_url()
    raise refusal


def check_window(values: Mapping[str, Any], *, begun: bool) -> None:
    window, planned_at = values.get("outage_window"), values.get("planned_at")
    if window is None:
        return
    if window.conveyor_id != values["conveyor"].pk:
        refuse(
            "outage_window",
            "other_belt",
            _("That window is one of %(other)s, the job is on %(tag)s. Choose a window of %(tag)s.")
            % {"other": window.conveyor.tag, "tag": values["conveyor"].tag},
        )
    if planned_at is not None and not begun and not window.starts_at <= planned_at < window.ends_at:
        refuse(
            "planned_at",
            "outside_window",
            _("%(start)s lies outside the window %(from)s to %(to)s. Give a time in it, or leave it empty.")
            % {
                "start": moment_words(planned_at),
                "from": moment_words(window.starts_at),
                "to": moment_words(window.ends_at),
            },
        )


@transaction.atomic
def plan_fitting(
    *,
    conveyor: Conveyor,
    device_model: Any,
    chainage_m: float,
    by: Any,
    strand: str = "return",
    crew: Iterable[Any] = (),
    client_key: uuid.UUID | None = None,
    **values: Any,
) -> Fitting:
    """Plan the job of fitting a device. What it needs is copied from the model's list of parts and tools.

    What is missing does not forbid a plan; it is told by `installs.selectors.fittings`.

    Parameters
    ----------
    chainage_m : float
        From the tail pulley's centre [m].
    strand : {"carry", "return"}
        Strand that the device will stand on.
    crew : iterable of Person
        People of this plant.
    **values
        device, survey, outage_window, planned_at (in the window; empty: its start), duration_h, permit_reference,
        target_offset_mm, note.

    Raises
    ------
    Refused
        If place, model, device, window, survey or crew do not go together, or another job is planned for the place.
    """
    known = known_row(Fitting, client_key)
    if known is not None:
        return known
    people = list(crew)
    place = {"conveyor": conveyor, "device_model": device_model, "chainage_m": chainage_m, "strand": strand}
    window = values.get("outage_window")
    if window is not None and values.get("planned_at") is None:
        values["planned_at"] = window.starts_at
    check_plan({**values, **place}, people)
    check_not_planned(conveyor, strand, chainage_m)
    values["crew_names"] = names_of(people)
    fitting = create_record(Fitting, by=by, client_key=client_key, plant=conveyor.plant, **place, **values)
    fitting.crew.set(people)
    copy_needs(fitting, by=by)
    transaction.on_commit(lambda: fitting_planned.send(Fitting, fitting=fitting, by=by), robust=True)
    return fitting


def copy_needs(fitting: Fitting, *, by: Any) -> None:
    """Bring the model's parts, tools and lifting aids onto the list of the job, those not on it yet."""
    there = set(fitting.needs.values_list("kind", "name"))
    for part in fitting.device_model.parts.all():
        if (part.kind, part.name) not in there:
            create_record(
                FittingNeed,
                by=by,
                client_key=uuid.uuid5(fitting.client_key, f"need {part.kind} {part.name}"),
                fitting=fitting,
                kind=part.kind,
                name=part.name,
                needed=part.count,
                note=part.note,
            )


@transaction.atomic
def change_fitting(
    fitting: Fitting, *, by: Any, version: int, reason: str = "", crew: Iterable[Any] | None = None, **values: Any
) -> Fitting:
    """Change the plan. Once the work has begun, belt and model stay: another model is another job.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_record`; if things do not go together, the job is over or accepted, or belt or model of a job that
        has begun is changed.
    """
    refuse_if_over(fitting)
    if fitting.accepted_at is not None:
        raise Refused(_("The job is accepted; what it was stays as it was."), code="accepted")
    for name in ("conveyor", "device_model"):
        if fitting.begun_at is not None and name in values and values[name] != getattr(fitting, name):
            refuse(name, "begun", _("The work has begun. Give this job up and plan another one."))
    names = ("conveyor", "strand", "chainage_m", "device_model", "device", "survey", "outage_window", "planned_at")
    people = list(fitting.crew.all() if crew is None else crew)
    new = {name: values.get(name, getattr(fitting, name)) for name in names}
    if new["outage_window"] is not None and new["planned_at"] is None:
        new["planned_at"] = values["planned_at"] = new["outage_window"].starts_at
    check_plan(new, people, begun=fitting.begun_at is not None)
    if any(new[name] != getattr(fitting, name) for name in ("conveyor", "strand", "chainage_m")):
        check_not_planned(new["conveyor"], new["strand"], new["chainage_m"], but=fitting)
    is_other_model = new["device_model"] != fitting.device_model
    values["crew_names"] = names_of(people)
    fitting = change_record(fitting, by=by, version=version, reason=reason, **values)
    fitting.crew.set(people)
    if is_other_model:
        for need in fitting.needs.filter(at_hand=0):
            need._history_user = by
            need.delete()
        copy_needs(fitting, by=by)
    transaction.on_commit(lambda: fitting_planned.send(Fitting, fitting=fitting, by=by), robust=True)
    return fitting


def names_of(people: Iterable[Any]) -> str:
    return ", ".join(sorted(str(each) for each in people))[:300]


@transaction.atomic
def give_up_fitting(fitting: Fitting, *, by: Any, version: int, reason: str, now: dt.datetime | None = None) -> Fitting:
    """End a job without an installation. An isolation that is still recorded as open must be recorded as ended first.

    Raises
    ------
    ChangedMeanwhile, Refused
        If no reason is given, the job is over or accepted, or locks are not recorded as handed back.
    """
    fitting = locked(fitting)
    if fitting.given_up_at is not None and fitting.given_up_reason == reason.strip():
        return fitting  # the same form sent twice
    refuse_if_accepted(
        fitting,
        _("The device is on the belt: hand the job over. Where it comes off again, record that with its installation."),
    )
    if not reason.strip():
        refuse("reason", "reason", _("Say why the job is given up."))
    open_one = Isolation.objects.filter(fitting=fitting, released_at__isnull=True).first()
    if open_one is not None:
        raise Refused(
            _("Isolation %(cycle)s is recorded since %(when)s. Record first who handed back the locks.")
            % {"cycle": open_one.cycle, "when": moment_words(open_one.isolated_at)},
            code="isolated",
        )
    return change_record(
        fitting,
        by=by,
        version=version,
        reason=reason,
        given_up_at=now or timezone.now(),
        given_up_reason=reason.strip(),
    )


@transaction.atomic
def add_need(*, fitting: Fitting, by: Any, client_key: uuid.UUID | None = None, **values: Any) -> FittingNeed:
    """Put a part, tool or lifting aid on the list of the job."""
    known = known_row(FittingNeed, client_key)
    if known is not None:
        return known
    refuse_if_over(fitting)
    return create_record(FittingNeed, by=by, client_key=client_key, fitting=fitting, **values)


@transaction.atomic
def count_needs(*, fitting: Fitting, by: Any, at_hand: Mapping[int, int]) -> list[FittingNeed]:
    """Write how many of each need are at hand; what is not named stays.

    Parameters
    ----------
    at_hand : mapping of int to int
        Number of the need's row to how many there are.

    Returns
    -------
    list of FittingNeed
        Those that changed.
    """
    refuse_if_over(fitting)
    changed = []
    for need in fitting.needs.filter(pk__in=at_hand):
        count = at_hand[need.pk]
        if count < 0:
            refuse(f"need_{need.pk}", "negative", _("%(given)s is negative; give 0 or more.") % {"given": count})
        if count != need.at_hand:
            changed.append(change_record(need, by=by, version=need.version, at_hand=count))
    return changed
