"""Who may do what. Roles are Django groups; a person holds a role in a plant; everything else is denied.

A view names its right with `@right("plant.view_conveyor")`; a row is fetched with `get_visible`, which answers 404
for a row of a plant that the person does not belong to and 403 where they lack the right there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import wraps
from typing import TYPE_CHECKING, Any, TypeVar, cast

from django.apps import AppConfig, apps
from django.contrib.auth.models import Group, Permission
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _

if TYPE_CHECKING:
    from django_htmx.middleware import HtmxDetails

    from plant.models import Person, Plant

View = TypeVar("View", bound=Callable[..., Any])


class PlantRequest(HttpRequest):
    """A request behind the sign-in as the middleware leaves it, for annotations: Django makes the object itself.

    Who belongs to no plant has None for it; pages that are open to them ask.
    """

    user: Person
    plant: Plant
    plants: list[Plant]
    htmx: HtmxDetails


TECHNICIAN = "technician"
PLANNER = "planner"
ENGINEER = "reliability engineer"
MANAGER = "manager"
ROLES = (TECHNICIAN, PLANNER, ENGINEER, MANAGER)
# No role: a mark on the person, over all plants, that opens no plant's book (Person.is_keeper).
KEEPER = "keeper"

# What the roles may do, filled by each app (register_rights) and written to the groups after each migration.
RIGHTS: dict[str, set[str]] = {role: set() for role in ROLES}


def register_rights(rights: dict[str, Iterable[str]]) -> None:
    """Add rights such as "plant.add_incident" to roles; "everyone" stands for all four."""
    for role, names in rights.items():
        for each in ROLES if role == "everyone" else (role,):
            RIGHTS[each].update(names)


def every(app: str, *models: str, acts: str = "view add change") -> list[str]:
    """Names of rights: every("plant", "area", acts="view add") -> ["plant.view_area", "plant.add_area"]."""
    return [f"{app}.{act}_{model}" for model in models for act in acts.split()]


def sync_roles() -> None:
    """Make the four groups and give them their rights."""
    for role, names in RIGHTS.items():
        group, _made = Group.objects.get_or_create(name=role)
        wanted = Permission.objects.filter(
            content_type__app_label__in={name.split(".")[0] for name in names},
            codename__in={name.split(".")[1] for name in names},
        ).select_related("content_type")
        group.permissions.set([each for each in wanted if f"{each.content_type.app_label}.{each.codename}" in names])


def sync_roles_at_the_end(sender: AppConfig, **kwargs: Any) -> None:
    """After a migration: rights come app by app, so the roles get theirs when the last app has brought its own."""
    if sender is [each for each in apps.get_app_configs() if each.models_module is not None][-1]:
        sync_roles()


def rights_by_plant(person: Any) -> dict[int, set[str]]:
    """The person's rights in each of their plants; read once per request."""
    known = getattr(person, "_rights_by_plant", None)
    if known is None:
        known = {}
        rows = person.memberships.values_list(
            "plant_id", "role__permissions__content_type__app_label", "role__permissions__codename"
        )
        for plant_id, app, code in rows:
            known.setdefault(plant_id, set())
            if code:
                known[plant_id].add(f"{app}.{code}")
        person._rights_by_plant = known
    return known


def has_right(person: Any, name: str, plant: Any) -> bool:
    if plant is None or not person.is_authenticated or not person.is_active:
        return False
    return name in rights_by_plant(person).get(plant.pk, set())


def require_right(person: Any, name: str, plant: Any) -> None:
    if not has_right(person, name, plant):
        raise PermissionDenied(
            _("Your role in %(plant)s does not include this. A planner of the plant can give you another role.")
            % {"plant": plant}
            if plant
            else _("You do not belong to a plant yet. A planner of the plant can add you.")
        )


def right(name: str) -> Callable[[View], View]:
    """Mark a view with the right that it needs and check it.

    On a page of the current plant the right is checked there. On a page of one row (its URL has a pk) the check here
    is only that the person holds the right somewhere; `get_visible` checks it in the row's own plant.
    """

    def mark(view: View) -> View:
        @wraps(view)
        def checked(request: PlantRequest, *args: Any, **kwargs: Any) -> Any:
            if "pk" in kwargs:
                if not any(name in names for names in rights_by_plant(request.user).values()):
                    require_right(request.user, name, request.plant)
            else:
                require_right(request.user, name, request.plant)
            return view(request, *args, **kwargs)

        marked: Any = checked
        marked.right = name
        return cast(View, marked)

    return mark


def require_keeper(person: Any) -> None:
    if not (person.is_authenticated and person.is_active and person.is_keeper):
        raise PermissionDenied(_("Only a keeper of this site may see this. Ask one of them."))


def for_keepers(view: View) -> View:
    """Mark a view that shows how the site is and nothing of any plant's book: only its keepers may see it."""

    @wraps(view)
    def checked(request: PlantRequest, *args: Any, **kwargs: Any) -> Any:
        require_keeper(request.user)
        return view(request, *args, **kwargs)

    marked: Any = checked
    marked.right = KEEPER
    return cast(View, marked)


def open_to_members(view: View) -> View:
    """Mark a view that every signed-in person may see (it shows nothing of a plant they do not belong to)."""
    marked: Any = view
    marked.right = "member"
    return view


def open_to_all(view: View) -> View:
    """Mark a view that needs no sign-in."""
    marked: Any = view
    marked.right = "all"
    marked.login_required = False
    return view


def get_visible(request: PlantRequest, queryset: Any, name: str, **lookup: Any) -> Any:
    """The one row that is asked for: 404 outside the person's plants, 403 without the right in the row's plant."""
    row = get_object_or_404(queryset.visible_to(request.user), **lookup)
    plant = row.plant
    if plant is None:  # a built-in kind: the rights of the plant at hand decide
        plant = request.plant
    if plant is None:
        raise Http404
    require_right(request.user, name, plant)
    request.plant = plant
    timezone.activate(plant.zone)  # a row of another plant of theirs is shown and read in its own clock
    return row


register_rights(
    {
        "everyone": [
            *every(
                "plant",
                "plant",
                "area",
                "conveyor",
                "conveyorpart",
                "outagewindow",
                "beltchange",
                "runrecord",
                "meterreading",
                "incident",
                "photo",
                "switchevent",
                acts="view",
            ),
        ],
        TECHNICIAN: every("plant", "incident", "photo", acts="add change"),
        PLANNER: [
            *every(
                "plant",
                "area",
                "conveyor",
                "conveyorpart",
                "outagewindow",
                "beltchange",
                "runrecord",
                "meterreading",
                "incident",
                "photo",
                acts="add change",
            ),
            *every("plant", "outagewindow", "conveyorpart", acts="delete"),
            "plant.change_plant",
            "plant.manage_people",
            "plant.run_import",
            "plant.view_importbatch",
            "plant.export_plant",
        ],
        MANAGER: ["plant.export_plant"],
        ENGINEER: [
            *every(
                "plant",
                "area",
                "conveyor",
                "conveyorpart",
                "beltchange",
                "runrecord",
                "meterreading",
                "incident",
                "photo",
                acts="add change",
            ),
            *every("plant", "conveyorpart", acts="delete"),
            "plant.change_plant",
            "plant.run_import",
            "plant.view_importbatch",
        ],
    }
)
