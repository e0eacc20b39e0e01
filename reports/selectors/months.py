"""Figures of a month, gathered and computed for one plant: what a draft shows and what publication freezes.

Everything comes out as plain values that JSON can hold. Rows behind a figure go along with it, so that a published
month can always be opened down to the rows that it was made of. Sentences stand in `reports.words.months`.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
from collections import Counter
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.models import Action
from installs.calc.specs import differences
from installs.models import DeviceModel, Installation, ModelSheet
from plant.models import Plant
from reports.calc.study_windows import Window
from reports.calc.verdicts import EffectVerdict
from reports.models import StudyNote, StudyWindow
from reports.selectors.month_data import (
    BACK,
    BEFORE,
    YEAR_AGO,
    Month,
    MonthData,
    MonthSoFar,
    belt_rates,
    figure_of,
    month_data,
)
from reports.selectors.month_rows import (
    MONTHS_SHOWN,
    OF_FIGURE,
    belts_until,
    local,
    model_of,
    rows_behind,
    rows_today,
)
from reports.selectors.pooled_effects import count_of, pools_of, standings_of
from reports.selectors.rate_watch import watch_of
from reports.selectors.rates import RateComparison, compare_belts, plant_rate
from reports.selectors.studies import Book, Study, book_of
from reports.words.months import (
    action_is_late,
    alarm_came,
    alarms_at_the_end,
    availability_changed,
    belt_changed,
    check_is_late,
    costs_are_missing,
    device_fitted,
    device_removed,
    figures,
    groups_note,
    lede,
    more_than_before,
    no_changes,
    note_written,
    opening,
    owner_words,
    percent,
    plain,
    plant_changed,
    rule_changed,
    sheet_changed,
    sheet_taken_over,
    verdict_changed,
    windows_set,
)
from reports.words.pooled_effects import chance_words, counted_words, limits_words, standing_words
from reports.words.verdicts import (
    ANSWER_WORDS,
    MARK_OF,
    VERDICT_WORDS,
    rate_words,
)

MOST_DECISIONS = 5
MOST_BELTS = 8
LATE_DAYS = 30
# A belt is named among the changes where chance alone would bring as much once in a hundred months; own rule.
CHANGE_LEVEL = 0.99


@lru_cache(maxsize=1)
def code_version() -> str:
    """Version of the product with a digest of its calculations: a changed formula changes it."""
    digest = hashlib.sha256()
    for folder in ("plant", "installs", "inspections", "reports"):
        for path in sorted((Path(settings.BASE_DIR) / folder / "calc").glob("*.py")):
            digest.update(path.read_bytes())
    try:
        known = version("driftbook")
    except PackageNotFoundError:
        known = "0.1"
    return f"{known} calc {digest.hexdigest()[:10]}"


# --- decisions and changes --------------------------------------------------------------------------------------------
def decisions(data: MonthData, book: Book, plant: Plant) -> tuple[list[dict[str, Any]], int]:
    """What needs a decision, the most pressing first, and how many more there are than the page shows."""
    found: list[dict[str, Any]] = []

    def add(words: str, owner: str, due: dt.date | None, waiting: str, url: str) -> None:
        found.append({"words": words, "owner": owner, "due": str(due) if due else "", "waiting": waiting, "url": url})

    engineer, planner = _("reliability engineer"), _("planner")
    for one in book.studies:
        if one.verdict == EffectVerdict.MORE and one.is_standing:
            rate = one.after.rate.per_1000_h or 0.0
            more = rate - (one.before.rate.per_1000_h or 0.0)
            words, waiting = more_than_before(one, more)
            add(words, engineer, None, waiting, reverse("effect-detail", args=[one.installation.pk]))
    waiting_long = [each for each in data.late if each.days > LATE_DAYS]
    for each in waiting_long[:2]:
        words, waiting = check_is_late(data.tasks[each.key], each.days)
        add(words, planner, None, waiting, reverse("task-detail", args=[each.key]))
    late_actions = sorted(
        (each for each in data.actions if each.due_on <= data.month.last and not done_by(each, data.month)),
        key=lambda each: each.due_on,
    )
    for each in late_actions[:2]:
        words, waiting = action_is_late(each, (data.month.last - each.due_on).days)
        add(words, owner_words(each), each.due_on, waiting, each.get_absolute_url())
    if data.cost.missing:
        words, waiting = costs_are_missing()
        add(words, planner, None, waiting, reverse("plant-settings"))
    hidden = max(len(waiting_long) - 2, 0) + max(len(late_actions) - 2, 0) + max(len(found) - MOST_DECISIONS, 0)
    return found[:MOST_DECISIONS], hidden


def decisions_today(book: Book) -> tuple[list[dict[str, Any]], int]:
    """What needs a decision at the moment of a book, by the same rule as in the month."""
    plant, zone = book.plant, book.plant.zone
    month = MonthSoFar(book.now.astimezone(zone).date().replace(day=1), zone, book.now)
    return decisions(month_data(plant, month, book.belts), book, plant)


def done_by(action: Action, month: Month) -> bool:
    return action.done_at is not None and action.done_at < month.end


def changes(data: MonthData, before: MonthData, year: RateComparison, book: Book, plant: Plant) -> list[dict[str, str]]:
    """What changed in the month and why: the plant's own figures, verdicts, belts, devices, and the method itself."""
    month, told = data.month, []

    def add(words: str, url: str = "") -> None:
        told.append({"words": words, "url": url})

    if year.answer in {"fewer", "more"}:
        add(plant_changed(year), year.later.url)
    share, share_before = data.availability.share, before.availability.share
    if share is not None and share_before is not None and percent(share) != percent(share_before):
        add(availability_changed(share, share_before))
    for now, then in book.changed_since(month.start):
        add(verdict_changed(now, then), reverse("effect-detail", args=[now.installation.pk]))
    year_before = Window(month.earlier(12).start, month.start)
    for belt in book.belts:
        each = compare_belts([belt], year_before, month.window, book.reference, level=CHANGE_LEVEL)
        if each.answer in {"fewer", "more"}:
            add(belt_changed(belt.conveyor.tag, each), each.later.url)
    watch = watch_of(book)
    fresh = [each for each in watch.fading if each.alarm_at >= month.start]
    for each in fresh:
        add(alarm_came(each, month), reverse("effect-detail", args=[each.study.installation.pk]))
    if fresh:
        add(alarms_at_the_end(watch))
    fitted = Installation.objects.of_plant(plant).select_related("conveyor", "device")
    for each in fitted.filter(installed_at__gte=month.start, installed_at__lt=month.end):
        add(device_fitted(each, month))
    for each in fitted.filter(removed_at__gte=month.start, removed_at__lt=month.end):
        add(device_removed(each, month))
    # As it read at the end of the month: what was put right or taken back later was still said then.
    notes = StudyNote.objects.filter(
        Q(corrected_by__isnull=True) | Q(corrected_by__created_at__gte=month.end),
        installation__plant=plant,
        is_withdrawn=False,
        created_at__gte=month.start,
        created_at__lt=month.end,
    ).select_related("installation__conveyor", "installation__device", "created_by")
    for each in notes.order_by("created_at"):
        add(note_written(each), reverse("effect-detail", args=[each.installation_id]))
    told.extend(method_changes(plant, month))
    return told


RULE_FIELDS = (
    "merge_minutes",
    "settling_in_days",
    "settling_in_h",
    "least_coverage_pct",
    "margin_low",
    "margin_high",
    "watch_alarm_years",
    "watch_learn_h",
    "watch_least_share_pct",
    "effect_length_m",
    "currency",
    "cost_of_stop_hour",
    "cost_of_spilled_tonne",
)


def method_changes(plant: Plant, month: Month) -> list[dict[str, str]]:
    """Rules and windows that people changed in the month: figures before and after are not made alike."""
    told = []
    history = list(plant.history.filter(history_date__lt=month.end).order_by("history_date", "history_id"))
    for older, newer in itertools.pairwise(history):
        if newer.history_date < month.start:
            continue
        for name in RULE_FIELDS:
            was, now = getattr(older, name), getattr(newer, name)
            if was != now:
                label = str(Plant._meta.get_field(name).verbose_name)
                told.append({"words": rule_changed(label, was, now, newer.history_date, month), "url": ""})
    chosen = StudyWindow.objects.filter(
        installation__plant=plant, created_at__gte=month.start, created_at__lt=month.end
    ).select_related("installation__conveyor", "installation__device")
    for each in chosen:
        told.append({"words": windows_set(each), "url": reverse("effect-detail", args=[each.installation_id])})
    told.extend(sheet_changes(plant, month))
    return told


# Figures of a sheet that grades, zones and forecasts are made with.
JUDGED_BY = ("sensor_new_mm", "sensor_limit_mm", "breakaway_limit_n", "effect_length_m")


def sheet_changes(plant: Plant, month: Month) -> list[dict[str, str]]:
    """Limits of a model that changed, and devices that are held against another sheet than the one they had."""
    told = []
    sheets = ModelSheet.objects.filter(device_model__plant=plant, number__gt=1).select_related("device_model")
    for sheet in sheets.filter(created_at__gte=month.start, created_at__lt=month.end).order_by("created_at", "pk"):
        before = sheet.device_model.sheets.filter(number__lt=sheet.number).order_by("-number").first()
        changed = differences(before.content if before else {}, sheet.content)
        names = [str(DeviceModel._meta.get_field(each.what).verbose_name) for each in changed if each.what in JUDGED_BY]
        if any(each.group == "fasteners" for each in changed):
            names.append(_("fasteners"))
        if names:
            told.append({"words": sheet_changed(sheet, names, month), "url": sheet.device_model.get_absolute_url()})
    history = Installation.history.filter(plant=plant, history_date__lt=month.end, history_date__gte=month.start)
    for row in history.order_by("history_date", "history_id"):
        before = row.prev_record
        if before is not None and before.sheet_id != row.sheet_id and row.sheet_id is not None:
            told.append({"words": sheet_taken_over(row, month), "url": row.instance.get_absolute_url()})
    return told


def trend(book: Book, month: Month) -> list[dict[str, Any]]:
    """The plant's rate in each of thirteen months, with its interval and how much of the hours is known."""
    found = []
    for back in reversed(range(MONTHS_SHOWN)):
        each = month.earlier(back)
        rate = plant_rate(book.belts, each.window)
        low, high = rate.rate.low, rate.rate.high
        found.append(
            {
                "month": f"{each.first:%Y-%m}",
                "n": rate.rate.n,
                "running_h": rate.exposure_h,
                "coverage": rate.coverage,
                "per_1000_h": rate.rate.per_1000_h,
                "low": low,
                "high": high,
            }
        )
    return found


def compose(plant: Plant, first: dt.date) -> tuple[dict[str, Any], dict[str, Any]]:
    """Content and rows of a month, as plain values.

    Parameters
    ----------
    first : date
        First day of the month.

    Returns
    -------
    content, rows : dict
        `content` is what the page, the PDF and the mail read; `rows` holds the tables behind its figures.
    """
    month = Month(first, plant.zone)
    with timezone.override(plant.zone):
        book = book_of(plant, min(month.end, timezone.now()))
        now, before, year_ago = (month_data(plant, month.earlier(back), book.belts) for back in (0, 1, 12))
        year = compare_belts(book.belts, month.earlier(12).window, month.window, book.reference)
        decide, n_more = decisions(now, book, plant)
        counts = Counter(each.verdict for each in book.studies)
        count = count_of(book.studies)
        belts = belt_rates(book.belts, month)
        content = {
            "plant": plant.name,
            "month": f"{first:%Y-%m}",
            "month_name": month.name,
            "from": local(month.start, month),
            "until": local(month.end, month),
            "is_over": timezone.now() >= month.end,
            "time_zone": str(plant.zone),
            "opening": opening(decide, n_more),
            "lede": lede(year),
            "verdict": {"mark": year.answer, "words": str(ANSWER_WORDS[year.answer])},
            "decisions": decide,
            "n_more_decisions": n_more,
            "changes": changes(now, before, year, book, plant),
            "no_changes": no_changes(),
            "figures": figures(now, before, year_ago, plant),
            "trend": trend(book, month),
            "belts": [
                [each.belt.conveyor.tag, each.rate.n, plain(each.exposure_h), rate_words(each.rate)]
                for each in belts[:MOST_BELTS]
                if each.belt is not None and each.rate.n
            ],
            "verdicts": [
                {"mark": MARK_OF[verdict], "verdict": str(VERDICT_WORDS[verdict]), "n": counts[verdict]}
                for verdict in EffectVerdict
            ],
            "groups": verdict_groups(book),
            "groups_note": groups_note(pools_of(book.studies)),
            "standing": standing_words(standings_of(book.studies)),
            "counted": counted_words(count),
            "by_chance": chance_words(count),
            "code_version": code_version(),
        }
        return content, rows_behind(now, before, year_ago, book.belts, book.studies)


def compose_rows(plant: Plant, first: dt.date, key: str) -> tuple[list[dict[str, Any]], dict[str, Any] | None]:
    """Of what `compose` makes: one table, and the figures where it is one of them; without the rest of the month.

    Returns
    -------
    figures : list of dict
        Empty where the table is of no figure.
    table : dict or None
        None for a key that is not known.
    """
    month = Month(first, plant.zone)
    with timezone.override(plant.zone):
        name, suffix = figure_of(key)
        if name not in OF_FIGURE:
            return [], rows_today(plant, month, key)
        belts = belts_until(plant, month.end)
        beside = {each: month_data(plant, month.earlier(back), belts) for each, back in BACK.items()}
        told = figures(beside[""], beside[BEFORE], beside[YEAR_AGO], plant)
        return told, OF_FIGURE[name](beside[suffix])


def verdict_groups(book: Book) -> list[dict[str, Any]]:
    """Verdicts of the fleet, of each area and of each model, with the pooled answer of all that can be judged."""
    found = []
    pools = {(each.kind, each.name): each for each in pools_of(book.studies)}

    def add(kind: str, name: str, pooled_as: str, studies: list[Study], field: str) -> None:
        pool = pools.get((pooled_as, name if field else _("all")))
        counts = Counter(each.verdict for each in studies)
        found.append(
            {
                "kind": kind,
                "name": name,
                "field": field,
                "n": len(studies),
                "n_judged": pool.n if pool else 0,
                "counts": [
                    {"verdict": str(VERDICT_WORDS[verdict]), "n": counts[verdict]}
                    for verdict in (EffectVerdict.FEWER, EffectVerdict.MORE)
                ],
                "ratio": limits_words(pool.effects) if pool else _("none"),
                "plain": limits_words(pool.common) if pool else _("none"),
            }
        )

    add(_("fleet"), _("all"), _("fleet"), list(book.studies), "")
    for kind, field, name_of in (
        (_("area"), "area", lambda one: str(one.conveyor.area)),
        (_("model"), "model", model_of),
    ):
        for name in sorted({name_of(each) for each in book.studies}):
            add(kind, name, kind, [each for each in book.studies if name_of(each) == name], field)
    return found
