"""Figures of a month, gathered and computed for one plant: what a draft shows and what publication freezes.

Everything comes out as plain values that JSON can hold. Rows behind a figure go along with it, so that a published
month can always be opened down to the rows that it was made of.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
from collections import Counter
from dataclasses import asdict
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspections.models import Action
from installs.calc.specs import differences
from installs.models import DeviceModel, Installation, ModelSheet
from plant.calc.wording import full_stop
from plant.models import Plant
from reports.calc.indicators import INDICATORS, by_age
from reports.calc.rate_ratio import Verdict
from reports.calc.study_windows import Window
from reports.models import StudyNote, StudyWindow
from reports.selectors.month_data import BEFORE, YEAR_AGO, Month, MonthData, MonthSoFar, belt_rates, month_data
from reports.selectors.month_rows import (
    BACK,
    MONTHS_SHOWN,
    OF_FIGURE,
    belts_until,
    figure_of,
    local,
    model_of,
    rows_behind,
    rows_today,
)
from reports.selectors.pooled_effects import chance_words, count_of, pools_of, standing_words, standings_of
from reports.selectors.rate_watch import watch_of
from reports.selectors.rates import RateComparison, compare_belts, plant_rate
from reports.selectors.studies import Book, Study, book_of
from reports.words.pooled_effects import basis_words, counted_words, limits_words
from reports.words.verdicts import (
    ANSWER_WORDS,
    MARK_OF,
    VERDICT_WORDS,
    alarm_words,
    compared_words,
    in_hours,
    place_of,
    rate_words,
    verdict_words,
    watch_words,
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


# --- figures in words -------------------------------------------------------------------------------------------------
def plain(value: float, digits: int = 0) -> str:
    return number_format(round(value, digits), digits, force_grouping=True)


def percent(share: float | None) -> str:
    return _("none") if share is None else f"{plain(100 * share)} %"


def said(key: str, data: MonthData, plant: Plant) -> tuple[float | None, str]:
    """The figure of a month and how it reads."""
    if key == "incidents":
        rate = data.rate.rate
        return rate.per_1000_h, rate_words(rate)
    if key == "stop_minutes":
        return data.minutes, f"{plain(data.minutes)} min"
    if key == "spilled":
        return data.spilled_t, f"{plain(data.spilled_t, 1)} t"
    if key == "schedule_compliance":
        share = data.compliance.share
        return share, percent(share) if share is not None else _("no window closed")
    if key == "overdue":
        return float(len(data.late)), str(len(data.late))
    if key == "days_to_close":
        median = data.closing.median_days
        return median, _("none closed") if median is None else f"{plain(median, 1)} d"
    if key == "availability":
        share = data.availability.share
        if share is not None:
            return share, percent(share)
        return None, _("not known") if data.availability.in_place_days else _("no device in place")
    total = data.cost.total
    if total is None:
        return None, _("not stated")
    words = f"{plain(total)} {plant.currency}".strip()
    # A cost that is missing is not zero: the sum of the others is a lower bound.
    return total, _("at least %(sum)s") % {"sum": words} if data.cost.missing else words


def note_of(key: str, data: MonthData) -> str:
    """What stands beside the figure: counts behind it, and what is missing."""
    if key == "incidents":
        told = [
            _("%(n)s in %(hours)s h; hours known for %(share)s")
            % {
                "n": data.rate.rate.n,
                "hours": plain(data.rate.exposure_h),
                "share": percent(data.rate.coverage),
            }
        ]
        left_out = sum(not each.is_in_rate for each in data.incidents)
        if left_out:
            told.append(_("%(n)s more are not in the rate") % {"n": left_out})
        return "; ".join(told)
    if key == "stop_minutes":
        missing = sum(each.lacks_minutes for each in data.incidents)
        told = [ngettext("%(n)s trip without minutes", "%(n)s trips without minutes", missing) % {"n": missing}]
        if data.tonnes is not None:
            told.append(_("about %(t)s t not conveyed") % {"t": plain(data.tonnes)})
        without = {each.belt for each in data.incidents if each.minutes and each.tonnes_per_hour is None}
        if without:
            told.append(_("usual tonnage missing for %(n)s belts") % {"n": len(without)})
        return "; ".join(told)
    if key == "spilled":
        missing = sum(each.lacks_tonnes for each in data.incidents)
        return ngettext("%(n)s spill without tonnes", "%(n)s spills without tonnes", missing) % {"n": missing}
    if key == "schedule_compliance":
        counted = data.compliance.counted
        put_off = sum(bool(data.tasks[each].n_put_off) for each in counted)  # type: ignore[attr-defined]
        words = _("%(n)s of %(all)s, %(put_off)s of them put off before; %(out)s more put off to a later month")
        known = {"n": len(data.compliance.on_time), "all": len(counted), "put_off": put_off, "out": data.n_put_off_out}
        return words % known
    if key == "overdue":
        week, more, most = by_age(data.late)
        return _("up to 7 days %(a)s, 8 to 30 %(b)s, more %(c)s") % {"a": week, "b": more, "c": most}
    if key == "days_to_close":
        closing = data.closing
        oldest = (
            _("oldest open %(n)s d") % {"n": closing.oldest_open_days}
            if closing.oldest_open_days is not None
            else _("none open")
        )
        return _("%(n)s closed, %(open)s open, %(oldest)s") % {
            "n": closing.n_closed,
            "open": closing.n_open,
            "oldest": oldest,
        }
    if key == "availability":
        told = [
            _("%(lost)s of %(all)s device-days lost")
            % {"lost": plain(data.availability.lost_days), "all": plain(data.availability.in_place_days)}
        ]
        unknown = data.availability.unknown_days
        if unknown:
            told.append(_("%(n)s not known: no check done yet") % {"n": plain(unknown)})
        return "; ".join(told)
    names = {"stop_hours": _("an hour that a belt stands"), "spilled_t": _("a spilled tonne")}
    missing_costs = ", ".join(names[each] for each in data.cost.missing)
    told = [_("nobody gave the cost of %(what)s") % {"what": missing_costs}] if missing_costs else []
    unknown = sum(each.lacks_minutes for each in data.incidents) + sum(each.lacks_tonnes for each in data.incidents)
    if unknown:
        told.append(
            ngettext(
                "%(n)s incident without amount is not in it", "%(n)s incidents without amount are not in it", unknown
            )
            % {"n": unknown}
        )
    return "; ".join(told)


def figures(now: MonthData, before: MonthData, year_ago: MonthData, plant: Plant) -> list[dict[str, Any]]:
    found = []
    for key, each in INDICATORS.items():
        (value, words), (value_before, words_before), (value_then, words_then) = (
            said(key, data, plant) for data in (now, before, year_ago)
        )
        found.append(
            {
                **asdict(each),
                "value": value,
                "words": words,
                "note": note_of(key, now),
                "before": words_before,
                "before_value": value_before,
                "before_note": note_of(key, before),
                "year_ago": words_then,
                "year_ago_value": value_then,
                "year_ago_note": note_of(key, year_ago),
            }
        )
    return found


# --- decisions and changes --------------------------------------------------------------------------------------------
def decisions(data: MonthData, book: Book, plant: Plant) -> tuple[list[dict[str, Any]], int]:
    """What needs a decision, the most pressing first, and how many more there are than the page shows."""
    found: list[dict[str, Any]] = []

    def add(words: str, owner: str, due: dt.date | None, waiting: str, url: str) -> None:
        found.append({"words": words, "owner": owner, "due": str(due) if due else "", "waiting": waiting, "url": url})

    engineer, planner = _("reliability engineer"), _("planner")
    for one in book.studies:
        if one.verdict == Verdict.MORE and one.is_standing:
            rate = one.after.rate.per_1000_h or 0.0
            more = rate - (one.before.rate.per_1000_h or 0.0)
            add(
                _(
                    "%(place)s has more incidents than before: %(before)s, then %(after)s. Move it, remove it, or cure "
                    "the cause."
                )
                % {"place": place_of(one), "before": in_hours(one.before), "after": in_hours(one.after)},
                engineer,
                None,
                _("about %(n)s incidents more in 1000 running hours") % {"n": plain(more, 1)},
                reverse("effect-detail", args=[one.installation.pk]),
            )
    waiting_long = [each for each in data.late if each.days > LATE_DAYS]
    for each in waiting_long[:2]:
        task = data.tasks[each.key]
        add(
            _(
                "%(kind)s at %(place)s is late by %(n)s days. Give it a time when the belt stands, or decide that it "
                "is not needed."
            )
            % {"kind": task.check_kind, "place": task.installation, "n": each.days},
            planner,
            None,
            _("wear and loose fasteners go unseen"),
            reverse("task-detail", args=[each.key]),
        )
    late_actions = sorted(
        (each for each in data.actions if each.due_on <= data.month.last and not done_by(each, data.month)),
        key=lambda each: each.due_on,
    )
    for each in late_actions[:2]:
        add(
            _("“%(title)s” at %(place)s was due.") % {"title": each.title, "place": each.installation},
            str(each.owner or _("nobody yet; a planner gives it to somebody")),
            each.due_on,
            _("%(n)s days so far") % {"n": (data.month.last - each.due_on).days},
            each.get_absolute_url(),
        )
    if data.cost.missing:
        add(
            _("The cost of mistracking cannot be told: unit costs are missing."),
            planner,
            None,
            _("no figure to weigh measures against"),
            reverse("plant-settings"),
        )
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
        add(
            _("The plant: %(answer)s than in the same month a year ago; %(now)s per 1000 h, then %(then)s.")
            % {
                "answer": ANSWER_WORDS[year.answer],
                "now": rate_words(year.later.rate),
                "then": rate_words(year.earlier.rate),
            },
            year.later.url,
        )
    share, share_before = data.availability.share, before.availability.share
    if share is not None and share_before is not None and percent(share) != percent(share_before):
        add(
            _("%(name)s: %(now)s, in the month before %(then)s.")
            % {"name": INDICATORS["availability"].name, "now": percent(share), "then": percent(share_before)}
        )
    for now, then in book.changed_since(month.start):
        add(
            _("%(place)s: %(then)s a month ago, now %(now)s (%(counts)s).")
            % {
                "place": place_of(now),
                "then": verdict_words(then),
                "now": verdict_words(now),
                "counts": _("%(before)s before, %(after)s after")
                % {"before": in_hours(now.before), "after": in_hours(now.after)},
            },
            reverse("effect-detail", args=[now.installation.pk]),
        )
    year_before = Window(month.earlier(12).start, month.start)
    for belt in book.belts:
        each = compare_belts([belt], year_before, month.window, book.reference, level=CHANGE_LEVEL)
        if each.answer in {"fewer", "more"}:
            add(
                _("%(tag)s: %(now)s incidents per 1000 h this month, %(then)s in the twelve months before.")
                % {
                    "tag": belt.conveyor.tag,
                    "now": rate_words(each.later.rate),
                    "then": rate_words(each.earlier.rate),
                },
                each.later.url,
            )
    watch = watch_of(book)
    fresh = [each for each in watch.fading if each.alarm_at >= month.start]
    for each in fresh:
        add(
            _("%(place)s: %(alarm)s; it came on %(day)s.")
            % {"place": place_of(each.study), "alarm": alarm_words(each), "day": day_words(each.alarm_at, month)},
            reverse("effect-detail", args=[each.study.installation.pk]),
        )
    if fresh:
        add(_("Alarms of the rate watch at the end of the month: %(words)s") % {"words": watch_words(watch)})
    fitted = Installation.objects.of_plant(plant).select_related("conveyor", "device")
    for each in fitted.filter(installed_at__gte=month.start, installed_at__lt=month.end):
        add(_("%(device)s fitted on %(day)s.") % {"device": each, "day": day_words(each.installed_at, month)})
    for each in fitted.filter(removed_at__gte=month.start, removed_at__lt=month.end):
        add(
            _("%(device)s removed on %(day)s: %(why)s")
            % {"device": each, "day": day_words(each.removed_at, month), "why": full_stop(each.removal_reason)}
        )
    # As it read at the end of the month: what was put right or taken back later was still said then.
    notes = StudyNote.objects.filter(
        Q(corrected_by__isnull=True) | Q(corrected_by__created_at__gte=month.end),
        installation__plant=plant,
        is_withdrawn=False,
        created_at__gte=month.start,
        created_at__lt=month.end,
    ).select_related("installation__conveyor", "installation__device", "created_by")
    for each in notes.order_by("created_at"):
        add(
            _("Note on %(device)s by %(who)s: %(text)s")
            % {"device": each.installation, "who": each.created_by, "text": each.text},
            reverse("effect-detail", args=[each.installation_id]),
        )
    told.extend(method_changes(plant, month))
    return told


def day_words(at: dt.datetime, month: Month) -> str:
    return date_format(at.astimezone(month.zone).date(), "j M")


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
                label = Plant._meta.get_field(name).verbose_name
                shown = [_("not stated") if value in (None, "") else str(value) for value in (was, now)]
                words = _("Method: “%(label)s” was %(was)s, is %(now)s since %(day)s.") % {
                    "label": label,
                    "was": shown[0],
                    "now": shown[1],
                    "day": day_words(newer.history_date, month),
                }
                told.append({"words": words, "url": ""})
    chosen = StudyWindow.objects.filter(
        installation__plant=plant, created_at__gte=month.start, created_at__lt=month.end
    ).select_related("installation__conveyor", "installation__device")
    for each in chosen:
        told.append(
            {
                "words": _("Method: other windows were set for %(device)s by %(who)s: %(why)s")
                % {"device": each.installation, "who": each.created_by, "why": each.reason},
                "url": reverse("effect-detail", args=[each.installation_id]),
            }
        )
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
            words = _(
                "Method: sheet %(n)s of %(model)s holds for devices fitted since %(day)s (%(what)s); those that stood "
                "keep theirs."
            )
            known = {
                "n": sheet.number,
                "model": sheet.device_model,
                "day": day_words(sheet.created_at, month),
                "what": ", ".join(names),
            }
            told.append({"words": words % known, "url": sheet.device_model.get_absolute_url()})
    history = Installation.history.filter(plant=plant, history_date__lt=month.end, history_date__gte=month.start)
    for row in history.order_by("history_date", "history_id"):
        before = row.prev_record
        if before is not None and before.sheet_id != row.sheet_id and row.sheet_id is not None:
            words = _("Method: %(device)s is held against sheet %(n)s since %(day)s: %(why)s")
            known = {
                "device": row.instance,
                "n": row.sheet.number,
                "day": day_words(row.history_date, month),
                "why": full_stop(row.history_change_reason or ""),
            }
            told.append({"words": words % known, "url": row.instance.get_absolute_url()})
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
            "no_changes": _(
                "No change to tell of: the plant against a year ago and each belt against the twelve months before "
                "are within chance, no verdict is another one, and no device, alarm, note or rule is new"
            ),
            "figures": figures(now, before, year_ago, plant),
            "trend": trend(book, month),
            "belts": [
                [each.belt.conveyor.tag, each.rate.n, plain(each.exposure_h), rate_words(each.rate)]
                for each in belts[:MOST_BELTS]
                if each.belt is not None and each.rate.n
            ],
            "verdicts": [
                {"mark": MARK_OF[verdict], "verdict": str(VERDICT_WORDS[verdict]), "n": counts[verdict]}
                for verdict in Verdict
            ],
            "groups": verdict_groups(book),
            "groups_note": groups_note(book),
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
                    for verdict in (Verdict.FEWER, Verdict.MORE)
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


def groups_note(book: Book) -> str:
    """What the pooled answers are of."""
    pools = pools_of(book.studies)
    if not pools:
        return _("No comparison can be judged, so none is pooled.")
    return _("Of all comparisons that can be judged, with the 95 %% interval; devices taken away are in. %(basis)s") % {
        "basis": basis_words(pools[0])
    }


def opening(decide: list[dict[str, Any]], n_more: int) -> str:
    """The first thing that the report says."""
    n = len(decide) + n_more
    if not n:
        return _("Nothing needs a decision.")
    return ngettext("%(n)s thing needs a decision.", "%(n)s things need a decision.", n) % {"n": n}


def lede(year: RateComparison) -> str:
    """The month's rate and that of the same month a year ago."""
    here, then = year.later, year.earlier
    if here.rate.per_1000_h is None:
        return _("No running hours are in the book for this month, so no rate can be told.")
    words = _("%(rate)s incidents per 1000 running hours: %(n)s in %(hours)s h.") % {
        "rate": rate_words(here.rate),
        "n": here.rate.n,
        "hours": plain(here.exposure_h),
    }
    if year.ratio.ratio is None:
        return f"{words} {_('For the same month a year ago no rate is known.')}"
    return f"{words} " + _("In the same month a year ago %(rate)s: %(n)s in %(hours)s h. Ratio %(ratio)s.") % {
        "rate": rate_words(then.rate),
        "n": then.rate.n,
        "hours": plain(then.exposure_h),
        "ratio": compared_words(year),
    }
