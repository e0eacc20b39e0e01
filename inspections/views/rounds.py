"""The planner's board, the acts on it, and one round as its technician sees it."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from inspections.files.rounds import calendar_of, may_have_calendar, sheet_of
from inspections.forms.rounds import AwayForm, LayForm, ProfileForm, ShiftForm, StopMoveForm, SwapForm
from inspections.models import Round, Shift, Stop, TechnicianProfile
from inspections.selectors.fitting_clashes import jobs_in
from inspections.selectors.round_board import board_of
from inspections.selectors.rounds import LAY_ROUNDS, standing_rounds
from inspections.services import rounds as services
from inspections.services import shifts as shift_services
from inspections.words.round_board import lede_of
from inspections.words.rounds import clock, fault_words
from plant.calc.addresses import day_in
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.files.pdf import paper_of, pdf_answer
from plant.models import Job
from plant.permissions import PlantRequest, get_visible, has_right, open_to_all, right
from plant.services.jobs import stop_job
from plant.views.records import RecordChange, RecordPage

SEE, LAY, OWN = "inspections.view_round", "inspections.lay_round", "inspections.view_own_round"
WEEK_DAYS = 7


def day_asked(request: PlantRequest, values: Any) -> dt.date:
    """The day that is asked for; today where none is."""
    return day_in(values.get("day")) or timezone.localdate(timezone=request.plant.zone)


def board_url(day: dt.date) -> str:
    return f"{reverse('round-list')}?day={day.isoformat()}"


# --- The board --------------------------------------------------------------------------------------------------------
def board_context(request: PlantRequest, day: dt.date, moved: Stop | None = None) -> dict[str, Any]:
    board = board_of(request.plant, day, timezone.now())
    today = timezone.localdate(timezone=request.plant.zone)
    return {
        "title": _("Rounds, %(day)s") % {"day": date_format(day, "l j F")},
        "board": board,
        "lede": lede_of(board),
        "today": today,
        "is_past": day < today,
        "day_before": day - dt.timedelta(days=1),
        "day_after": day + dt.timedelta(days=1),
        "week_end": max(day, today) + dt.timedelta(days=WEEK_DAYS - 1),
        "first_day": max(day, today),
        "moved": moved,
        "may_lay": has_right(request.user, LAY, request.plant) and day >= today,
    }


@right(SEE)
def board(request: PlantRequest) -> HttpResponse:
    """Who does what on one day, what did not fit and why, what is late."""
    return render(request, "inspections/round_board.html", board_context(request, day_asked(request, request.GET)))


@require_POST
@right(LAY)
def lay(request: PlantRequest) -> HttpResponse:
    """Have the rounds of some days laid in the background."""
    form = LayForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Give a first and a last day."))
        return redirect("round-list")
    try:
        services.ask_for_rounds(plant=request.plant, by=request.user, **form.cleaned_data)
    except Refused as refusal:
        messages.error(request, refusal.message)
    return redirect(board_url(form.cleaned_data["first_day"]))


@right(SEE)
def progress(request: PlantRequest) -> HttpResponse:
    """How far the laying is; when it is over the page is loaded again."""
    job = Job.objects.unfinished().filter(kind=LAY_ROUNDS, plant=request.plant).first()
    answer = render(request, "inspections/_round_progress.html", {"job": job})
    if job is None:
        answer["HX-Refresh"] = "true"
    return answer


@require_POST
@right(LAY)
def stop_laying(request: PlantRequest) -> HttpResponse:
    """Stop the search; the best plan so far is kept."""
    for job in Job.objects.unfinished().filter(kind=LAY_ROUNDS, plant=request.plant):
        stop_job(job)
    return redirect(board_url(day_asked(request, request.POST)))


@require_POST
@right(LAY)
def publish(request: PlantRequest) -> HttpResponse:
    """Put the drafts of a day on the phones."""
    day = day_asked(request, request.POST)
    try:
        done = services.publish_rounds(plant=request.plant, day=day, by=request.user)
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        words = _("Published: %(n)s rounds.") if len(done) != 1 else _("Published: %(n)s round.")
        messages.success(request, words % {"n": len(done)} if done else _("Nothing new to publish."))
    return redirect(board_url(day))


# --- Moving stops -----------------------------------------------------------------------------------------------------
def stop_of(request: PlantRequest, pk: int) -> Stop:
    rows = Stop.objects.select_related("round__shift__person", "round__plant", "conveyor").prefetch_related("tasks")
    return get_visible(request, rows, LAY, pk=pk)


def board_answer(request: PlantRequest, day: dt.date, moved: Stop | None, words: str) -> HttpResponse:
    """The board as it stands now, and the sentence that is spoken."""
    context = board_context(request, day, moved)
    now_on = context["board"]
    mine = [fault_words(fault) for fault in [*now_on.faults, *now_on.published_faults]]
    spoken = " ".join([words, *mine[:2]])
    html = render(request, "inspections/_round_board.html", context).content.decode()
    return JsonResponse({"html": html, "spoken": spoken, "moved": moved.pk if moved else None})


def refused_answer(refusal: Refused) -> JsonResponse:
    return JsonResponse({"spoken": refusal.message}, status=409)


@require_POST
@right(LAY)
def move_stop(request: PlantRequest, pk: int) -> HttpResponse:
    """Move a stop in time or to another person; the times of both rounds follow."""
    stop = stop_of(request, pk)
    form = StopMoveForm(request.POST, stop=stop)
    if not form.is_valid():
        return JsonResponse({"spoken": _("That place was not understood.")}, status=409)
    asked, day = form.cleaned_data, stop.round.shift.day
    try:
        if asked["step"]:
            moved = services.nudge_stop(stop=stop, by=request.user, later=asked["step"] == "later")
        else:
            moved = services.place_stop(
                stop=stop,
                by=request.user,
                shift=asked["shift"],
                position=asked["position"],
                not_before=asked["not_before"],
            )
    except Refused as refusal:
        return refused_answer(refusal)
    words = _("%(tag)s: %(who)s, %(begin)s to %(end)s.") % {
        "tag": stop.conveyor.tag,
        "who": moved.round.shift.person,
        "begin": clock(moved.starts_at),
        "end": clock(moved.ends_at),
    }
    return board_answer(request, day, moved, words)


@require_POST
@right(LAY)
def take_out_stop(request: PlantRequest, pk: int) -> HttpResponse:
    """Take a stop off the rounds; its checks stay open."""
    stop = stop_of(request, pk)
    try:
        services.take_out_stop(stop=stop, by=request.user)
    except Refused as refusal:
        return refused_answer(refusal)
    words = _("%(tag)s is on no round any more; its checks stay open.") % {"tag": stop.conveyor.tag}
    return board_answer(request, stop.round.shift.day, None, words)


# --- Shifts and people ------------------------------------------------------------------------------------------------
class ShiftCreate(RecordPage):
    right = "inspections.add_shift"
    form_class = ShiftForm
    title = gettext_lazy("Write down a shift")
    button = gettext_lazy("Add the shift")
    done_words = gettext_lazy("The shift is in the book.")

    def initial(self) -> dict[str, Any]:
        day = day_asked(self.request, self.request.GET)
        return {"starts_at": at_hour(day, 6), "ends_at": at_hour(day, 14), "break_starts_at": at_hour(day, 10)}

    def cancel_url(self) -> str:
        return board_url(day_asked(self.request, self.request.GET))

    def next_url(self, row: Shift) -> str:
        return board_url(row.day)

    def act(self, form: ShiftForm) -> Shift:
        return shift_services.add_shift(
            plant=self.request.plant,
            by=self.request.user,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )


def at_hour(day: dt.date, hour: int) -> dt.datetime:
    return dt.datetime(day.year, day.month, day.day, hour, tzinfo=timezone.get_current_timezone())


class ShiftChange(RecordChange):
    right = "inspections.change_shift"
    form_class = ShiftForm
    template_name = "plant/record_change.html"
    queryset = Shift.objects.select_related("plant", "person")
    done_words = gettext_lazy("Saved. Lay again, or move stops, so that the round follows.")

    def get_title(self) -> str:
        return _("Shift of %(who)s on %(day)s") % {"who": self.row.person, "day": date_format(self.row.day, "j M Y")}

    def cancel_url(self) -> str:
        return board_url(self.row.day)

    def next_url(self, row: Shift) -> str:
        return board_url(row.day)

    def act(self, form: ShiftForm) -> Shift:
        return shift_services.change_shift(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class ShiftAway(RecordChange):
    """Somebody is away: what they have begun stays, the rest of the day is laid again for the others."""

    right = "inspections.change_shift"
    form_class = AwayForm
    template_name = "plant/record_form.html"
    queryset = Shift.objects.select_related("plant", "person")
    button = gettext_lazy("Away; lay the rest again")
    done_words = gettext_lazy("Noted. The rest of the day is being laid again; what has begun stays.")

    def initial(self) -> dict[str, Any]:
        return {"version": self.row.version, "from_at": max(timezone.now(), self.row.starts_at)}

    def form_kwargs(self) -> dict[str, Any]:
        known = super().form_kwargs()
        known.pop("instance")
        return known

    def get_title(self) -> str:
        return _("%(who)s is away on %(day)s") % {"who": self.row.person, "day": date_format(self.row.day, "j M Y")}

    def cancel_url(self) -> str:
        return board_url(self.row.day)

    def next_url(self, row: Shift) -> str:
        return board_url(row.day)

    def act(self, form: AwayForm) -> Shift:
        given = form.cleaned_data
        row = shift_services.mark_away(
            self.row, by=self.request.user, from_at=given["from_at"], version=given["version"]
        )
        services.ask_for_rounds(plant=row.plant, first_day=row.day, last_day=row.day, by=self.request.user)
        return row


class ShiftSwap(RecordChange):
    """Two people take each other's rounds of a day."""

    right = LAY
    form_class = SwapForm
    template_name = "plant/record_form.html"
    queryset = Shift.objects.select_related("plant", "person")
    button = gettext_lazy("Swap their rounds")
    done_words = gettext_lazy("Swapped as drafts, with the times of each shift. Publish to put them on the phones.")

    def form_kwargs(self) -> dict[str, Any]:
        known = super().form_kwargs()
        known.pop("instance")
        return {**known, "shift": self.row}

    def get_title(self) -> str:
        return _("Swap the round of %(who)s on %(day)s") % {
            "who": self.row.person,
            "day": date_format(self.row.day, "j M Y"),
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        lede = _("What has begun stays with whoever began it; the rest changes hands whole.")
        return super().get_context_data(lede=lede, **kwargs)

    def cancel_url(self) -> str:
        return board_url(self.row.day)

    def next_url(self, row: Shift) -> str:
        return board_url(row.day)

    def act(self, form: SwapForm) -> Shift:
        services.swap_rounds(shift=self.row, other=form.cleaned_data["other"], by=self.request.user)
        return self.row


@require_POST
@right("inspections.change_shift")
def shift_back(request: PlantRequest, pk: int) -> HttpResponse:
    """Somebody is there after all."""
    row = get_visible(request, Shift.objects.select_related("plant"), "inspections.change_shift", pk=pk)
    shift_services.mark_back(row, by=request.user)
    return redirect(board_url(row.day))


class ProfileChange(RecordChange):
    """Skills and tools of one person; the page is reached by the person's key."""

    right = "inspections.change_technicianprofile"
    form_class = ProfileForm
    template_name = "plant/record_change.html"
    done_words = gettext_lazy("Saved. The next laying uses it.")

    def get_row(self) -> TechnicianProfile:
        rows = TechnicianProfile.objects.select_related("plant", "person")
        return get_visible(self.request, rows, self.right, pk=self.kwargs["pk"])

    def get_title(self) -> str:
        return _("Skills and tools of %(who)s") % {"who": self.row.person}

    def cancel_url(self) -> str:
        return reverse("round-list")

    def next_url(self, row: TechnicianProfile) -> str:
        return reverse("round-list")

    def act(self, form: ProfileForm) -> TechnicianProfile:
        return shift_services.set_profile(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


@right("inspections.change_technicianprofile")
def profile_of_shift(request: PlantRequest, pk: int) -> HttpResponse:
    """To the skills and tools of the person of a shift; their row is made where there is none yet."""
    row = get_visible(
        request,
        Shift.objects.select_related("plant", "person"),
        "inspections.change_technicianprofile",
        pk=pk,
    )
    return redirect("technician-profile-update", shift_services.profile_of(row.plant, row.person).pk)


# --- One round --------------------------------------------------------------------------------------------------------
def round_of(request: PlantRequest, pk: int) -> Round:
    """A round for those who see all of the plant's, or its own person's published one."""
    row = get_visible(request, Round.objects.with_stops().select_related("plant"), OWN, pk=pk)
    is_own = row.shift.person_id == request.user.pk and row.published_at is not None
    if not is_own and not has_right(request.user, SEE, row.plant):
        raise Http404
    return row


@right(OWN)
def round_detail(request: PlantRequest, pk: int) -> HttpResponse:
    """The stops of one round in order."""
    row = round_of(request, pk)
    return render(
        request,
        "inspections/round_detail.html",
        {
            "title": _("Round of %(who)s, %(day)s")
            % {"who": row.shift.person, "day": date_format(row.shift.day, "l j F")},
            "round": row,
            "jobs": jobs_in(row),
            "today": timezone.localdate(timezone=row.plant.zone),
        },
    )


# --- On paper, and in a calendar --------------------------------------------------------------------------------------
@right(OWN)
def round_sheet(request: PlantRequest, pk: int) -> HttpResponse:
    """One round on paper."""
    row = round_of(request, pk)
    system = UnitSystem(request.user.unit_system)
    name = f"round-{row.shift.person}-{row.shift.day.isoformat()}.pdf"
    return pdf_answer(sheet_of([row], system, paper_of(request.GET.get("paper", ""))), name)


@right(SEE)
def day_sheets(request: PlantRequest) -> HttpResponse:
    """All rounds of a day on paper, each on its own sheet."""
    day = day_asked(request, request.GET)
    rows = [row for row in standing_rounds(request.plant, day) if row.stops.all()]
    if not rows:
        raise Http404
    system = UnitSystem(request.user.unit_system)
    return pdf_answer(sheet_of(rows, system, paper_of(request.GET.get("paper", ""))), f"rounds-{day.isoformat()}.pdf")


@right(OWN)
def own_calendar(request: PlantRequest) -> HttpResponse:
    """The secret address of the person's own calendar."""
    profile = shift_services.profile_of(request.plant, request.user)
    address = request.build_absolute_uri(reverse("calendar-feed", args=[profile.calendar_key]))
    return render(
        request, "inspections/round_calendar.html", {"title": _("My rounds as a calendar"), "address": address}
    )


@require_POST
@right(OWN)
def renew_calendar(request: PlantRequest) -> HttpResponse:
    """Give the calendar a new address."""
    shift_services.renew_calendar_key(shift_services.profile_of(request.plant, request.user), by=request.user)
    messages.success(request, _("The calendar has a new address; the old one leads nowhere now."))
    return redirect("round-calendar")


@open_to_all
def calendar_feed(request: PlantRequest, key: str) -> HttpResponse:
    """Published stops of the person whose secret key this is (RFC 5545); who has the address needs no sign-in."""
    profile = TechnicianProfile.objects.select_related("plant", "person").filter(calendar_key=key).first()
    if profile is None or not may_have_calendar(profile):
        raise Http404
    answer = HttpResponse(calendar_of(profile, timezone.now()), content_type="text/calendar; charset=utf-8")
    answer["Cache-Control"] = "private, max-age=300"
    answer["Referrer-Policy"] = "no-referrer"
    answer["X-Robots-Tag"] = "noindex"
    return answer
