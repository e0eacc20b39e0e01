"""The base of pages that create, change or correct one record: parse, one service call, answer."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.forms import FileField
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from plant.errors import ChangedMeanwhile, Refused
from plant.models import SentForm
from plant.permissions import PlantRequest, get_visible
from plant.permissions import right as needs_right
from plant.services.sent_forms import forget_sent, name_done, same_before
from plant.views import sent_before
from plant.views.bodies import as_photos, takes


class RecordPage(TemplateView):
    """Shows a form and hands what it read to `act`, which calls one service and returns the row that was written."""

    request: PlantRequest
    row: Any
    template_name = "plant/record_form.html"
    right: str = ""
    form_class: Any = None
    title: Any = ""
    button: Any = ""
    done_words: Any = ""
    # It records something that happened: the same again within minutes is asked about once.
    asks_again: bool = False

    @classmethod
    def as_view(cls, **initkwargs: Any) -> Any:
        view = needs_right(cls.right)(super().as_view(**initkwargs))
        fields = getattr(cls.form_class, "base_fields", {}).values()
        return takes(as_photos)(view) if any(isinstance(each, FileField) for each in fields) else view

    def dispatch(self, request: PlantRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        self.row = self.get_row()
        return super().dispatch(request, *args, **kwargs)

    def get_row(self) -> Any:
        """The row that is changed; None when one is made."""
        return None

    def initial(self) -> dict[str, Any]:
        return {}

    def form_kwargs(self) -> dict[str, Any]:
        known: dict[str, Any] = {"person": self.request.user, "plant": self.request.plant, "initial": self.initial()}
        if self.row is not None:
            known["instance"] = self.row
        return known

    def build_form(self, data: Any = None, files: Any = None) -> Any:
        return self.form_class(data, files, **self.form_kwargs())

    def get_title(self) -> Any:
        return self.title

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        kwargs.setdefault("form", None)
        if kwargs["form"] is None:
            kwargs["form"] = self.build_form()
        return super().get_context_data(
            title=self.get_title(),
            button=self.button or _("Save"),
            row=self.row,
            cancel_url=self.cancel_url(),
            **kwargs,
        )

    def cancel_url(self) -> str:
        return self.row.get_absolute_url() if self.row is not None and hasattr(self.row, "get_absolute_url") else "/"

    def act(self, form: Any) -> Any:
        raise NotImplementedError

    def next_url(self, row: Any) -> str:
        return row.get_absolute_url()

    def post(self, request: PlantRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        form, sent = self.build_form(request.POST, request.FILES), sent_before.note(request)
        if not form.is_valid():
            before = same_before(sent)
            forget_sent(sent)
            if before is not None and before.client_key == sent.client_key:
                return sent_before.stands_as_sent(request, before.url)  # what it made is what it lacks now
            return self.render_to_response(self.get_context_data(form=form, **kwargs), status=422)
        before = sent_before.written_before(request, sent) if self.asks_again else None
        if before is not None:
            forget_sent(sent)
            sent_before.ask_once(form, before)
            shown = self.get_context_data(form=form, **kwargs) | {"button": _("Write it again")}
            return self.render_to_response(shown, status=409)
        try:
            row = self.act(form)
        except Refused as refusal:
            return self.refused(form, refusal, sent, **kwargs)
        url = self.next_url(row)
        name_done(sent, url)
        if self.done_words:
            messages.success(request, self.done_words)
        return redirect(url)

    def refused(self, form: Any, refusal: Refused, sent: SentForm, **kwargs: Any) -> HttpResponse:
        """What stands in the way; nothing does where the person's own form, sent a moment before, was written."""
        url = self.own_page(refusal, sent)
        forget_sent(sent)
        if url:
            return sent_before.stands_as_sent(self.request, url)
        if isinstance(refusal, ChangedMeanwhile):
            return self.render_to_response(self.clash_context(form, refusal, **kwargs), status=409)
        form.add_refusal(refusal)
        return self.render_to_response(self.get_context_data(form=form, **kwargs), status=422)

    def own_page(self, refusal: Refused, sent: SentForm) -> str:
        """Where what the same form wrote stands; empty where it wrote nothing."""
        current: Any = getattr(refusal, "current", None)
        before = same_before(sent, is_done=current is None)
        if before is None:
            return ""
        if current is None and before.client_key != sent.client_key:
            return ""  # from another page: it may well be meant for another event, and that was not written
        if current is not None:
            last = current.history.first() if hasattr(current, "history") else None
            is_own = last is not None and last.history_user_id == self.request.user.pk
            # One change since the page was opened, and it was this one.
            if not is_own or str(current.version - 1) != self.request.POST.get("version"):
                return ""
        return before.url or str(self.next_url(current))

    def clash_context(self, form: Any, clash: ChangedMeanwhile, **kwargs: Any) -> dict[str, Any]:
        """The person's own text stays in the form; beside it stands what the other person saved."""
        theirs = []
        current: Any = clash.current
        for name, field in form.fields.items():
            saved: Any = getattr(current, name, None)
            if name in ("client_key", "version") or not hasattr(current, name):
                continue
            if field.has_changed(saved if not hasattr(saved, "pk") else saved.pk, form[name].value()):
                theirs.append({"label": field.label, "value": saved_words(field, saved), "name": name})
        last = current.history.first() if hasattr(current, "history") else None
        form.data = form.data.copy()
        form.data[form.add_prefix("version")] = current.version
        return self.get_context_data(form=form, clash=clash, theirs=theirs, changed_by=last, **kwargs)


def saved_words(field: Any, saved: Any) -> Any:
    """What somebody else saved, as it reads in a list and not as the form would send it."""
    if hasattr(saved, "pk"):
        return str(saved)
    if isinstance(saved, bool):
        return _("yes") if saved else _("no")
    if isinstance(saved, dt.datetime):
        return date_format(timezone.localtime(saved), "DATETIME_FORMAT")
    choices = dict(getattr(field, "choices", ()) or ())
    return choices.get(saved) or field.prepare_value(saved)


class RecordChange(RecordPage):
    """Changes one row that `queryset` finds by its pk."""

    queryset: Any = None

    def get_row(self) -> Any:
        return get_visible(self.request, self.queryset.all(), self.right, pk=self.kwargs["pk"])
