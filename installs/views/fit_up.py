"""The fit-up sheet of a job: filled in at the belt, judged and drawn while it is typed, printed."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from installs.files.fit_up_sheet import drawing_svg, printed_sections, shown_sheet
from installs.forms.fit_up import FitUpForm
from installs.models import Fitting, FitUp, HoldPoint
from installs.selectors.fit_up import measures_of, sheet_of
from installs.selectors.torque import torque_rows
from installs.services.fit_up import save_fit_up
from installs.words.torque import passed_words
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.calc.wording import figure, full_stop
from plant.files.pdf import paper_of, pdf, pdf_answer
from plant.permissions import PlantRequest, get_visible, has_right, require_right, right
from plant.views.records import RecordPage

RIGHT = "installs.view_fitup"
DO = "installs.do_fitting"
# The hold points that this sheet passes on its way, by the section that they come before.
HOLDS = {"extension": HoldPoint.Point.LOCKOUT, "sensors": HoldPoint.Point.RESTRAINT}


def fitting_of(request: PlantRequest, pk: int) -> Fitting:
    rows = Fitting.objects.with_place().select_related("sheet")
    return get_visible(request, rows, RIGHT, pk=pk)


class FitUpPage(RecordPage):
    right = RIGHT
    template_name = "installs/fit_up_form.html"
    form_class = FitUpForm
    button = gettext_lazy("Save the sheet")
    done_words = gettext_lazy("The sheet is saved.")

    def get_row(self) -> FitUp | None:
        self.fitting = fitting_of(self.request, self.kwargs["pk"])
        return sheet_of(self.fitting)

    def get_title(self) -> str:
        return _("Fit-up on %s") % self.fitting.conveyor.tag

    def cancel_url(self) -> str:
        return self.fitting.get_absolute_url()

    def next_url(self, row: FitUp) -> str:
        return row.get_absolute_url()

    def act(self, form: FitUpForm) -> FitUp:
        require_right(self.request.user, DO, self.fitting.plant)
        return save_fit_up(
            fitting=self.fitting,
            by=self.request.user,
            version=form.cleaned_data["version"] or 0,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        form, fitting = context["form"], self.fitting
        is_open = fitting.accepted_at is None and fitting.given_up_at is None
        confirmed = {each.point: each for each in fitting.hold_points.current().select_related("confirmed_by")}
        sheet = shown_sheet(fitting, form.measures_so_far(), UnitSystem(self.request.user.unit_system))
        sections = form.sections()
        for section in sections:
            for row in section["rows"]:
                row["shown"] = sheet.lines.get(row["line"])
            point = HOLDS.get(section["key"])
            if point:
                section["hold"] = {"words": point.label, "row": confirmed.get(point)}
        return context | {
            "fitting": fitting,
            "sections": sections,
            "sheet": sheet,
            "is_open": is_open,
            "may_save": is_open and has_right(self.request.user, DO, fitting.plant),
            "sheet_version": self.row.version if self.row else 0,
        }


@right(RIGHT)
@require_POST
def fit_up_live(request: PlantRequest, pk: int) -> HttpResponse:
    """The drawing and every line for what stands in the boxes now. Nothing is kept."""
    fitting = fitting_of(request, pk)
    form = FitUpForm(request.POST, person=request.user, plant=request.plant, instance=sheet_of(fitting))
    form.is_valid()  # what cannot be read is left out; its box says so
    sheet = shown_sheet(fitting, form.measures_so_far(), UnitSystem(request.user.unit_system))
    return render(request, "installs/_fit_up_live.html", {"sheet": sheet, "is_live": True})


@right(RIGHT)
def fit_up_sheet(request: PlantRequest, pk: int) -> HttpResponse:
    """The sheet on paper: as saved, or with ?blank=1 empty boxes to write in by hand."""
    fitting = fitting_of(request, pk)
    system = UnitSystem(request.user.unit_system)
    row = None if request.GET.get("blank") else sheet_of(fitting)
    shown = shown_sheet(fitting, measures_of(row), system)
    torques = [torque_said(each, system, is_blank=row is None) for each in torque_rows(fitting)]
    data = {
        "title": _("Fit-up on %s") % fitting.conveyor.tag,
        "lede": _("%(strand)s, %(chainage)s, model %(model)s%(device)s.")
        % {
            "strand": fitting.get_strand_display().capitalize(),
            "chainage": format_quantity(fitting.chainage_m, QuantityKind.DISTANCE_M, system),
            "model": fitting.device_model,
            "device": _(", device %s") % fitting.device.number if fitting.device else "",
        },
        "foot": _("%(plant)s, printed %(when)s. The site's procedures and the maker's instructions come first.")
        % {"plant": fitting.plant, "when": date_format(timezone.localtime(), "Y-m-d H:i")},
        "care": care_lines(fitting),
        "is_blank": row is None,
        "summary": "" if row is None else shown.lede,
        "sections": printed_sections(row, shown.lines, system),
        "to_do": shown.to_do,
        "warnings": shown.warnings,
        "torques": torques,
        "note": row.note if row else "",
        "saved": _("Sheet version %(version)s.") % {"version": row.version} if row else "",
    }
    content = pdf(
        "installs/fit_up.typ",
        data,
        paper=paper_of(request.GET.get("paper", "")),
        images={"drawing.svg": drawing_svg(shown.drawing)},
    )
    return pdf_answer(content, f"fit-up-{fitting.conveyor.tag}-{fitting.pk}.pdf")


def care_lines(fitting: Fitting) -> list[str]:
    """What leads the printed sheet."""
    procedure = fitting.plant.lockout_procedure
    return [
        _("Lock out and get your permit by the site's procedure first: %s") % full_stop(procedure)
        if procedure
        else _("Lock out and get your permit by the site's procedure first. Ask for it before you go."),
        _(
            "Take-up, belt tension, incline and a tilted frame can move by themselves after the drive is locked. "
            "Keep hands out of nips and of the path of the frame; lift with the aid and people that the site asks for."
        ),
        _(
            "Your site's procedures, local codes, the maker's instructions and licensed practice come before this "
            "sheet."
        ),
    ]


def torque_said(group: Any, system: UnitSystem, *, is_blank: bool) -> dict[str, Any]:
    """One group of fasteners for paper: target, and what was signed off."""
    torque = QuantityKind.TORQUE_NM
    return {
        "place": group.fastener.place,
        "target": format_quantity(group.target.torque_nm, torque, system)
        + (_(" (estimate)") if group.target.is_estimate else ""),
        "tolerance": f"± {figure(group.tolerance_pct)} %",
        "signed": [
            {
                "number": number,
                "words": ""
                if is_blank or (each is None and passed is None)
                else passed_words(passed)
                if each is None
                else ", ".join(
                    filter(
                        None,
                        (
                            format_quantity(each.row.torque_nm, torque, system),
                            str(each.row.instrument or _("no tool named")),
                            str(each.row.signed_by),
                            each.row.override_reason and _("tool in doubt: %s") % each.row.override_reason,
                        ),
                    )
                ),
            }
            for number, (each, passed) in enumerate(zip(group.signed, group.passed, strict=True), start=1)
        ],
    }
