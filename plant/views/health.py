"""How the site is: for machines that watch it (alive, ready, figures) and for its keeper, in words."""

from __future__ import annotations

import logging
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe
from prometheus_client import CONTENT_TYPE_PLAIN_0_0_4

from plant.calc.health import site_health, worst_of
from plant.errors import Refused
from plant.files.metrics import site_metrics
from plant.models import Job
from plant.permissions import PlantRequest, for_keepers, open_to_all
from plant.selectors.health import answer_ms, failed_jobs, site_facts, steps_missing
from plant.selectors.retention import last_cleared
from plant.services.job_kinds import kind_words
from plant.services.jobs import discard_failed, retry_failed
from plant.words.health import MARKS, fault_words, headline, line_shown
from plant.words.retention import rules_shown

log = logging.getLogger(__name__)

FAILED_SHOWN = 20
PLAIN = "text/plain; charset=utf-8"


def before_sign_in(view: Any) -> Any:
    """Mark a view that `HealthMiddleware` answers before sessions, people or plants are looked at."""
    marked = open_to_all(view)
    marked.is_before_sign_in = True
    return marked


@before_sign_in
@require_safe
def live(request: HttpRequest) -> HttpResponse:
    """The process answers. It asks nothing of anything else, so that no fault of the data base has it restarted."""
    return HttpResponse("alive\n", content_type=PLAIN)


@before_sign_in
@require_safe
def ready(request: HttpRequest) -> HttpResponse:
    """Pages can be served. A stranger learns whether, the log learns why not."""
    try:
        answer_ms()
        why = "migrations" if steps_missing() else ""
    except (DatabaseError, OSError):
        why = "database"
    if why:
        log.error("not ready: %s", why)
        return HttpResponse("not ready\n", status=503, content_type=PLAIN)
    return HttpResponse("ready\n", content_type=PLAIN)


@before_sign_in
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Figures for Prometheus, for whoever brings the token; without a token in the settings, for nobody."""
    token, given = settings.METRICS_TOKEN, request.headers.get("Authorization", "")
    if not token:
        return HttpResponse("Not found\n", status=404, content_type=PLAIN)
    if not constant_time_compare(given, f"Bearer {token}"):
        refusal = HttpResponse("This asks for a token.\n", status=401, content_type=PLAIN)
        refusal.headers["WWW-Authenticate"] = 'Bearer realm="metrics"'
        return refusal
    return HttpResponse(site_metrics(), content_type=CONTENT_TYPE_PLAIN_0_0_4)


@for_keepers
def site_page(request: PlantRequest) -> HttpResponse:
    """Is the site well? Part by part, the worst on top, with what to do; it fetches itself anew."""
    now = timezone.now()
    lines = site_health(site_facts(now))
    failed = list(failed_jobs(now)[:FAILED_SHOWN])
    if request.headers.get("HX-Request") and request.GET.get("failed") != str(len(failed)):
        answer = HttpResponse()  # the list below the lines is another one now
        answer["HX-Refresh"] = "true"
        return answer
    shown = {
        "title": _("Is the site well?"),
        "headline": headline(lines),
        "state": MARKS[worst_of(lines)],
        "lines": [line_shown(each) for each in lines],
        "failed": [{"job": each, "what": kind_words(each.kind), "why": fault_words(each.error)} for each in failed],
        "n_failed": len(failed),
        "as_of": now,
        "rules": rules_shown(last_cleared()),
        "backups_kept": {
            "days": settings.BACKUP_DAYS,
            "weeks": settings.BACKUP_WEEKS,
            "months": settings.BACKUP_MONTHS,
        },
    }
    return render(request, "plant/site.html", shown)


@require_POST
@for_keepers
def failed_job_retry(request: PlantRequest, job: int) -> HttpResponse:
    row = get_object_or_404(Job, pk=job)
    try:
        retry_failed(row, by=request.user)
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, _("Job %s will be done again.") % row.pk)
    return redirect("site")


@for_keepers
def failed_job_discard(request: PlantRequest, job: int) -> HttpResponse:
    """Asks first, gives the job up then."""
    row = get_object_or_404(Job, pk=job)
    if request.method != "POST":
        shown = {"title": _("Discard job %s?") % row.pk, "job": row}
        return render(request, "plant/failed_job_discard.html", shown)
    try:
        discard_failed(row, by=request.user)
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, _("Job %s is discarded.") % row.pk)
    return redirect("site")
