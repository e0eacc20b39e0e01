"""Pages of the month: list, one edition, its rows, PDF and spreadsheet, comment, publication, new edition, e-mail."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST

from plant.calc.units import UnitSystem
from plant.errors import ChangedMeanwhile, Refused
from plant.files.pdf import paper_of, pdf_answer
from plant.permissions import PlantRequest, get_visible, has_right, open_to_all, right
from plant.views.records import RecordChange
from reports.charts.trend import trend_drawing
from reports.files.month_book import month_xlsx
from reports.files.month_pdf import month_pdf
from reports.forms.months import CommentForm, DraftForm, PublishForm
from reports.models import MonthlyReport, Subscription
from reports.selectors.month_data import BEFORE, YEAR_AGO, Month
from reports.selectors.month_rows import page_of
from reports.services.kept_months import table_at_hand
from reports.services.months import (
    MOST_TRIES,
    comment_month,
    draft_month,
    file_name,
    month_before,
    month_on_page,
    publish_month,
    read_month,
    report_head,
    subscribe,
    subscription_by,
)
from reports.words.month_rows import about_rows
from reports.words.months import read_in

VIEW = "reports.view_monthlyreport"
PUBLISH = "reports.publish_monthlyreport"
ROWS = MonthlyReport.objects.select_related("plant", "published_by")


def with_addresses(figure: dict[str, Any], rows: dict[str, Any]) -> dict[str, Any]:
    """A figure with the keys of the rows behind its three values; earlier editions keep those of their month only."""
    key = figure["key"]
    keys = {"rows_now": key, "rows_before": f"{key}{BEFORE}", "rows_year_ago": f"{key}{YEAR_AGO}"}
    return {**figure, **{name: known if known in rows else "" for name, known in keys.items()}}


@right(VIEW)
def month_list(request: PlantRequest) -> HttpResponse:
    """Every month of the plant, the newest first."""
    plant = request.plant
    reports = list(ROWS.of_plant(plant))
    today = timezone.localdate(timezone=plant.zone)
    waiting = next((each for each in reports if not each.is_published), None)
    return render(
        request,
        "reports/month_list.html",
        {
            "title": _("Month"),
            "reports": reports,
            "newest": next((each for each in reports if each.is_published), None),
            "waiting": waiting,
            "last_month": month_before(today),
            "is_subscribed": Subscription.objects.filter(plant=plant, person=request.user).exists(),
        },
    )


@right(VIEW)
def month_detail(request: PlantRequest, pk: int) -> HttpResponse:
    report = get_visible(request, ROWS, VIEW, pk=pk)
    month = month_on_page(report)
    content, rows = month.content, month.rows
    editions = MonthlyReport.objects.filter(plant=report.plant, month=report.month).order_by("edition")
    return render(
        request,
        "reports/month_detail.html",
        {
            "title": f"{report.plant}, {content['month_name']}",
            "report": report,
            "content": content,
            "kept": month.kept,
            "editions": list(editions),
            "figures": [
                with_addresses(read_in(each, UnitSystem(request.user.unit_system)), rows) for each in content["figures"]
            ],
            "has_trend": "trend" in rows,
            "drawing": trend_drawing(content["trend"]),
            "mails": mails_of(report) if has_right(request.user, PUBLISH, report.plant) else None,
            "most_tries": MOST_TRIES,
        },
    )


def mails_of(report: MonthlyReport) -> dict[str, Any]:
    """To whom an edition went, and whom it did not reach: for those who publish it."""
    mails = list(report.mails.select_related("person").order_by("person__username"))
    return {
        "sent": [each for each in mails if each.sent_at],
        "failed": [each for each in mails if each.failure],
        "n_subscribers": Subscription.objects.filter(plant=report.plant).count(),
    }


@right(VIEW)
def month_rows(request: PlantRequest, pk: int, key: str) -> HttpResponse:
    """The rows behind one figure as the edition keeps them, and what became of them since."""
    report = get_visible(request, ROWS, VIEW, pk=pk)
    edition = month_on_page(report)
    if key not in edition.rows:
        raise Http404
    month = Month(report.month, report.plant.zone)
    today = table_at_hand(report.plant, report.month, key) if report.is_published else None
    system = UnitSystem(request.user.unit_system)
    figures = [read_in(each, system) for each in edition.content["figures"]]
    page = page_of(edition.rows[key], today.value if today is not None else None, request.GET.dict())
    return render(
        request,
        "reports/month_rows.html",
        {
            "report": report,
            **about_rows(figures, key, month),
            "page": page,
            "kept": today or edition.kept,
            "time_zone": month.zone,
        },
    )


@right(VIEW)
def month_paper(request: PlantRequest, pk: int) -> HttpResponse:
    """The month as PDF, A4 or letter."""
    report = get_visible(request, ROWS, VIEW, pk=pk)
    content, _rows = read_month(report)
    paper = paper_of(request.GET.get("paper", ""))
    return pdf_answer(month_pdf(content, report_head(report), paper=paper), f"{file_name(report)}.pdf")


@right(VIEW)
def month_book(request: PlantRequest, pk: int) -> HttpResponse:
    """Figures, their definitions and the rows behind each of them as a spreadsheet."""
    report = get_visible(request, ROWS, VIEW, pk=pk)
    content, rows = read_month(report)
    answer = HttpResponse(
        month_xlsx(content, rows, report_head(report)),
        content_type="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    )
    answer["Content-Disposition"] = f'attachment; filename="{file_name(report)}.xlsx"'
    return answer


@right("reports.add_monthlyreport")
def month_create(request: PlantRequest) -> HttpResponse:
    """Begin the report of a month, or a new edition with its reason."""
    last = month_before(timezone.localdate(timezone=request.plant.zone))
    asked = request.GET.get("month", f"{last:%Y-%m}")
    form = DraftForm(request.POST or None, person=request.user, initial={"client_key": uuid.uuid4(), "month": asked})
    if request.method == "POST" and form.is_valid():
        read_form = form.cleaned_data
        try:
            report = draft_month(
                plant=request.plant,
                month=dt.date.fromisoformat(f"{read_form['month']}-01"),
                by=request.user,
                client_key=read_form["client_key"],
                reason=read_form["reason"],
            )
            messages.success(request, _("The draft is open. Nobody gets it before it is published."))
            return redirect(report)
        except Refused as refusal:
            form.add_refusal(refusal)
    return render(
        request,
        "plant/record_form.html",
        {
            "title": _("Draft a month"),
            "lede": _("A published edition never changes. What was corrected since comes into a new edition."),
            "form": form,
            "button": _("Open the draft"),
            "cancel_url": reverse("month-list"),
        },
        status=422 if form.errors else 200,
    )


class MonthComment(RecordChange):
    right = "reports.change_monthlyreport"
    template_name = "plant/record_change.html"
    form_class = CommentForm
    queryset = ROWS
    title = gettext_lazy("The engineer's comment")
    button = gettext_lazy("Keep the comment")
    done_words = gettext_lazy("The comment stands in the draft.")

    def act(self, form: CommentForm) -> MonthlyReport:
        return comment_month(
            self.row, by=self.request.user, version=form.cleaned_data["version"], comment=form.cleaned_data["comment"]
        )


@right("reports.publish_monthlyreport")
def month_publish(request: PlantRequest, pk: int) -> HttpResponse:
    """Ask once, then freeze the draft."""
    report = get_visible(request, ROWS, "reports.publish_monthlyreport", pk=pk)
    form = PublishForm(request.POST or None, person=request.user, initial={"version": report.version})
    if request.method == "POST" and form.is_valid():
        try:
            publish_month(report, by=request.user, version=form.cleaned_data["version"])
            messages.success(request, _("Published. This edition never changes from now on."))
            return redirect(report)
        except ChangedMeanwhile:
            form.add_error(None, _("Somebody changed the draft since you opened it. Look at it again, then publish."))
            form.data = {"version": MonthlyReport.objects.get(pk=report.pk).version}
        except Refused as refusal:
            form.add_refusal(refusal)
    n = Subscription.objects.filter(plant=report.plant).count()
    return render(
        request,
        "plant/record_form.html",
        {
            "title": _("Publish %(month)s, edition %(edition)s?")
            % {"month": f"{report.month:%Y-%m}", "edition": report.edition},
            "lede": _(
                "Figures, the rows behind them and the version of the code are frozen. %(n)s subscribers get it by "
                "e-mail from the first working day on."
            )
            % {"n": n},
            "form": form,
            "button": _("Publish"),
            "cancel_url": report.get_absolute_url(),
        },
        status=422 if form.errors else 200,
    )


@require_POST
@right(VIEW)
def month_subscribe(request: PlantRequest) -> HttpResponse:
    """Begin or end the e-mail of the month for oneself."""
    wants = request.POST.get("wants") == "yes"
    try:
        subscribe(plant=request.plant, person=request.user, wants=wants)
        messages.success(
            request,
            _("You get the month by e-mail from now on.") if wants else _("You get the month by e-mail no longer."),
        )
    except Refused as refusal:
        messages.error(request, refusal.message)
    return redirect("month-list")


# Mail programs send this form by themselves (RFC 8058), without a cookie; the signed address is what lets them.
@csrf_exempt
@open_to_all
def month_mail_end(request: PlantRequest, token: str) -> HttpResponse:
    """End the e-mail of the month from the link in it. Opening the link asks; only sending the form ends it."""
    known = subscription_by(token)
    if known is None:
        raise Http404
    plant, person = known
    if request.method == "POST":
        subscribe(plant=plant, person=person, wants=False)
    return render(
        request,
        "reports/month_mail_end.html",
        {
            "title": _("The e-mail of the month"),
            "of_plant": plant,
            "is_subscribed": Subscription.objects.filter(plant=plant, person=person).exists(),
        },
    )
