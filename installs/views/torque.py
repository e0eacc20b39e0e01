"""Torque of a job: sign fasteners off with a tool, take a mistaken sign-off back."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.forms.torque import PassOverForm, TorqueForm, TorqueWithdrawalForm
from installs.models import Fitting, PassedFastener, TorqueSignOff
from installs.selectors.torque import open_fasteners, passed_over, settled_fasteners, torque_rows
from installs.services.torque import (
    check_may_withdraw,
    pass_over_fasteners,
    sign_off_torques,
    withdraw_passed,
    withdraw_torque,
)
from installs.views.commissioning import FittingAct
from plant.errors import Refused
from plant.permissions import PlantRequest, get_visible, has_right, require_right
from plant.views.records import RecordPage

RIGHT = "installs.view_torquesignoff"
DO = "installs.do_fitting"


class TorquePage(RecordPage):
    right = RIGHT
    template_name = "installs/torque_form.html"
    form_class = TorqueForm
    button = gettext_lazy("Sign off")
    done_words = gettext_lazy("Signed off.")

    def get_row(self) -> None:
        rows = Fitting.objects.with_place().select_related("sheet")
        self.fitting = get_visible(self.request, rows, RIGHT, pk=self.kwargs["pk"])
        self.torques = torque_rows(self.fitting)

    def get_title(self) -> str:
        return _("Torque on %s") % self.fitting.conveyor.tag

    def form_kwargs(self) -> dict[str, Any]:
        last = self.fitting.torques.current().filter(signed_by=self.request.user).order_by("-signed_at").first()
        initial = {"instrument": last.instrument_id} if last else {}
        return {"person": self.request.user, "plant": self.fitting.plant, "initial": initial, "rows": self.torques}

    def cancel_url(self) -> str:
        return self.fitting.get_absolute_url()

    def next_url(self, row: Any) -> str:
        return reverse("torque", args=[self.fitting.pk])

    def act(self, form: TorqueForm) -> Any:
        require_right(self.request.user, DO, self.fitting.plant)
        given = form.cleaned_data
        return sign_off_torques(
            fitting=self.fitting,
            torques=form.torques(),
            by=self.request.user,
            client_key=given["client_key"],
            instrument=given["instrument"],
            method=given["method"],
            override_reason=given["override_reason"],
        )

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        is_open = self.fitting.handed_over_at is None and self.fitting.given_up_at is None
        may_sign = is_open and has_right(self.request.user, DO, self.fitting.plant)
        return context | {
            "fitting": self.fitting,
            "groups": context["form"].groups(),
            "is_open": is_open,
            "n_wanted": sum(len(group.signed) for group in self.torques),
            "n_signed": sum(group.n_signed for group in self.torques),
            "n_passed": len(passed_over(self.torques)),
            "has_open": bool(open_fasteners(self.torques)),
            "may_sign": may_sign,
            "may_withdraw": may_sign and self.fitting.accepted_at is None,
            "withdrawn": self.fitting.torques.filter(is_withdrawn=True).select_related("fastener", "created_by"),
            "no_more_passed": self.fitting.passed_fasteners.filter(is_withdrawn=True).select_related(
                "fastener", "created_by"
            ),
        }


class TorquePassOver(FittingAct):
    """Pass fasteners over that cannot be signed off before the guards go back."""

    url_name = "torque-pass-over"
    form_class = PassOverForm
    title = gettext_lazy("Pass fasteners over")
    button = gettext_lazy("Pass them over")
    done_words = gettext_lazy("Passed over. The reason stays visible with your name.")

    def form_kwargs(self) -> dict[str, Any]:
        rows = torque_rows(self.row)
        return {**super().form_kwargs(), "fasteners": open_fasteners(rows), "settled": settled_fasteners(rows)}

    def caution(self) -> str:
        return _("A fastener that is not tightened can let the frame loose. Ask the engineer before it is passed over.")

    def act(self, form: PassOverForm) -> Any:
        given = form.cleaned_data
        return pass_over_fasteners(
            fitting=self.row,
            fasteners=form.chosen(),
            reason=given["reason"],
            by=self.request.user,
            passed_at=given["passed_at"],
            client_key=form.key,
        )


class FastenerEntryWithdrawal(RecordPage):
    """Take back one entry about a fastener. What may not be taken back any more is said on the page of the torques."""

    right = DO
    form_class = TorqueWithdrawalForm
    button = gettext_lazy("Withdraw it")
    model: type[TorqueSignOff] | type[PassedFastener]

    def get_row(self) -> None:
        rows = self.model.objects.select_related("fitting__conveyor", "fitting__plant", "fastener", "corrected_by")
        self.entry = get_visible(self.request, rows, DO, pk=self.kwargs["pk"])

    def get(self, request: PlantRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            check_may_withdraw(self.entry, self.entry.fitting)
        except Refused as refusal:
            messages.warning(request, refusal.message)
            return redirect(self.cancel_url())
        return super().get(request, *args, **kwargs)

    def form_kwargs(self) -> dict[str, Any]:
        return {"person": self.request.user, "plant": self.entry.fitting.plant}

    def cancel_url(self) -> str:
        return reverse("torque", args=[self.entry.fitting_id])

    def next_url(self, row: Any) -> str:
        return self.cancel_url()


class PassedWithdrawal(FastenerEntryWithdrawal):
    model = PassedFastener
    done_words = gettext_lazy("The guards wait for this fastener again; the entry stays in the book with your reason.")

    def get_title(self) -> str:
        return _("%(place)s %(number)s: withdraw that it is passed over") % {
            "place": self.entry.fastener.place,
            "number": self.entry.number,
        }

    def act(self, form: TorqueWithdrawalForm) -> PassedFastener:
        given = form.cleaned_data
        return withdraw_passed(self.entry, by=self.request.user, reason=given["reason"], client_key=given["client_key"])


class TorqueWithdrawal(FastenerEntryWithdrawal):
    model = TorqueSignOff
    done_words = gettext_lazy("The sign-off is withdrawn; it stays in the book with your reason.")

    def get_title(self) -> str:
        return _("Withdraw the sign-off of %(place)s %(number)s") % {
            "place": self.entry.fastener.place,
            "number": self.entry.number,
        }

    def act(self, form: TorqueWithdrawalForm) -> TorqueSignOff:
        given = form.cleaned_data
        return withdraw_torque(self.entry, by=self.request.user, reason=given["reason"], client_key=given["client_key"])
