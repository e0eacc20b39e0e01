"""Check kinds with their readings, and check plans: how often, for which devices."""

from __future__ import annotations

import copy
import uuid
from itertools import pairwise
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.models import GRADES, CheckKind, CheckPlan, ReadingField
from inspections.models.check_plans import FIXED
from inspections.selectors.check_plans import installations_of
from inspections.services.tasks import plan_at_once, plan_tasks
from installs.models import DeviceModel, Installation
from plant.calc.wording import figure
from plant.errors import Refused
from plant.models import Plant
from plant.services.records import CONSTRAINT_WORDS, change_record, check_row, create_record, known_row

CONSTRAINT_WORDS.update(
    {
        "check_plan_once_per_model": gettext_lazy(
            "This device model has a plan for this check already; change that one."
        ),
        "check_plan_once_per_installation": gettext_lazy(
            "This installation has a plan of its own for this check already; change that one."
        ),
        "check_kind_code_once": gettext_lazy("The plant has a check of this name already; choose another name."),
        "reading_field_code_once": gettext_lazy("This check has a reading of this name already; choose another label."),
        "task_open_once": gettext_lazy("Such a check is open here already."),
    }
)


# --- Kinds ------------------------------------------------------------------------------------------------------------
@transaction.atomic
def create_check_kind(
    *, plant: Plant, by: Any, name: str, client_key: uuid.UUID | None = None, code: str = "", **values: Any
) -> CheckKind:
    """A kind of check of the plant's own, with readings and limits that it sets itself."""
    known = known_row(CheckKind, client_key)
    if known is not None:
        return known
    code = code or slugify(name)[:40]
    taken = CheckKind.objects.filter(plant=plant, code=code) | CheckKind.objects.filter(plant=None, code=code)
    if not code or taken.exists():
        words = _("There is a check named %(name)s already; choose another name.") % {"name": name}
        raise Refused(words, code="conflict", fields={"name": words})
    return create_record(CheckKind, by=by, client_key=client_key, plant=plant, name=name, code=code, **values)


def require_own(kind: CheckKind) -> None:
    if kind.plant_id is None:
        raise Refused(
            _("%(kind)s is built in: its limits come from the device model. Add a check of your own instead.")
            % {"kind": kind},
            code="built_in",
        )


@transaction.atomic
def change_check_kind(*, kind: CheckKind, by: Any, version: int, **values: Any) -> CheckKind:
    """Change a plant's own kind; readings that were taken keep the grade that they were given."""
    require_own(kind)
    kind = change_record(kind, by=by, version=version, **values)
    assert kind.plant is not None
    plan_again(kind.plant, kind.plans.all())
    return kind


@transaction.atomic
def add_reading_field(
    *, kind: CheckKind, by: Any, label: str, client_key: uuid.UUID | None = None, **values: Any
) -> ReadingField:
    """One more value that a plant's own kind asks for."""
    require_own(kind)
    known = known_row(ReadingField, client_key)
    if known is not None:
        return known
    check_reading_field(values)
    code = slugify(label)[:40].replace("-", "_")
    if not code or kind.fields.filter(code=code).exists():
        words = _("This check has a reading named %(label)s already; choose another label.") % {"label": label}
        raise Refused(words, code="conflict", fields={"label": words})
    return create_record(
        ReadingField, by=by, client_key=client_key, check_kind=kind, label=label, code=code, **tidy(values)
    )


@transaction.atomic
def change_reading_field(*, field: ReadingField, by: Any, version: int, **values: Any) -> ReadingField:
    """Change a reading's label, limits or answers. Its short name stays: readings that were taken refer to it."""
    require_own(field.check_kind)
    merged = {name: getattr(field, name) for name in (*LIMITS, "form", "choices")} | values
    check_reading_field(merged)
    return change_record(field, by=by, version=version, **tidy(values | {"form": merged["form"]}))


LIMITS = ("act_below", "watch_below", "watch_above", "act_above")


def tidy(values: dict[str, Any]) -> dict[str, Any]:
    """Without what the other forms of a reading need: a number has no answers, an answer no limits."""
    if values.get("form", ReadingField.Form.NUMBER) == ReadingField.Form.NUMBER:
        return {**values, "choices": []}
    return {**values, "quantity": "", **dict.fromkeys(LIMITS)}


def check_reading_field(values: dict[str, Any]) -> None:
    """Refuse limits that contradict each other and answers without a grade."""
    if values.get("form", ReadingField.Form.NUMBER) == ReadingField.Form.NUMBER:
        given = [(name, values[name]) for name in LIMITS if values.get(name) is not None]
        for (lower, low), (upper, high) in pairwise(given):
            if low > high:
                labels = {
                    each.name: str(each.verbose_name)
                    for each in ReadingField._meta.concrete_fields
                    if each.name in LIMITS
                }
                words = _("%(upper)s (%(high)s) lies below %(lower)s (%(low)s); the order is %(order)s.") % {
                    "upper": labels[upper],
                    "high": figure(high),
                    "lower": labels[lower],
                    "low": figure(low),
                    "order": ", ".join(labels[name] for name in LIMITS),
                }
                raise Refused(words, code="limits", fields={upper: words})
        return
    answers = values.get("choices") or []
    grades = [grade for grade, _word in GRADES]
    for each in answers:
        if each.get("grade") not in grades or not each.get("label") or not each.get("value"):
            words = _("The answer %(answer)s has no grade; give one of %(grades)s.") % {
                "answer": each.get("label") or "?",
                "grades": ", ".join(grades),
            }
            raise Refused(words, code="choices", fields={"choices": words})
    if len({each["value"] for each in answers}) < max(len(answers), 2):
        words = _("Give at least two different answers, each with its grade.")
        raise Refused(words, code="choices", fields={"choices": words})


# --- Plans ------------------------------------------------------------------------------------------------------------
def new_plan(plant: Plant, **values: Any) -> CheckPlan:
    """A plan as it would be, not saved; fixed dates would be kept from today on."""
    return with_fixed_since(CheckPlan(plant=plant, **values))


def plan_with(plan: CheckPlan, **values: Any) -> CheckPlan:
    """A copy of a plan with other values, not saved."""
    other = copy.copy(plan)
    for name, value in values.items():
        setattr(other, name, value)
    is_same = all(getattr(other, name) == getattr(plan, name) for name in FIXED)
    return other if is_same else with_fixed_since(other)


def with_fixed_since(plan: CheckPlan) -> CheckPlan:
    plan.fixed_since = timezone.localdate(timezone=plan.plant.zone) if plan.fixed_months is not None else None
    return plan


def check_plan_values(plan: CheckPlan) -> None:
    """Refuse a plan that is not saved as saving it would.

    Raises
    ------
    Refused
        If a value is not allowed, with the field at fault.
    """
    check_row(plan, but=["plant", "created_by"])


@transaction.atomic
def create_check_plan(
    *,
    plant: Plant,
    by: Any,
    check_kind: CheckKind,
    device_model: DeviceModel | None = None,
    installation: Installation | None = None,
    client_key: uuid.UUID | None = None,
    **values: Any,
) -> CheckPlan:
    """How often a check is done for every device of a model, or for one installation instead of that.

    Raises
    ------
    Refused
        If no interval is given, a plan for the same stands already, or the kind is another plant's.
    """
    if check_kind.plant_id not in (None, plant.pk):
        raise Refused(_("This check belongs to another plant."), code="other_plant")
    if (device_model is None) == (installation is None):
        raise Refused(_("Name a device model or an installation, one of the two."), code="for_what")
    if any(each is not None and each.plant_id != plant.pk for each in (device_model, installation)):
        raise Refused(_("The device belongs to another plant."), code="other_plant")
    known = known_row(CheckPlan, client_key)
    if known is not None:
        return known
    standing = CheckPlan.objects.filter(check_kind=check_kind, device_model=device_model, installation=installation)
    if standing.exists():
        words = _("%(kind)s has a plan for %(whom)s already; change that one.") % {
            "kind": check_kind,
            "whom": device_model or installation,
        }
        raise Refused(words, code="conflict", fields={"check_kind": words})
    plan = create_record(
        CheckPlan,
        by=by,
        client_key=client_key,
        plant=plant,
        check_kind=check_kind,
        device_model=device_model,
        installation=installation,
        fixed_since=new_plan(plant, **values).fixed_since,
        **values,
    )
    plan_again(plant, [plan])
    return plan


@transaction.atomic
def change_check_plan(*, plan: CheckPlan, by: Any, version: int, **values: Any) -> CheckPlan:
    """Change intervals, fixed dates and windows. Open tasks that are not late and were not put off move at once.

    Fixed dates that change are kept from this day on: dates before it were never asked for.
    """
    asked = plan_with(plan, **{name: values[name] for name in FIXED if name in values})
    plan = change_record(plan, by=by, version=version, fixed_since=asked.fixed_since, **values)
    plan_again(plan.plant, [plan])
    return plan


@transaction.atomic
def suspend_check_plan(*, plan: CheckPlan, by: Any, version: int, reason: str) -> CheckPlan:
    """Ask for no more checks of this plan; its open tasks are withdrawn.

    Raises
    ------
    Refused
        If no reason is given.
    """
    if not reason.strip():
        raise Refused(_("Say why it is suspended."), code="reason", fields={"reason": _("Give a reason.")})
    plan = change_record(plan, by=by, version=version, reason=reason, is_suspended=True)
    plan_again(plan.plant, [plan])
    return plan


@transaction.atomic
def resume_check_plan(*, plan: CheckPlan, by: Any, version: int, reason: str = "") -> CheckPlan:
    """Ask for the checks again, from today on: nothing is late on the day of resuming."""
    today = timezone.localdate(timezone=plan.plant.zone)
    since = today if plan.fixed_months is not None else None
    plan = change_record(plan, by=by, version=version, reason=reason, is_suspended=False, fixed_since=since)
    plan_tasks(plan.plant, today, installations=installations_of([plan]), not_before=today)
    return plan


def plan_again(plant: Plant, plans: Any) -> None:
    """Bring tasks in line at once, as the next night would."""
    plan_at_once(plant, installations_of(plans))
