"""What this app shows on pages of the apps below it, and its entries in the masthead."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.models import Task
from inspections.selectors.tasks import CheckState, check_state_of, states_for
from installs.models import Installation
from installs.tables.belt_devices import DeviceCell, DeviceColumn
from installs.words.timeline import TimelineEvent
from plant.models import Conveyor, Plant
from plant.panels import MainPage, register_main_page, register_panel
from plant.permissions import PlantRequest, has_right
from plant.selectors.kept import Kept
from plant.services.kept import at_hand
from reports.calc.study_windows import Window, months_earlier
from reports.charts.incidents_by_month import LEAST_SHOWN_COVERAGE, Timeline, as_json, incidents_by_month
from reports.models import MonthlyReport, StudyNote, StudyWindow
from reports.selectors.belts import Belt, belts_of
from reports.selectors.fleet_effect import EFFECT, ENGINEER, MANAGER, MONTHS_SHOWN, MOST_ROWS
from reports.selectors.incidents_by_month import MonthBar, bars_of, bars_of_belt, marks_of
from reports.selectors.kept_effect import REFERENCE, WHOLE
from reports.selectors.offset_studies import offset_study_of
from reports.selectors.rate_watch import fading_at
from reports.selectors.rates import belt_rate
from reports.selectors.reference_groups import POSSIBLE_M, Reference, beside_zone, sensitivity_of
from reports.selectors.studies import (
    Study,
    by_the_rule,
    chosen_windows,
    group_of,
    latest_choice,
    notes_of,
    rules_of,
    smallest_change_of,
    study,
    study_of,
)
from reports.selectors.verdict_history import verdict_changes
from reports.words.months import decision_told
from reports.words.study_rules import verdict_rules, window_rules
from reports.words.verdicts import (
    MARK_OF,
    VERDICT_WORDS,
    place_of,
    rate_words,
    ratio_words,
    reason_words,
    study_sentence,
    verdict_words,
)

register_main_page(
    MainPage(
        url_name="effect-list",
        label=gettext_lazy("Effect"),
        right="reports.view_studywindow",
        order=70,
        prefixes=("/effect/",),
    )
)


# --- gathered once a request ------------------------------------------------------------------------------------------
def reference_on(request: PlantRequest, plant: Plant) -> Kept:
    """The plant's reference as it is kept, once a request."""
    known: dict[int, Kept] = request.__dict__.setdefault("_effect_references", {})
    if plant.pk not in known:
        known[plant.pk] = at_hand(plant, REFERENCE, WHOLE)
    return known[plant.pk]


def belt_for(request: PlantRequest, conveyor: Conveyor) -> Belt:
    known: dict[int, Belt] = request.__dict__.setdefault("_effect_belts", {})
    if conveyor.pk not in known:
        known[conveyor.pk] = belts_of([conveyor])[conveyor.pk]
    return known[conveyor.pk]


# --- one comparison ---------------------------------------------------------------------------------------------------
def effect_context(request: PlantRequest, installation: Installation, *, is_whole: bool = False) -> dict[str, Any]:
    """What the panel on the dossier and the page of its own show."""
    kept = reference_on(request, installation.plant)
    reference: Reference = kept.value
    study = study_of(installation, timezone.now(), reference, belt_for(request, installation.conveyor))
    bars = bars_of(study)
    marks = marks_of(study.belt, bars[0].window.start, study.now, study.members) if bars else []
    title = _("Incidents in reach of %(place)s, by month") % {"place": place_of(study)}
    timeline = Timeline(title, bars, tuple(marks), installation.plant.zone)
    notes = list(notes_of(study))
    context = {
        "study": study,
        "bars": bars,
        "marks": marks,
        "unknown": timeline.unknown,
        "others": [each for each in study.members if each.pk != installation.pk],
        "figure": as_json(incidents_by_month(timeline)),
        "figure_id": f"effect-{installation.pk}",
        "chart_title": title,
        "least_coverage": LEAST_SHOWN_COVERAGE,
        "notes": notes,
        "offsets": offset_study_of(study.members, study.now),
        "alarm": fading_at(study, reference),
        "kept": kept,
        "acts": acts_on(request, study) if study.is_standing else [],
    }
    if is_whole:
        context |= {
            "window_rules": window_rules(installation.plant),
            "verdict_rules": verdict_rules(rules_of(installation.plant)),
            "answers": study.answers,
            "beside": beside_zone(study.belt, study.installation.strand, study.zones, study.before, study.after),
            "beyond_m": POSSIBLE_M,
            "sensitivity": sensitivity_of(
                study.belt,
                study.installation.strand,
                study.zones,
                study.before,
                study.after,
                study.n_detectors,
                study.rules,
            ),
            "earlier_notes": StudyNote.objects.filter(installation__in=study.members)
            .exclude(pk__in=[each.pk for each in notes])
            .select_related("created_by"),
            "smallest": smallest_change_of(study),
            "merge_minutes": installation.plant.merge_minutes,
            "by_rule": by_the_rule(study, reference) if study.chosen else None,
            "chosen_before": StudyWindow.objects.filter(installation__in=study.members).select_related(
                "created_by", "corrected_by"
            ),
        }
    return context


@register_panel("installation-detail", order=20)
def effect_of_installation(request: PlantRequest, installation: Installation) -> dict[str, Any] | None:
    """Incidents before and after, with the verdict and the chart."""
    if not has_right(request.user, "reports.view_studywindow", installation.plant):
        return None
    asked = Task.objects.open().filter(installation=installation, origin=Task.Origin.RATE_WATCH).first()
    context = effect_context(request, installation)
    return {"template": "reports/_effect_panel.html", "installation": installation, "watch_task": asked, **context}


# --- one belt ---------------------------------------------------------------------------------------------------------
def last_year(conveyor: Conveyor, now: dt.datetime) -> Window:
    return Window(months_earlier(now, MONTHS_SHOWN, conveyor.plant.zone), now)


@register_panel("conveyor-lede", order=10)
def rate_of_conveyor(request: PlantRequest, conveyor: Conveyor) -> dict[str, Any] | None:
    """How often the belt wandered per running hour."""
    if not has_right(request.user, "reports.view_studywindow", conveyor.plant):
        return None
    belt = belt_for(request, conveyor)
    return {"template": "reports/_conveyor_lede.html", "year": belt_rate(belt, last_year(conveyor, timezone.now()))}


@register_panel("conveyor-detail", order=30)
def months_of_conveyor(request: PlantRequest, conveyor: Conveyor) -> dict[str, Any] | None:
    """Incidents of the whole belt by month."""
    if not has_right(request.user, "reports.view_studywindow", conveyor.plant):
        return None
    belt, now = belt_for(request, conveyor), timezone.now()
    start = months_earlier(now, 2 * MONTHS_SHOWN, conveyor.plant.zone)
    bars = bars_of_belt(belt, start, now)
    title = _("Incidents on %(tag)s, by month") % {"tag": conveyor.tag}
    timeline = Timeline(title, bars, tuple(marks_of(belt, start, now)), conveyor.plant.zone)
    return {
        "template": "reports/_conveyor_months.html",
        "span": 7,
        "conveyor": conveyor,
        "bars": bars,
        "marks": timeline.marks,
        "unknown": timeline.unknown,
        "figure": as_json(incidents_by_month(timeline)),
        "figure_id": f"belt-{conveyor.pk}",
        "chart_title": title,
        "least_coverage": LEAST_SHOWN_COVERAGE,
    }


@register_panel("conveyor-devices", order=60)
def effect_of_devices(request: PlantRequest, standing: list[Installation]) -> dict[str, Any] | None:
    """The verdict on each device of a belt; those that are judged as one share it."""
    conveyor = standing[0].conveyor
    if not has_right(request.user, "reports.view_studywindow", conveyor.plant):
        return None
    belt, now = belt_for(request, conveyor), timezone.now()
    chosen = chosen_windows(belt.installations)
    reference = reference_on(request, conveyor.plant).value
    cells: dict[int, DeviceCell] = {}
    for each in standing:
        if each.pk in cells:
            continue
        members = group_of(next(one for one in belt.installations if one.pk == each.pk), belt)
        one = study(members, belt, chosen=latest_choice(members, chosen), now=now, reference=reference)
        cell = DeviceCell(
            _("ratio %s") % ratio_words(one.ratio) if one.ratio.ratio is not None else _("comparison"),
            MARK_OF[one.verdict],
            verdict_words(one),
            reverse("effect-detail", args=[each.pk]),
        )
        cells |= {member.pk: cell for member in members}
    return {"columns": [DeviceColumn(_("Effect"), cells)]}


# --- today ------------------------------------------------------------------------------------------------------------
def acts_of(
    installations: Iterable[Installation], known: dict[int, list[CheckState]] | None = None
) -> dict[int, list[CheckState]]:
    """Checks that ended with "act" when they were last done; not where the rollers were changed then."""
    states = known if known is not None else check_state_of(installations)
    found = {pk: [state for state in each if state.grade_since == "act"] for pk, each in states.items()}
    return {pk: acts for pk, acts in found.items() if acts}


def acts_on(request: PlantRequest, study: Study) -> list[CheckState]:
    """Such checks of the devices of a comparison."""
    acts = acts_of(study.members, states_for(request, study.members))
    return [state for those in acts.values() for state in those]


def at_act(plant: Plant) -> list[tuple[Installation, list[CheckState]]]:
    """Devices in place with such a check."""
    standing = list(
        Installation.objects.of_plant(plant).in_place().select_related("conveyor", "device").order_by("conveyor__tag")
    )
    acts = acts_of(standing)
    return [(each, acts[each.pk]) for each in standing if each.pk in acts]


def by_reason(studies: list[Study]) -> list[tuple[str, list[Study]]]:
    """Comparisons that cannot be judged, by what stands in the way."""
    found: dict[str, list[Study]] = {}
    for each in studies:
        found.setdefault(reason_words(each.judgement.reasons[0]), []).append(each)
    return sorted(found.items(), key=lambda pair: -len(pair[1]))


@register_panel("today:reliability engineer", order=10)
def engineers_today(request: PlantRequest, plant: Plant) -> dict[str, Any]:
    """Which devices earn their place, which need a look, and where the belts wander most."""
    kept = at_hand(plant, EFFECT, ENGINEER)
    acts = at_act(plant)
    return {
        "template": "reports/_today_engineer.html",
        "kept": kept,
        **vars(kept.value),
        "unjudged": by_reason(kept.value.unjudged),
        "acts": acts[:MOST_ROWS],
        "n_acts": len(acts),
    }


@register_panel("today:manager", order=10)
def managers_today(request: PlantRequest, plant: Plant) -> dict[str, Any]:
    """Are we getting better, what did it cost, what needs a decision."""
    kept = at_hand(plant, EFFECT, MANAGER)
    late = Task.objects.of_plant(plant).overdue(timezone.localdate(timezone=plant.zone))
    return {
        "template": "reports/_today_manager.html",
        "kept": kept,
        **vars(kept.value),
        "n_late": late.count(),
        "late_url": f"{reverse('task-list')}?state=late",
        "decide": [decision_told(each) for each in kept.value.decide],
    }


__all__ = ["MonthBar", "belt_for", "effect_context"]


@register_panel("timeline", order=20)
def effect_in_timeline(request: PlantRequest, installation: Installation) -> dict[str, Any] | None:
    """When the verdict on the effect changed; when an engineer set other windows, and why; notes on the comparison."""
    if not has_right(request.user, "reports.view_studywindow", installation.plant):
        return None
    rows = installation.study_windows.current()
    url = f"{installation.get_absolute_url()}#effect"
    events = [TimelineEvent(row.created_at, _("Comparison windows set"), row.reason, url) for row in rows]
    notes = installation.study_notes.current()
    events += [TimelineEvent(row.created_at, _("Note on the comparison"), row.text, url) for row in notes]
    reference = reference_on(request, installation.plant).value
    belt = belt_for(request, installation.conveyor)
    for change in verdict_changes(installation, belt, timezone.now(), reference):
        what = _("Verdict now: %s") % VERDICT_WORDS[change.study.verdict]
        detail = _("before: %(was)s. %(study)s") % {
            "was": VERDICT_WORDS[change.was],
            "study": study_sentence(change.study),
        }
        events.append(TimelineEvent(change.at, what, detail, url))
    return {"events": events}


@register_panel("dossier", order=20)
def effect_in_dossier(request: PlantRequest, installation: Installation) -> dict[str, Any] | None:
    """The verdict on the effect, with its counts, for the printed dossier."""
    if not has_right(request.user, "reports.view_studywindow", installation.plant):
        return None
    reference, belt = reference_on(request, installation.plant).value, belt_for(request, installation.conveyor)
    found = study_of(installation, timezone.now(), reference, belt)
    return {
        "title": _("Effect on incidents"),
        "words": study_sentence(found),
        "heads": [_("Window"), _("From"), _("Until"), _("Incidents"), _("Running hours"), _("Per 1000 h")],
        "rows": [
            [
                str(name),
                f"{timezone.localtime(side.window.start):%Y-%m-%d}",
                f"{timezone.localtime(side.window.end):%Y-%m-%d}",
                str(side.n),
                f"{side.hours:,.0f}",
                rate_words(side.rate),
            ]
            for name, side in ((_("before"), found.before), (_("after"), found.after))
            if not side.window.is_empty
        ],
        "numbers": [3, 4, 5],
        "grow": [0],
    }


register_main_page(
    MainPage(
        url_name="month-list",
        label=gettext_lazy("Month"),
        right="reports.view_monthlyreport",
        order=80,
        prefixes=("/months/", "/life/"),
    )
)


@register_panel("today:manager", order=20)
@register_panel("today:reliability engineer", order=40)
def the_month(request: PlantRequest, plant: Plant) -> dict[str, Any] | None:
    """The newest published month, and the draft that waits for a comment."""
    if not has_right(request.user, "reports.view_monthlyreport", plant):
        return None
    reports = MonthlyReport.objects.of_plant(plant)
    return {
        "template": "reports/_today_month.html",
        "newest": reports.published().first(),
        "draft": reports.drafts().first(),
        "may_publish": has_right(request.user, "reports.publish_monthlyreport", plant),
    }
