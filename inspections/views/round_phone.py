"""The page of the round that a phone keeps, and the worker that serves it with no signal.

Both hold nothing of any plant, so they need no sign-in: a phone whose sign-in ran out still gets the newest of them.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.i18n import JavaScriptCatalog

from inspections.forms.visits import SettleForm, WhichCountsForm
from inspections.models import SetAside, TwiceClosed
from inspections.selectors.set_aside import typed_lines
from inspections.selectors.visits import visit_sheet
from inspections.services.set_aside import settle
from inspections.services.twice_closed import say_which_counts
from inspections.words.readings import sheet_told
from inspections.words.set_aside import lines_told
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.forms.base import show_refusal
from plant.permissions import PlantRequest, get_visible, open_to_all, right

# Everything that the page of the round is made of.
FILES = [
    "plant/driftbook.css",
    "plant/mark.svg",
    "inspections/visit.css",
    "inspections/doubt.js",
    "inspections/grading.js",
    "inspections/reasons.js",
    "inspections/suggested.js",
    "inspections/units.js",
    "inspections/words.js",
    *(
        f"inspections/round/{name}"
        for name in (
            "phone.css",
            "action_page.js",
            "build.js",
            "keep.js",
            "kept_page.js",
            "list_page.js",
            "round.js",
            "scan_page.js",
            "stop_page.js",
            "store.js",
            "sync.js",
            "today.js",
            "app.webmanifest",
        )
    ),
]
WORKER = "inspections/round/worker.js"


def found_file(name: str) -> Path:
    path = finders.find(name)
    if not path:
        raise FileNotFoundError(f"{name} is missing among the static files; install the site anew")
    return Path(str(path))


@open_to_all
@never_cache
def round_page(request: PlantRequest) -> HttpResponse:
    return render(request, "inspections/round_phone.html", {"title": _("My round")})


@open_to_all
@never_cache
def round_words(request: PlantRequest) -> HttpResponse:
    """The scripts' sentences in the person's language; a script by itself, so the page's policy needs no exception."""
    answer: Any = JavaScriptCatalog.as_view()(request)
    return answer


@open_to_all
@never_cache
def round_worker(request: PlantRequest) -> HttpResponse:
    """The service worker, with the list of files and a version made of their names and contents."""
    storage: Any = staticfiles_storage
    page, words = round_page(request).content, round_words(request).content
    # Modules name each other without the manifest's hash, so the plain addresses are kept beside the hashed ones.
    addresses = sorted(
        {
            reverse("round-words"),
            *(static(name) for name in FILES),
            *(f"{storage.base_url}{name}" for name in FILES),
        }
    )
    digest = hashlib.sha256(page + words)
    for name in [*FILES, WORKER]:
        digest.update(static(name).encode() + found_file(name).read_bytes())
    head = (
        f"const VERSION = {json.dumps(digest.hexdigest()[:16])};\n"
        f"const PAGE = {json.dumps(reverse('round-phone'))};\n"
        f"const FILES = {json.dumps(addresses)};\n"
    )
    body = found_file(WORKER).read_text(encoding="utf-8")
    answer = HttpResponse(head + body, content_type="text/javascript; charset=utf-8")
    answer["Service-Worker-Allowed"] = "/"
    return answer


@right("inspections.view_visit")
def which_counts(request: PlantRequest, pk: int) -> HttpResponse:
    """Two visits that closed the same check, side by side, and the question which counts."""
    rows = TwiceClosed.objects.select_related(
        "task__check_kind", "task__installation__conveyor", "task__installation__device", "plant", "decided_by",
        "first__visited_by", "second__visited_by",
    )  # fmt: skip
    row = get_visible(request, rows, "inspections.view_visit", pk=pk)
    form = WhichCountsForm(request.POST or None, initial={"version": row.version})
    if request.method == "POST":
        get_visible(request, rows, "inspections.close_out_task", pk=pk)
        if form.is_valid():
            try:
                say_which_counts(
                    row, by=request.user, version=form.cleaned_data["version"], counts=form.cleaned_data["counts"]
                )
            except Refused as refusal:
                show_refusal(form, refusal)
            else:
                return redirect(row)
    system = UnitSystem(request.user.unit_system)
    sides = []
    for visit in (row.first, row.second):
        checks = sheet_told(visit_sheet(visit), system)["checks"]
        lines = [line for check in checks if check["task"].pk == row.task_id for line in check["lines"]]
        sides.append({"visit": visit, "lines": lines})
    title = _("%(task)s was closed twice") % {"task": row.task}
    return render(
        request,
        "inspections/twice_closed.html",
        {"title": title, "row": row, "form": form, "sides": sides},
        status=422 if form.errors else 200,
    )


@right("inspections.view_visit")
def set_aside_detail(request: PlantRequest, pk: int) -> HttpResponse:
    """What a phone could not get into the book: what was typed, why, and what became of it."""
    rows = SetAside.objects.select_related(
        "plant", "installation__conveyor", "installation__device", "created_by", "settled_by"
    )
    row = get_visible(request, rows, "inspections.view_visit", pk=pk)
    form = SettleForm(request.POST if request.method == "POST" else None, initial={"version": row.version})
    if request.method == "POST":
        get_visible(request, rows, "inspections.close_out_task", pk=pk)
        if form.is_valid():
            given = form.cleaned_data
            try:
                settle(row, by=request.user, version=given["version"], note=given["settled_note"])
            except Refused as refusal:
                show_refusal(form, refusal)
            else:
                return redirect(row)
    title = _("%(what)s set aside at %(place)s") % {
        "what": row.get_kind_display().capitalize(),
        "place": row.installation,
    }
    return render(
        request,
        "inspections/set_aside.html",
        {"title": title, "row": row, "form": form, "lines": lines_told(typed_lines(row))},
        status=422 if form.errors else 200,
    )
