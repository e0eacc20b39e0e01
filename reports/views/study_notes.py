"""Pages on which notes on a comparison are written, put right and taken back."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Installation
from plant.errors import Refused
from plant.permissions import PlantRequest, get_visible, right
from plant.views.records import RecordPage
from reports.forms.study_notes import StudyNoteCorrectForm, StudyNoteForm, StudyNoteWithdrawForm
from reports.models import StudyNote
from reports.services.study_notes import correct_note, withdraw_note, write_note

WITH_PLACE = ("installation__plant", "installation__conveyor", "installation__device")


def notes_url(installation: Installation) -> str:
    return f"{reverse('effect-detail', args=[installation.pk])}#notes"


class StudyNoteCreate(RecordPage):
    right = "reports.add_studynote"
    form_class = StudyNoteForm
    button = gettext_lazy("Keep this note")
    asks_again = True
    done_words = gettext_lazy("The note stands with the comparison.")

    def get_row(self) -> None:
        rows = Installation.objects.select_related("plant", "conveyor", "device")
        self.installation = get_visible(self.request, rows, self.right, pk=self.kwargs["pk"])

    def get_title(self) -> str:
        return _("Note on the comparison of %s") % self.installation

    def cancel_url(self) -> str:
        return notes_url(self.installation)

    def next_url(self, row: StudyNote) -> str:
        return notes_url(self.installation)

    def act(self, form: StudyNoteForm) -> StudyNote:
        key = form.cleaned_data["client_key"]
        return write_note(installation=self.installation, by=self.request.user, client_key=key, **form.values())


class StudyNoteCorrect(RecordPage):
    right = "reports.add_studynote"
    form_class = StudyNoteCorrectForm
    title = gettext_lazy("Put a note right")
    button = gettext_lazy("Put it right")
    done_words = gettext_lazy("The note is put right. What was written before stays in the list.")

    def get_row(self) -> StudyNote:
        rows = StudyNote.objects.current().select_related(*WITH_PLACE)
        return get_visible(self.request, rows, self.right, pk=self.kwargs["pk"])

    def cancel_url(self) -> str:
        return notes_url(self.row.installation)

    def next_url(self, row: StudyNote) -> str:
        return notes_url(row.installation)

    def act(self, form: StudyNoteCorrectForm) -> StudyNote:
        key = form.cleaned_data["client_key"]
        return correct_note(row=self.row, by=self.request.user, client_key=key, **form.values())


@right("reports.add_studynote")
def study_note_withdraw(request: PlantRequest, pk: int) -> HttpResponse:
    """Take a note back."""
    rows = StudyNote.objects.current().select_related(*WITH_PLACE)
    row = get_visible(request, rows, "reports.add_studynote", pk=pk)
    form = StudyNoteWithdrawForm(request.POST or None, person=request.user, initial={"client_key": uuid.uuid4()})
    if request.method == "POST" and form.is_valid():
        try:
            withdraw_note(row=row, by=request.user, **form.cleaned_data)
            messages.success(request, _("The note is taken back. It stays in the list of earlier ones."))
            return redirect(notes_url(row.installation))
        except Refused as refusal:
            form.add_refusal(refusal)
    context: dict[str, Any] = {
        "title": _("Take a note back"),
        "lede": row.text,
        "form": form,
        "button": _("Take it back"),
        "cancel_url": notes_url(row.installation),
    }
    return render(request, "plant/record_form.html", context, status=422 if form.errors else 200)
