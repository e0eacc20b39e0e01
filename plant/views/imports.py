"""Pages of the import desk: send a file, see what was understood, follow the job, mend what was refused."""

from __future__ import annotations

import csv
import io
import uuid
from collections import Counter
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from plant.errors import Refused
from plant.files import rejected_rows
from plant.forms.imports import ImportChoicesForm, ImportFileForm, RefusedRowForm, TakeBackForm, subjects_for
from plant.forms.own_words import RefusedWordsForm
from plant.models import ImportBatch, RejectedRow
from plant.permissions import PlantRequest, get_visible, require_right, right
from plant.services import import_again, import_corrections, import_understanding, import_undo, imports, own_words
from plant.services.import_preview import preview_of
from plant.services.import_subjects.shape import subject_of
from plant.tables.imports import ImportTable
from plant.views.bodies import as_import, takes
from plant.views.lists import RegisterList
from plant.words.imports import write_words

RIGHT = "plant.run_import"
REFUSED_PER_PAGE = 20


def batch_of(request: PlantRequest, pk: int) -> ImportBatch:
    rows = ImportBatch.objects.select_related("plant", "job", "created_by")
    batch = get_visible(request, rows, RIGHT, pk=pk)
    require_right(request.user, subject_of(batch.subject).right, batch.plant)
    return batch


class ImportList(RegisterList):
    """Send a file in, and what was sent before."""

    right = RIGHT
    template_name = "plant/import_list.html"
    title = gettext_lazy("Import")
    lede = gettext_lazy(
        "Send a CSV file or an XLSX workbook. You see what was understood before anything is written; "
        "rows that are refused are kept for correction; the same file twice changes nothing."
    )
    empty_words = gettext_lazy("Nothing was sent yet.")
    table_class = ImportTable

    def rows(self) -> Any:
        return ImportBatch.objects.of_plant(self.request.plant).select_related("created_by", "job")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        kwargs.setdefault("form", None)
        if kwargs["form"] is None:
            first = self.request.GET.get("subject", "")
            start = {"client_key": uuid.uuid4(), "subject": first}
            kwargs["form"] = ImportFileForm(person=self.request.user, plant=self.request.plant, initial=start)
        return super().get_context_data(
            subjects=subjects_for(self.request.user, self.request.plant),
            largest_mb=settings.LARGEST_IMPORT_MB,
            most_rows=settings.LARGEST_IMPORT_ROWS,
            **kwargs,
        )

    def post(self, request: PlantRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        form = ImportFileForm(request.POST, request.FILES, person=request.user, plant=request.plant)
        if form.is_valid():
            try:
                return redirect(self.take_in(form))
            except Refused as refusal:
                form.add_error("file", refusal.message)
        form.data = form.data.copy()
        form.data["client_key"] = str(uuid.uuid4())
        return self.with_form(form, status=422)

    def take_in(self, form: ImportFileForm) -> ImportBatch:
        given = form.cleaned_data
        return imports.take_in_file(
            plant=self.request.plant,
            by=self.request.user,
            subject=given["subject"],
            file=given["file"],
            file_name=given["file"].name,
            size=given["file"].size,
            client_key=given["client_key"],
        )

    def with_form(self, form: ImportFileForm, status: int) -> HttpResponse:
        self.table = self.table_class(self.filtered(), request=self.request)
        self.table.paginate(per_page=self.per_page)
        return self.render_to_response(self.get_context_data(form=form), status=status)


class ImportUpload(ImportList):
    """Takes the file."""

    def get(self, request: PlantRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return redirect("import-list")


import_create = takes(as_import)(ImportUpload.as_view())


@right(RIGHT)
def import_detail(request: PlantRequest, pk: int) -> HttpResponse:
    """One file: what was understood, or how far it is, or what came of it."""
    batch = batch_of(request, pk)
    if batch.standing == "understood":
        return show_choices(request, batch)
    if batch.standing in ("running", "interrupted"):
        return render(request, "plant/import_running.html", progress_context(batch))
    return show_result(request, batch)


def show_choices(
    request: PlantRequest, batch: ImportBatch, form: ImportChoicesForm | None = None, words: str = "", status: int = 200
) -> HttpResponse:
    preview = None
    try:
        preview = preview_of(batch)
    except Refused as refusal:
        words = words or refusal.message
    found = preview.found if preview else None
    form = form or ImportChoicesForm(batch=batch, found=found)
    if preview and preview.samples:
        form.examples = preview.samples[0].shown
    return render(
        request,
        "plant/import_understood.html",
        {
            "title": batch.file_name,
            "batch": batch,
            "subject": subject_of(batch.subject),
            "found": found,
            "preview": preview,
            "write_words": write_words(preview.tally, n_tried=preview.n_tried, n_rows=batch.n_rows) if preview else "",
            "form": form,
            "words": words,
            "as_read": ImportBatch.objects.of_plant(batch.plant)
            .filter(client_key=batch.options.get("as_read"))
            .first(),
        },
        status=status,
    )


@require_POST
@right(RIGHT)
def import_choose(request: PlantRequest, pk: int) -> HttpResponse:
    """Keep the choices and read the file again with them; then write the rows, if that button was pressed."""
    batch = batch_of(request, pk)
    if request.POST.get("act") == "anew":  # whatever stands in the boxes
        return read_anew(request, batch)
    try:
        found = import_understanding.understand(batch)
    except Refused:
        found = None
    form = ImportChoicesForm(request.POST, batch=batch, found=found)
    if not form.is_valid():
        return show_choices(request, batch, form, status=422)
    try:
        own_words.say_words(
            plant=batch.plant, by=request.user, subject=subject_of(batch.subject), said=form.said_words()
        )
        imports.choose(batch=batch, options=form.options())
        if request.POST.get("act") == "write":
            imports.start_import(batch=batch, by=request.user, all_or_nothing="all_or_nothing" in request.POST)
    except Refused as refusal:
        batch.refresh_from_db()
        return show_choices(request, batch, None if batch.options != {} else form, refusal.message, status=422)
    return redirect(batch)


def read_anew(request: PlantRequest, batch: ImportBatch) -> HttpResponse:
    try:
        imports.read_anew(batch=batch, by=request.user)
    except Refused as refusal:
        messages.error(request, refusal.message)
    return redirect(batch)


@require_POST
@right(RIGHT)
def import_start(request: PlantRequest, pk: int) -> HttpResponse:
    """Go on with a file that was stopped, or take the good rows of one that was refused as a whole."""
    batch = batch_of(request, pk)
    try:
        imports.start_import(batch=batch, by=request.user)
    except Refused as refusal:
        messages.error(request, refusal.message)
    return redirect(batch)


@require_POST
@right(RIGHT)
def import_stop(request: PlantRequest, pk: int) -> HttpResponse:
    batch = batch_of(request, pk)
    imports.stop_import(batch=batch)
    return redirect(batch)


@require_POST
@right(RIGHT)
def import_forget(request: PlantRequest, pk: int) -> HttpResponse:
    """Take back a file of which nothing was written."""
    batch = batch_of(request, pk)
    try:
        imports.forget_file(batch=batch)
    except Refused as refusal:
        messages.error(request, refusal.message)
        return redirect(batch)
    messages.success(request, _("%(file)s was taken back; nothing of it was written.") % {"file": batch.file_name})
    return redirect("import-list")


def progress_context(batch: ImportBatch) -> dict[str, Any]:
    job = batch.job
    left = ""
    if job and job.started_at and job.done_units and batch.standing == "running":
        gone = (timezone.now() - job.started_at).total_seconds()
        seconds = gone / job.done_units * max(job.total_units - job.done_units, 0)
        left = _("less than a minute") if seconds < 60 else _("about %(n)s min") % {"n": round(seconds / 60)}
    return {
        "title": batch.file_name,
        "batch": batch,
        "is_undo": batch.state == ImportBatch.State.TAKING_BACK,
        "job": job,
        "subject": subject_of(batch.subject),
        "left": left,
        # Of all rows or none, the writing itself is one step: how far it is cannot be seen from outside.
        "is_writing": bool(
            batch.state == ImportBatch.State.RUNNING
            and batch.all_or_nothing
            and job
            and job.done_units
            and job.done_units >= job.total_units
        ),
        "done": job.done_units if job else 0,
        "total": (job.total_units if job else 0) or batch.n_rows or 1,
    }


@right(RIGHT)
def import_progress(request: PlantRequest, pk: int) -> HttpResponse:
    """The bar alone, asked for every two seconds; when the job is over the page is loaded anew."""
    batch = batch_of(request, pk)
    answer = render(request, "plant/_import_progress.html", progress_context(batch))
    if batch.standing != "running":
        answer["HX-Refresh"] = "true"
    return answer


def show_result(request: PlantRequest, batch: ImportBatch) -> HttpResponse:
    subject = subject_of(batch.subject)
    page = Paginator(batch.rejected_rows.refused(), REFUSED_PER_PAGE).get_page(request.GET.get("page"))
    equal = Paginator(batch.rejected_rows.repeated(), REFUSED_PER_PAGE).get_page(request.GET.get("equal"))
    may_mend = batch.state == ImportBatch.State.DONE
    asked = import_again.asked_of(batch) if may_mend else {}
    words = RefusedWordsForm(batch=batch, found=import_again.unknown_words(batch)) if may_mend else None
    return render(
        request,
        "plant/import_result.html",
        {
            "title": batch.file_name,
            "batch": batch,
            "subject": subject,
            "page": page,
            **standing_of_rows(batch),
            "asked": asked,
            "word_form": words,
            "equal": equal,
            "forms": [RefusedRowForm(row=row, batch=batch, subject=subject) for row in page],
            "equal_forms": [RefusedRowForm(row=row, batch=batch, subject=subject) for row in equal],
            "may_mend": may_mend,
            "may_take_back": bool(batch.n_written or batch.n_changed)
            and import_undo.can_be_taken_back(batch)
            and import_undo.is_known_what_it_did(batch),
            "may_open_again": imports.is_nothing_written(batch),
        },
    )


def standing_of_rows(batch: ImportBatch) -> dict[str, int]:
    """How many refused rows wait, were left out, or are equal to another row."""
    states = Counter(batch.rejected_rows.values_list("state", flat=True))
    state = RejectedRow.State
    return {"n_open": states[state.OPEN], "n_dropped": states[state.DROPPED], "n_equal": states[state.REPEATED]}


@right(RIGHT)
def import_take_back(request: PlantRequest, pk: int) -> HttpResponse:
    """Shows what would go and what would stay, asks why; then takes the file back."""
    batch = batch_of(request, pk)
    form = TakeBackForm(request.POST if request.method == "POST" else None)
    try:
        if form.is_bound and form.is_valid():
            import_undo.take_back(batch=batch, by=request.user, reason=form.cleaned_data["reason"])
            return redirect(batch)
        found = import_undo.preview_of_undo(batch)
    except Refused as refusal:
        messages.error(request, refusal.message)
        return redirect(batch)
    shown = {
        "title": _("Take %(file)s back?") % {"file": batch.file_name},
        "batch": batch,
        "found": found,
        "form": form,
    }
    return render(request, "plant/import_take_back.html", shown, status=422 if form.is_bound else 200)


@require_POST
@right(RIGHT)
def import_open_again(request: PlantRequest, pk: int) -> HttpResponse:
    """Choose anew how a file is read of which no row was written."""
    batch = batch_of(request, pk)
    try:
        imports.open_again(batch=batch)
    except Refused as refusal:
        messages.error(request, refusal.message)
    return redirect(batch)


@require_POST
@right(RIGHT)
def import_go_on(request: PlantRequest, pk: int) -> HttpResponse:
    """Go on with taking a file back that was stopped half-way."""
    batch = batch_of(request, pk)
    try:
        import_undo.take_back(batch=batch, by=request.user, reason="")
    except Refused as refusal:
        messages.error(request, refusal.message)
    return redirect(batch)


@require_POST
@right(RIGHT)
def import_rows(request: PlantRequest, pk: int) -> HttpResponse:
    """All refused rows at once: try them again, also by words that are said with it; leave them out or take them up."""
    batch = batch_of(request, pk)
    act, code = request.POST.get("act", ""), request.POST.get("code", "")
    try:
        if act == "drop":
            n = import_again.drop_all(batch=batch)
            told = ngettext("%(n)s row is left out.", "%(n)s rows are left out.", n)
            messages.success(request, told % {"n": n})
        elif act == "take-up":
            n = import_again.take_up_all(batch=batch)
            told = ngettext("%(n)s row waits for correction again.", "%(n)s rows wait for correction again.", n)
            messages.success(request, told % {"n": n})
        else:
            if act == "words":
                say_words_of(request, batch)
            import_again.ask_again(
                batch=batch, by=request.user, act=import_again.RETRY if act == "words" else act, code=code
            )
    except Refused as refusal:
        messages.error(request, refusal.message)
    return redirect(batch)


def say_words_of(request: PlantRequest, batch: ImportBatch) -> None:
    """Keep what the person says of the words in refused rows.

    Raises
    ------
    Refused
        If nothing was said, or a meaning is not offered.
    """
    form = RefusedWordsForm(request.POST, batch=batch, found=import_again.unknown_words(batch))
    if not form.is_valid():
        raise Refused(_("One of the meanings is not offered. Choose again."), code="no_choice")
    said = form.said_words()
    if not said:
        raise Refused(_("Say first what at least one of the words stands for."), code="nothing_said")
    own_words.say_words(plant=batch.plant, by=request.user, subject=subject_of(batch.subject), said=said)


@require_POST
@right(RIGHT)
def rejected_row(request: PlantRequest, pk: int, row: int) -> HttpResponse:
    """Write a mended row, or leave it out on purpose."""
    batch = batch_of(request, pk)
    subject = subject_of(batch.subject)
    refused = get_object_or_404(batch.rejected_rows, pk=row)
    form = RefusedRowForm(request.POST, row=refused, batch=batch, subject=subject)
    act = request.POST.get("act")
    if act == "drop":
        import_corrections.drop_row(row=refused)
    elif act == "take-up":
        import_corrections.take_up_row(row=refused)
    elif act == "own" or form.is_valid():
        given: dict[str, Any] = {} if act == "own" else {"values": form.values(), "keep_doubtful": form.keep_doubtful()}
        try:
            import_corrections.retry_row(row=refused, by=request.user, is_own_event=act == "own", **given)
        except Refused as refusal:
            if not request.htmx:
                messages.error(
                    request, _("Line %(n)s: %(words)s") % {"n": refused.line_number, "words": refusal.message}
                )
    if not request.htmx:
        return redirect(batch)
    refused.refresh_from_db()
    batch.refresh_from_db()
    # What could not be read at all was not kept with the row: it stays in the boxes, with what is wrong with it.
    is_unread = act not in ("drop", "own", "take-up") and not form.is_valid() and refused.state == refused.State.OPEN
    return render(
        request,
        "plant/_import_row.html",
        {
            "form": form if is_unread else RefusedRowForm(row=refused, batch=batch, subject=subject),
            "batch": batch,
            **standing_of_rows(batch),
            "may_mend": True,
            "just_now": True,  # the counts above the rows go along
        },
    )


@right(RIGHT)
def rejected_file(request: PlantRequest, pk: int) -> StreamingHttpResponse:
    """The refused rows with their reasons, as a file to mend and send again."""
    batch = batch_of(request, pk)
    answer = StreamingHttpResponse(rejected_rows.rejected_as_csv(batch), content_type="text/csv; charset=utf-8")
    stem = slugify(batch.file_name.rsplit(".", 1)[0]) or "rows"
    answer["Content-Disposition"] = f'attachment; filename="{stem}-refused.csv"'
    return answer


@right(RIGHT)
def blank_file(request: PlantRequest, subject: str) -> HttpResponse:
    """An empty file with all columns of a subject and one row as an example."""
    try:
        found = subject_of(subject)
    except Refused:
        return redirect("import-list")
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow([each.name for each in found.columns])
    writer.writerow([each.example for each in found.columns])
    answer = HttpResponse("\ufeff" + buffer.getvalue(), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{found.name}.csv"'
    return answer
