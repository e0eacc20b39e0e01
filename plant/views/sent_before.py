"""Whether a form was sent before: asked once where it would write the same again, and no conflict where it stands."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.models import SentForm
from plant.permissions import PlantRequest
from plant.services.sent_forms import digest_of, note_sent, same_before

AGAIN = "again"


def note(request: PlantRequest) -> SentForm:
    """Note the form of a request before it is acted on."""
    files = [(box, each.name or "", each.size) for box, given in request.FILES.lists() for each in given]
    digest = digest_of(request.get_full_path(), dict(request.POST.lists()), files)
    return note_sent(person=request.user, digest=digest, client_key=request.POST.get("client_key", ""))


def written_before(request: PlantRequest, sent: SentForm) -> SentForm | None:
    """The same, written a few minutes before from another page; None where the person said that it is another one."""
    before = same_before(sent) if AGAIN not in request.POST else None
    return before if before is not None and before.client_key != sent.client_key else None


def ask_once(form: Any, before: SentForm) -> None:
    """Put the question on the form; sent once more, it is written."""
    form.add_error(None, again_words(before))
    form.stands_at = before.url
    form.fields[AGAIN] = forms.CharField(widget=forms.HiddenInput, required=False)
    form.data = form.data.copy()
    form.data[form.add_prefix(AGAIN)] = "on"


def again_words(before: SentForm) -> str:
    """You recorded the same 40 s ago: is it another one?"""
    seconds = max(1, round((timezone.now() - before.sent_at).total_seconds()))
    ago = _("%(n)s s") % {"n": seconds}
    if seconds >= 90:
        minutes = round(seconds / 60)
        ago = ngettext("%(n)s minute", "%(n)s minutes", minutes) % {"n": minutes}
    return _("You recorded the same %(ago)s ago. Write it again only if it is another one.") % {"ago": ago}


def stands_as_sent(request: PlantRequest, url: str) -> HttpResponse:
    """The answer to a form that was sent twice: nothing is missing, and nobody else was there."""
    messages.success(request, _("It stands as you sent it."))
    return redirect(url)
