"""What a phone and the site say to each other during a round, as JSON: who is signed in, the pack, entries, photos.

Plain JsonResponse and the form of the desktop page: there are four addresses and one client, which ships with the site,
and the form already reads, checks and words everything that a visit holds. An API library would bring a second reader.

Whatever cannot be taken is answered with a code that tells the phone what to do: `sign_in` and `other_person` (hold it
until the right person is here), `refused` (a person must look), `photo_missing` and `half` (send the photo again).
Anything else is no answer about the entry: the phone keeps it and tries again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.http import Http404, JsonResponse
from django.middleware.csrf import get_token
from django.utils import timezone
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from inspections.files.round_pack import round_pack
from inspections.forms.round_entry import RoundEntry, read_entry, read_set_aside
from inspections.forms.visits import FoundForm, VisitForm
from inspections.models import CheckKind, Task, TwiceClosed, Visit
from inspections.selectors.readings_wanted import chosen_check, wanted_of
from inspections.services.actions import raise_or_add
from inspections.services.set_aside import keep_set_aside, settle_arrived
from inspections.services.visits import time_by_server
from inspections.views.visits import CLOSE_OUT, PLACES, act_on, as_key, done_words
from installs.models import Installation
from plant.calc.addresses import key_in
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.models import Photo
from plant.permissions import PlantRequest, get_visible, require_right
from plant.services.photos import keep_photo
from plant.views.bodies import answers_in_json, as_one_photo, takes


def answer_as(name: str) -> Callable[[Callable[..., Any]], Any]:
    """Name the right of an address that answers in JSON, refusals too: a redirect would tell a phone nothing."""

    def mark(view: Callable[..., Any]) -> Any:
        @wraps(view)
        def checked(request: PlantRequest, *args: Any, **kwargs: Any) -> JsonResponse:
            if not request.user.is_authenticated:
                return said("sign_in", _("Sign in again; what is kept on this phone stays there."), status=401)
            try:
                answer: JsonResponse = view(request, *args, **kwargs)
            except PermissionDenied as denial:
                return said("refused", str(denial) or _("Your role does not include this."), status=403)
            except Http404:
                return said("refused", _("This device is not in a plant of yours."), status=404)
            except Refused as refusal:
                return said("refused", refusal.message, status=422)
            except RequestDataTooBig:
                return said("refused", _("This is more than the site takes at once. Show it to a planner."), status=413)
            return answer

        checked.right = name  # type: ignore[attr-defined]
        checked.login_required = False  # type: ignore[attr-defined]
        return answers_in_json(never_cache(checked))

    return mark


def said(code: str, message: str, *, status: int, **more: Any) -> JsonResponse:
    return JsonResponse({"code": code, "message": message, **more}, status=status)


@answer_as("member")
@require_GET
def who(request: PlantRequest) -> JsonResponse:
    """Who is signed in, by what clock, and the token for sending."""
    return JsonResponse(
        {
            "person": {"id": request.user.pk, "name": str(request.user)},
            "token": get_token(request),
            "now": timezone.now().isoformat(),
        }
    )


@answer_as(CLOSE_OUT)
@require_GET
def pack(request: PlantRequest) -> JsonResponse:
    require_right(request.user, CLOSE_OUT, request.plant)
    return JsonResponse(round_pack(request.user, request.plant, timezone.now()))


@answer_as(CLOSE_OUT)
@takes(as_one_photo)
@require_POST
def take_photo(request: PlantRequest) -> JsonResponse:
    """One photo, whole or not at all: the phone says how long it is and what it adds up to."""
    installation = get_visible(request, PLACES, CLOSE_OUT, pk=key_in(request.POST.get("installation")))
    key, file = as_key(request.POST.get("key")), request.FILES.get("file")
    if key is None or file is None:
        return said("half", _("The photo did not arrive; it is sent again."), status=400)
    known = Photo.objects.of_plant(installation.plant).filter(client_key=key).first()
    if known is None:
        content = file.read()
        file.seek(0)
        is_whole = len(content) == key_in(request.POST.get("bytes"))
        told = request.POST.get("sha256")
        if not is_whole or (told and hashlib.sha256(content).hexdigest() != told):
            return said("half", _("Only a part of the photo arrived; it is sent again."), status=400)
        known = keep_photo(plant=installation.plant, file=file, by=request.user, client_key=key)
    return JsonResponse({"photo": known.pk, "bytes": known.file.size})


@answer_as(CLOSE_OUT)
@require_POST
def take_entry(request: PlantRequest) -> JsonResponse:
    """One stop that was closed out on a phone. The same key again gives the same answer and writes nothing."""
    entry = read_entry(request.body)
    if entry.person != request.user.pk:
        words = _("Somebody else wrote this entry; it is sent when they are signed in.")
        return said("other_person", words, status=409)
    installation = get_visible(request, PLACES, CLOSE_OUT, pk=entry.installation)
    known = Visit.objects.filter(client_key=entry.key, created_by=request.user).first()
    if known is not None:
        settle_arrived(entry.key, by=request.user)
        return JsonResponse(as_answer(known, _("Visit kept.")))
    missing = photos_missing(entry, installation, request)
    if missing:
        return said("photo_missing", _("A photo did not arrive whole; it is sent again."), status=409, photos=missing)
    if entry.kind == "action":
        return take_action(request, installation, entry)
    form = phone_form(request, installation, entry)
    form.drop_stale_choice()
    if form.is_valid():
        try:
            done = act_on(
                form,
                installation,
                request.user,
                photos_of(entry, installation),
                phone=entry.clock,
                lockout_confirmed_at=time_by_server(entry.lockout_at, entry.clock, timezone.now()),
            )
        except Refused as refusal:
            form.add_refusal(refusal)
        else:
            settle_arrived(entry.key, by=request.user)
            return JsonResponse(as_answer(done, done_words(done, form)))
    return faults_said(form)


@answer_as(CLOSE_OUT)
@require_POST
def take_set_aside(request: PlantRequest) -> JsonResponse:
    """What a phone set aside after the site had failed on it several times: its text, for the planners."""
    told = read_set_aside(request.body)
    if told.person != request.user.pk:
        words = _("Somebody else wrote this entry; it is sent when they are signed in.")
        return said("other_person", words, status=409)
    installation = get_visible(request, PLACES, CLOSE_OUT, pk=told.installation)
    row = keep_set_aside(
        installation=installation,
        by=request.user,
        key=told.key,
        kind=told.kind,
        made_at=told.made_at,
        answer=told.answer,
        tries=told.tries,
        n_photos=told.n_photos,
        content=told.content,
    )
    return JsonResponse({"set_aside": row.pk, "url": row.get_absolute_url()})


def take_action(request: PlantRequest, installation: Installation, entry: RoundEntry) -> JsonResponse:
    """Corrective work that was raised by hand on a phone, with no check beside it."""
    require_right(request.user, "inspections.add_action", installation.plant)
    form = FoundForm(entry.fields, person=request.user, plant=installation.plant, installation=installation)
    form.drop_stale_choice()
    if not form.is_valid():
        return faults_said(form)
    new = form.new_action()
    assert new is not None  # a title is required here
    row = raise_or_add(
        new,
        installation=installation,
        by=request.user,
        photos=photos_of(entry, installation),
        client_key=entry.key,
        may_ask=False,
    )
    settle_arrived(entry.key, by=request.user)
    words = _("Added to the action that was open.") if new.add_to else _("Action raised.")
    return JsonResponse({"visit": None, "action": row.pk, "url": row.get_absolute_url(), "message": words, "twice": []})


def faults_said(form: Any) -> JsonResponse:
    return said(
        "refused",
        " ".join(dict.fromkeys(words for each in form.errors.values() for words in each)),
        status=422,
        fields={name: [str(words) for words in each] for name, each in form.errors.items()},
        suggested_action=getattr(form, "suggested_action", ""),
    )


def phone_form(request: PlantRequest, installation: Installation, entry: RoundEntry) -> VisitForm:
    """The desktop page's form over what the phone kept; its numbers were typed in the units of the pack."""
    if entry.system in set(UnitSystem):
        request.user.unit_system = entry.system  # for reading this request; nobody saves it
    data = entry.fields.copy()
    data.setlist("client_key", [str(entry.key)])
    named = entry.tasks()
    rows = Task.objects.filter(installation=installation, pk__in=named).select_related("check_kind", "plant")
    kinds = CheckKind.objects.for_plant(installation.plant).filter(pk__in=[-each for each in named if each < 0])
    today = timezone.localdate(timezone=installation.plant.zone)
    chosen = [chosen_check(installation, kind, today) for kind in kinds]
    tasks = [*rows.order_by("opens_on", "due_on"), *chosen]
    wanted = wanted_of(tasks, installation)
    return VisitForm(data, MultiValueDict(), tasks=tasks, wanted=wanted, person=request.user, plant=installation.plant)


def photos_of(entry: RoundEntry, installation: Installation) -> list[Photo]:
    return list(Photo.objects.of_plant(installation.plant).filter(client_key__in=entry.photos))


def photos_missing(entry: RoundEntry, installation: Installation, request: PlantRequest) -> list[str]:
    rows = Photo.objects.of_plant(installation.plant).filter(created_by=request.user, client_key__in=entry.photos)
    here = set(rows.values_list("client_key", flat=True))
    return [str(key) for key in entry.photos if key not in here]


def as_answer(visit: Visit | None, words: str) -> dict[str, Any]:
    if visit is None:
        return {"visit": None, "message": words, "twice": []}
    twice = TwiceClosed.objects.filter(second=visit).select_related("task__check_kind", "first__visited_by")
    return {
        "visit": visit.pk,
        "url": visit.get_absolute_url(),
        "message": words,
        "n_readings": visit.readings.count(),
        "received_at": visit.created_at.isoformat(),
        "visited_at": visit.visited_at.isoformat(),
        "twice": [
            {
                "url": each.get_absolute_url(),
                "message": _("%(check)s had been closed by %(who)s already. Both are kept: say which counts.")
                % {"check": each.task.check_kind, "who": each.first.visited_by},
            }
            for each in twice
        ],
    }
