"""Pages over visits: closing checks out, looking at a visit, correcting it, the list of readings."""

from __future__ import annotations

import hashlib
import uuid
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.calc.phone_rules import grading_rules
from inspections.forms.visits import CorrectionForm, NotDoneForm, ReadingsForm, VisitForm, stored_values
from inspections.models import Reading, Task, Visit
from inspections.selectors.readings_wanted import own_wear, wanted_of
from inspections.selectors.tasks import checks_to_do
from inspections.selectors.tools import tools_at_hand
from inspections.selectors.visits import acts_running, visit_sheet
from inspections.services import stops, visits
from inspections.tables.visits import ReadingFilter, ReadingTable
from inspections.words.grading import texts_for_phone
from inspections.words.readings import sheet_told
from inspections.words.tools import tools_told
from installs.models import Installation
from plant.calc.addresses import keys_in
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.models import Photo, Plant
from plant.permissions import PlantRequest, get_visible, right
from plant.services.photos import keep_photo
from plant.services.sent_forms import forget_sent, name_done
from plant.views import sent_before
from plant.views.bodies import as_photos, takes
from plant.views.lists import RegisterList
from plant.views.records import RecordChange
from plant.words.typing import typing_for_page

CLOSE_OUT = "inspections.close_out_task"
PLACES = Installation.objects.select_related(
    "conveyor__area", "conveyor__plant", "device__device_model", "plant", "sheet"
)


@right(CLOSE_OUT)
@takes(as_photos)
def create_visit(request: PlantRequest, pk: int) -> HttpResponse:
    """One page for one stop: what to read, graded while it is typed and again when it is sent."""
    installation = get_visible(request, PLACES, CLOSE_OUT, pk=pk)
    due, early = checks_to_do(installation, timezone.localdate(timezone=installation.plant.zone))
    if request.method != "POST":
        return visit_page(request, installation, visit_form(request, installation, [*due, *early]), due)
    key = as_key(request.POST.get("client_key"))
    known = Visit.objects.visible_to(request.user).filter(client_key=key).first() if key else None
    if known is not None:  # the same form sent again
        return redirect(known)
    # Also checks that somebody else closed after this page was opened: their readings are kept.
    named = keys_in(request.POST.getlist("task"))
    tasks = Task.objects.filter(installation=installation, pk__in=named).select_related("check_kind", "plant")
    form = visit_form(request, installation, list(tasks.order_by("opens_on", "due_on")), request.POST, request.FILES)
    form.is_valid()
    kept = keep_photos(form, installation, request.user)
    if form.is_valid():
        sent = sent_before.note(request)
        before = sent_before.written_before(request, sent)
        if before is not None:
            forget_sent(sent)
            sent_before.ask_once(form, before)
            return visit_page(request, installation, form, due, kept, status=409)
        try:
            done = act_on(form, installation, request.user, kept)
        except Refused as refusal:
            forget_sent(sent)
            form.add_refusal(refusal)
            form.suggest_action()
        else:
            name_done(sent, done.get_absolute_url() if done else reverse("today"))
            messages.success(request, done_words(done, form))
            return redirect(done or "today")
    return visit_page(request, installation, form, due, kept, status=422)


def visit_form(request: PlantRequest, installation: Installation, tasks: list[Task], *data: Any) -> VisitForm:
    wear = own_wear(tasks, installation, timezone.now())
    wanted = wanted_of(tasks, installation, wear=wear)
    return VisitForm(*data, tasks=tasks, wanted=wanted, person=request.user, plant=installation.plant)


def act_on(
    form: VisitForm,
    installation: Installation,
    by: Any,
    photos: list[Photo],
    *,
    phone: visits.PhoneClock | None = None,
    lockout_confirmed_at: datetime | None = None,
) -> Visit | None:
    report = visits.StopReport(
        installation=installation,
        by=by,
        client_key=form.cleaned_data["client_key"] or uuid.uuid4(),
        phone=phone,
        visited_at=form.cleaned_data["visited_at"],
        lockout_confirmed=form.cleaned_data["lockout_confirmed"],
        lockout_confirmed_at=lockout_confirmed_at or form.lockout_moment(),
        permit_reference=form.cleaned_data["permit_reference"],
        note=form.cleaned_data["note"],
        entries=form.entries(),
        photos=photos,
        confirmed_implausible=form.confirmed(),
        action=form.new_action(),
        no_action_reason=form.cleaned_data["no_action_reason"],
    )
    return stops.finish_stop(report, form.not_done())


def visit_page(
    request: PlantRequest,
    installation: Installation,
    form: VisitForm,
    due: list[Task],
    kept: list[Photo] | None = None,
    status: int = 200,
) -> HttpResponse:
    due_ids = {task.pk for task in due}
    sections = form.sections()
    running = acts_running(installation)
    form.running = {kind_id: n for kind_id, (_kind, n) in running.items()}
    for each in sections:
        each["n_acts"] = running.get(each["task"].check_kind_id, (None, 0))[1]
    return render(
        request,
        "inspections/visit_form.html",
        {
            "title": _("Close out %(place)s") % {"place": installation},
            "installation": installation,
            "form": form,
            "due": [each for each in sections if each["task"].pk in due_ids or form.is_bound],
            "early": [each for each in sections if each["task"].pk not in due_ids and not form.is_bound],
            "needs_lockout": any(task.check_kind.needs_lockout for task in form.tasks),
            "kept": kept or [],
            "rules": page_rules(form, installation.plant),
            "system": request.user.unit_system,
            "today": timezone.localdate(),
        },
        status=status,
    )


def page_rules(form: ReadingsForm, plant: Plant) -> dict[str, Any]:
    """What the page's script grades by; torque wrenches where a check asks for one."""
    is_asked = any(f"t{task.pk}-instrument" in form.fields for task in form.tasks)
    tools = tools_told(tools_at_hand(plant, timezone.localdate(timezone=plant.zone))) if is_asked else []
    return {
        "grading": grading_rules(),
        "typing": typing_for_page(),
        "texts": texts_for_phone(),
        "checks": form.as_rules(),
        "tools": tools,
    }


def as_key(text: str | None) -> uuid.UUID | None:
    try:
        return uuid.UUID(text or "")
    except ValueError:
        return None


def keep_photos(form: VisitForm, installation: Installation, by: Any) -> list[Photo]:
    """Keep the pictures before anything can be refused, so that nobody has to take them again."""
    kept = list(form.cleaned_data.get("kept_photos") or [])
    key = form.cleaned_data.get("client_key") or uuid.uuid4()
    for file in [*(form.cleaned_data.get("photos") or []), *(form.cleaned_data.get("camera") or [])]:
        content_key = uuid.uuid5(key, hashlib.sha256(file.read()).hexdigest())
        file.seek(0)
        try:
            kept.append(keep_photo(plant=installation.plant, file=file, by=by, client_key=content_key))
        except Refused as refusal:
            form.add_error("photos", refusal.message)
    return kept


def done_words(visit: Visit | None, form: VisitForm) -> str:
    if visit is None:
        return _("Noted. The planners are told; the checks stay open.")
    done = set(visit.readings.values_list("task_id", flat=True))
    left_open = [
        str(task.check_kind) for task in form.tasks if task.pk > 0 and task.pk not in done and task.closed_at is None
    ]
    due = [name for name in left_open if name]
    words = _("Visit kept.")
    if due:
        words += " " + _("Still open here: %(checks)s.") % {"checks": ", ".join(due)}
    return words


@right("inspections.view_visit")
def visit_detail(request: PlantRequest, pk: int) -> HttpResponse:
    rows = Visit.objects.select_related(
        "installation__conveyor__area", "installation__conveyor__plant", "installation__device", "plant",
        "visited_by", "created_by", "lockout_confirmed_by", "corrects", "corrected_by",
    )  # fmt: skip
    visit = get_visible(request, rows, "inspections.view_visit", pk=pk)
    return render(
        request,
        "inspections/visit_detail.html",
        {
            "title": _("Visit to %(place)s") % {"place": visit.installation},
            "visit": visit,
            **sheet_told(visit_sheet(visit), UnitSystem(request.user.unit_system)),
        },
    )


@right(CLOSE_OUT)
def change_visit(request: PlantRequest, pk: int) -> HttpResponse:
    """Correct a visit: all its readings, filled in as they stand; saving writes a further visit."""
    rows = Visit.objects.select_related(
        "installation__conveyor__plant", "installation__device__device_model", "installation__plant", "plant"
    )
    visit = get_visible(request, rows, CLOSE_OUT, pk=pk)
    later = Visit.objects.filter(corrects=visit).first()
    if later is not None:
        if request.method != "POST" or as_key(request.POST.get("client_key")) != later.client_key:
            messages.warning(request, _("This visit was corrected already; this is the later one."))
        return redirect(later)
    tasks = list(
        Task.objects.filter(readings__visit=visit).distinct().select_related("check_kind", "plant").order_by("pk")
    )
    form = CorrectionForm(
        *((request.POST,) if request.method == "POST" else ()),
        tasks=tasks,
        wanted=wanted_of(tasks, visit.installation, before=visit.visited_at),
        person=request.user,
        plant=visit.plant,
        values=stored_values(visit, UnitSystem(request.user.unit_system)),
        initial={"note": visit.note},
    )
    if request.method == "POST" and form.is_valid():
        try:
            fresh = visits.correct_visit(
                visit=visit,
                by=request.user,
                reason=form.cleaned_data["correction_reason"],
                note=form.cleaned_data["note"],
                entries=form.entries(),
                client_key=form.cleaned_data["client_key"] or uuid.uuid4(),
                confirmed_implausible=form.confirmed(),
                action=form.new_action(),
                no_action_reason=form.cleaned_data["no_action_reason"],
            )
        except Refused as refusal:
            form.add_refusal(refusal)
            form.suggest_action()
        else:
            messages.success(request, _("Corrected. The visit as it was first entered stays visible."))
            return redirect(fresh)
    return render(
        request,
        "inspections/visit_correct.html",
        {
            "title": _("Correct the visit to %(place)s") % {"place": visit.installation},
            "visit": visit,
            "installation": visit.installation,
            "form": form,
            "sections": form.sections(),
            "rules": page_rules(form, visit.plant),
            "system": request.user.unit_system,
        },
        status=422 if form.errors else 200,
    )


class NotDoneReport(RecordChange):
    """A check that was tried and could not be done, on a page of its own."""

    right = CLOSE_OUT
    queryset = Task.objects.with_place()
    form_class = NotDoneForm
    button = gettext_lazy("Tell the planners")
    done_words = gettext_lazy("Noted. The planners are told; the check stays open.")

    def get_title(self) -> Any:
        return _("Could not do: %(task)s") % {"task": self.row}

    def form_kwargs(self) -> dict[str, Any]:
        return {"person": self.request.user, "plant": self.row.plant}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        lede = _("This is never held against anybody: the planners are told, and the check stays open.")
        return super().get_context_data(lede=lede, **kwargs)

    def cancel_url(self) -> str:
        return reverse("visit-create", args=[self.row.installation_id])

    def next_url(self, row: Any) -> str:
        return reverse("today")

    def act(self, form: Any) -> Any:
        given = form.cleaned_data
        return stops.could_not_do(
            task=self.row,
            by=self.request.user,
            reason=given["reason"],
            note=given["note"],
            client_key=given["client_key"],
        )


class ReadingList(RegisterList):
    right = "inspections.view_reading"
    title = gettext_lazy("Readings")
    lede = gettext_lazy("Every value that was read at a device, as found and as left, with its grade.")
    empty_words = gettext_lazy("No reading is in the book yet. The first visit that is closed out brings some.")
    table_class = ReadingTable
    filter_class = ReadingFilter

    def rows(self) -> Any:
        return Reading.objects.filter(visit__plant=self.request.plant).select_related(
            "visit__installation__conveyor", "visit__installation__device", "visit__visited_by", "task__check_kind"
        )
