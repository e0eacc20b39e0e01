"""The month in words: its figures and what stands beside them, what needs a decision, what changed."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inspections.models import Action, Task
from installs.models import Installation, ModelSheet
from plant.calc.units import QuantityKind, UnitSystem, format_quantity, unit_label
from plant.calc.wording import full_stop
from plant.models import Plant
from reports.calc.indicators import IndicatorKey, by_age
from reports.calc.verdicts import EffectVerdict
from reports.models import StudyNote, StudyWindow
from reports.selectors.month_data import Month, MonthData
from reports.selectors.month_rows import local
from reports.selectors.months import (
    ChangeRule,
    DecisionRule,
    MonthChange,
    MonthFound,
    PendingDecision,
    VerdictGroup,
    code_version,
)
from reports.selectors.pooled_effects import Pool, PoolKind, count_of, standings_of
from reports.selectors.rate_watch import Fading, FleetWatch
from reports.selectors.rates import RateComparison
from reports.selectors.studies import Study
from reports.words.indicators import INDICATORS
from reports.words.pooled_effects import (
    KIND_WORDS,
    basis_words,
    chance_words,
    counted_words,
    limits_words,
    standing_words,
)
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

MOST_BELTS = 8
# With these a name is found again in a month that was frozen.
NOTE_WRITTEN = gettext_lazy("Note on %(device)s by %(who)s: %(text)s")
WINDOWS_SET = gettext_lazy("Method: other windows were set for %(device)s by %(who)s: %(why)s")


# --- figures in words -------------------------------------------------------------------------------------------------
def plain(value: float, digits: int = 0) -> str:
    return number_format(round(value, digits), digits, force_grouping=True)


def percent(share: float | None) -> str:
    return _("none") if share is None else f"{plain(100 * share)} %"


def tonnes_words(tonnes: float, system: UnitSystem, digits: int = 0) -> str:
    """In the reader's unit; a decimal where it would read 0."""
    written = format_quantity(tonnes, QuantityKind.TONNES, system, digits=digits)
    if tonnes and not digits and written.startswith("0 "):
        written = format_quantity(tonnes, QuantityKind.TONNES, system, digits=1)
    return written


def said(
    key: IndicatorKey, data: MonthData, plant: Plant, system: UnitSystem = UnitSystem.METRIC
) -> tuple[float | None, str]:
    """The figure of a month and how it reads."""
    if key == IndicatorKey.INCIDENTS:
        rate = data.rate.rate
        return rate.per_1000_h, rate_words(rate)
    if key == IndicatorKey.STOP_MINUTES:
        return data.minutes, f"{plain(data.minutes)} min"
    if key == IndicatorKey.SPILLED:
        return data.spilled_t, tonnes_words(data.spilled_t, system, digits=1)
    if key == IndicatorKey.SCHEDULE_COMPLIANCE:
        share = data.compliance.share
        return share, percent(share) if share is not None else _("no window closed")
    if key == IndicatorKey.OVERDUE:
        return float(len(data.late)), str(len(data.late))
    if key == IndicatorKey.DAYS_TO_CLOSE:
        median = data.closing.median_days
        return median, _("none closed") if median is None else f"{plain(median, 1)} d"
    if key == IndicatorKey.AVAILABILITY:
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


def incidents_note(data: MonthData) -> str:
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


def minutes_note(data: MonthData, system: UnitSystem = UnitSystem.METRIC) -> str:
    missing = sum(each.lacks_minutes for each in data.incidents)
    told = [ngettext("%(n)s trip without minutes", "%(n)s trips without minutes", missing) % {"n": missing}]
    if data.tonnes is not None:
        told.append(_("about %(tonnes)s not conveyed") % {"tonnes": tonnes_words(data.tonnes, system)})
    without = {each.belt for each in data.incidents if each.minutes and each.tonnes_per_hour is None}
    if without:
        told.append(_("usual tonnage missing for %(n)s belts") % {"n": len(without)})
    return "; ".join(told)


def spilled_note(data: MonthData) -> str:
    missing = sum(each.lacks_tonnes for each in data.incidents)
    return ngettext("%(n)s spill without tonnes", "%(n)s spills without tonnes", missing) % {"n": missing}


def compliance_note(data: MonthData) -> str:
    counted = data.compliance.counted
    put_off = sum(bool(data.tasks[each].n_put_off) for each in counted)  # type: ignore[attr-defined]
    words = _("%(n)s of %(all)s, %(put_off)s of them put off before; %(out)s more put off to a later month")
    known = {"n": len(data.compliance.on_time), "all": len(counted), "put_off": put_off, "out": data.n_put_off_out}
    return words % known


def overdue_note(data: MonthData) -> str:
    week, more, most = by_age(data.late)
    return _("up to 7 days %(a)s, 8 to 30 %(b)s, more %(c)s") % {"a": week, "b": more, "c": most}


def closing_note(data: MonthData) -> str:
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


def availability_note(data: MonthData) -> str:
    told = [
        _("%(lost)s of %(all)s device-days lost")
        % {"lost": plain(data.availability.lost_days), "all": plain(data.availability.in_place_days)}
    ]
    unknown = data.availability.unknown_days
    if unknown:
        told.append(_("%(n)s not known: no check done yet") % {"n": plain(unknown)})
    return "; ".join(told)


def cost_note(data: MonthData) -> str:
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


NOTES: dict[IndicatorKey, Callable[[MonthData], str]] = {
    IndicatorKey.INCIDENTS: incidents_note,
    IndicatorKey.STOP_MINUTES: minutes_note,
    IndicatorKey.SPILLED: spilled_note,
    IndicatorKey.SCHEDULE_COMPLIANCE: compliance_note,
    IndicatorKey.OVERDUE: overdue_note,
    IndicatorKey.DAYS_TO_CLOSE: closing_note,
    IndicatorKey.AVAILABILITY: availability_note,
    IndicatorKey.COST: cost_note,
}


def note_of(key: IndicatorKey, data: MonthData, system: UnitSystem = UnitSystem.METRIC) -> str:
    """What stands beside the figure: counts behind it, and what is missing."""
    return minutes_note(data, system) if key == IndicatorKey.STOP_MINUTES else NOTES[key](data)


def read_in(figure: Mapping[str, Any], system: UnitSystem) -> dict[str, Any]:
    """A figure that a month keeps, as a person of this system reads it: an edition is one for all, words are not."""
    return {**figure, **(figure.get("us", {}) if system is UnitSystem.US else {})}


def in_us_units(
    key: IndicatorKey, now: MonthData, before: MonthData, year_ago: MonthData, plant: Plant
) -> dict[str, str]:
    """What a figure says in US units where that differs, by the names that the figure keeps."""
    told = {}
    for data, words, note in (
        (now, "words", "note"),
        (before, "before", "before_note"),
        (year_ago, "year_ago", "year_ago_note"),
    ):
        told[words] = (said(key, data, plant)[1], said(key, data, plant, UnitSystem.US)[1])
        told[note] = (note_of(key, data), note_of(key, data, UnitSystem.US))
    if key == IndicatorKey.SPILLED:
        metric, us = (unit_label(QuantityKind.TONNES, system) for system in (UnitSystem.METRIC, UnitSystem.US))
        told["unit"] = (metric, us)
    return {name: us for name, (metric, us) in told.items() if us != metric}


def figures(now: MonthData, before: MonthData, year_ago: MonthData, plant: Plant) -> list[dict[str, Any]]:
    found = []
    for key, each in INDICATORS.items():
        (value, words), (value_before, words_before), (value_then, words_then) = (
            said(key, data, plant) for data in (now, before, year_ago)
        )
        found.append(
            {
                **{name: str(text) for name, text in asdict(each).items()},
                "value": value,
                "words": words,
                "note": note_of(key, now),
                "before": words_before,
                "before_value": value_before,
                "before_note": note_of(key, before),
                "year_ago": words_then,
                "year_ago_value": value_then,
                "year_ago_note": note_of(key, year_ago),
                "us": in_us_units(key, now, before, year_ago, plant),
            }
        )
    return found


# --- what needs a decision: the sentence, and what goes on while nobody decides ---------------------------------------
def more_than_before(one: Study, more: float) -> tuple[str, str]:
    """A device with more incidents than before; so many more in 1000 running hours."""
    words = _(
        "%(place)s has more incidents than before: %(before)s, then %(after)s. Move it, remove it, or cure the cause."
    )
    known = {"place": place_of(one), "before": in_hours(one.before), "after": in_hours(one.after)}
    return words % known, _("about %(n)s incidents more in 1000 running hours") % {"n": plain(more, 1)}


def check_is_late(task: Task, days: int) -> tuple[str, str]:
    words = _(
        "%(kind)s at %(place)s is late by %(n)s days. Give it a time when the belt stands, or decide that it is not "
        "needed."
    )
    known = {"kind": task.check_kind, "place": task.installation, "n": days}
    return words % known, _("what this check would find goes unseen")


def action_is_late(action: Action, days: int) -> tuple[str, str]:
    words = _("“%(title)s” at %(place)s was due.") % {"title": action.title, "place": action.installation}
    return words, _("%(n)s days so far") % {"n": days}


def owner_words(action: Action) -> str:
    return str(action.owner or _("nobody yet; a planner gives it to somebody"))


def costs_are_missing() -> tuple[str, str]:
    words = _("The cost of mistracking cannot be told: unit costs are missing.")
    return words, _("no figure to weigh measures against")


DECISION_WORDS: dict[DecisionRule, Callable[..., tuple[str, str]]] = {
    DecisionRule.MORE_THAN_BEFORE: more_than_before,
    DecisionRule.CHECK_IS_LATE: check_is_late,
    DecisionRule.ACTION_IS_LATE: action_is_late,
    DecisionRule.COSTS_ARE_MISSING: costs_are_missing,
}


def decision_told(decision: PendingDecision) -> dict[str, Any]:
    """A decision with its owner and what waiting costs, as plain values."""
    words, waiting = DECISION_WORDS[decision.rule](*decision.about)
    due = str(decision.due) if decision.due else ""
    return {"words": words, "owner": decided_by(decision), "due": due, "waiting": waiting, "url": decision.url}


def decided_by(decision: PendingDecision) -> str:
    if decision.rule == DecisionRule.ACTION_IS_LATE:
        return owner_words(decision.about[0])
    return _("reliability engineer") if decision.rule == DecisionRule.MORE_THAN_BEFORE else _("planner")


def opening(decide: Sequence[Any], n_more: int) -> str:
    """The first thing that the report says."""
    n = len(decide) + n_more
    if not n:
        return _("Nothing needs a decision.")
    return ngettext("%(n)s thing needs a decision.", "%(n)s things need a decision.", n) % {"n": n}


# --- what changed -----------------------------------------------------------------------------------------------------
def day_words(at: dt.datetime, month: Month) -> str:
    return date_format(at.astimezone(month.zone).date(), "j M")


def no_changes() -> str:
    return _(
        "No change to tell of: the plant against a year ago and each belt against the twelve months before are within "
        "chance, no verdict is another one, and no device, alarm, note or rule is new"
    )


def plant_changed(year: RateComparison) -> str:
    return _("The plant: %(answer)s than in the same month a year ago; %(now)s per 1000 h, then %(then)s.") % {
        "answer": ANSWER_WORDS[year.answer],
        "now": rate_words(year.later.rate),
        "then": rate_words(year.earlier.rate),
    }


def availability_changed(now: float, then: float) -> str:
    """Of two shares."""
    return _("%(name)s: %(now)s, in the month before %(then)s.") % {
        "name": INDICATORS[IndicatorKey.AVAILABILITY].name,
        "now": percent(now),
        "then": percent(then),
    }


def verdict_changed(now: Study, then: Study) -> str:
    return _("%(place)s: %(then)s a month ago, now %(now)s (%(counts)s).") % {
        "place": place_of(now),
        "then": verdict_words(then),
        "now": verdict_words(now),
        "counts": _("%(before)s before, %(after)s after")
        % {"before": in_hours(now.before), "after": in_hours(now.after)},
    }


def belt_changed(tag: str, compared: RateComparison) -> str:
    return _("%(tag)s: %(now)s incidents per 1000 h this month, %(then)s in the twelve months before.") % {
        "tag": tag,
        "now": rate_words(compared.later.rate),
        "then": rate_words(compared.earlier.rate),
    }


def alarm_came(fading: Fading, month: Month) -> str:
    return _("%(place)s: %(alarm)s; it came on %(day)s.") % {
        "place": place_of(fading.study),
        "alarm": alarm_words(fading),
        "day": day_words(fading.alarm_at, month),
    }


def alarms_at_the_end(watch: FleetWatch) -> str:
    return _("Alarms of the rate watch at the end of the month: %(words)s") % {"words": watch_words(watch)}


def device_fitted(place: Installation, month: Month) -> str:
    return _("%(device)s fitted on %(day)s.") % {"device": place, "day": day_words(place.installed_at, month)}


def device_removed(place: Installation, month: Month) -> str:
    assert place.removed_at is not None
    return _("%(device)s removed on %(day)s: %(why)s") % {
        "device": place,
        "day": day_words(place.removed_at, month),
        "why": full_stop(place.removal_reason),
    }


def note_written(note: StudyNote) -> str:
    return str(NOTE_WRITTEN % {"device": note.installation, "who": note.created_by, "text": note.text})


def rule_changed(label: str, was: Any, now: Any, at: dt.datetime, month: Month) -> str:
    """Of a number of the plant that figures are made with."""
    shown = [_("not stated") if value in (None, "") else str(value) for value in (was, now)]
    return _("Method: “%(label)s” was %(was)s, is %(now)s since %(day)s.") % {
        "label": label,
        "was": shown[0],
        "now": shown[1],
        "day": day_words(at, month),
    }


def windows_set(chosen: StudyWindow) -> str:
    return str(
        WINDOWS_SET
        % {
            "device": chosen.installation,
            "who": chosen.created_by,
            "why": chosen.reason,
        }
    )


def sheet_changed(sheet: ModelSheet, names: list[str], fasteners: bool, month: Month) -> str:
    """Names: what on the sheet is another one, and whether a fastener is."""
    words = _(
        "Method: sheet %(n)s of %(model)s holds for devices fitted since %(day)s (%(what)s); those that stood keep "
        "theirs."
    )
    return words % {
        "n": sheet.number,
        "model": sheet.device_model,
        "day": day_words(sheet.created_at, month),
        "what": ", ".join([*names, *([_("fasteners")] if fasteners else [])]),
    }


def sheet_taken_over(row: Any, month: Month) -> str:
    """Of a row of an installation's history."""
    return _("Method: %(device)s is held against sheet %(n)s since %(day)s: %(why)s") % {
        "device": row.instance,
        "n": row.sheet.number,
        "day": day_words(row.history_date, month),
        "why": full_stop(row.history_change_reason or ""),
    }


CHANGE_WORDS: dict[ChangeRule, Callable[..., str]] = {
    ChangeRule.PLANT: plant_changed,
    ChangeRule.AVAILABILITY: availability_changed,
    ChangeRule.VERDICT: verdict_changed,
    ChangeRule.BELT: belt_changed,
    ChangeRule.ALARM: alarm_came,
    ChangeRule.ALARMS_AT_THE_END: alarms_at_the_end,
    ChangeRule.FITTED: device_fitted,
    ChangeRule.REMOVED: device_removed,
    ChangeRule.NOTE: note_written,
    ChangeRule.RULE: rule_changed,
    ChangeRule.WINDOWS: windows_set,
    ChangeRule.SHEET: sheet_changed,
    ChangeRule.SHEET_TAKEN_OVER: sheet_taken_over,
}


def change_told(change: MonthChange) -> dict[str, str]:
    return {"words": CHANGE_WORDS[change.rule](*change.about), "url": change.url}


# --- the whole --------------------------------------------------------------------------------------------------------
def groups_note(pools: Sequence[Pool]) -> str:
    """What the pooled answers are of."""
    if not pools:
        return _("No comparison can be judged, so none is pooled.")
    return _("Of all comparisons that can be judged, with the 95 %% interval; devices taken away are in. %(basis)s") % {
        "basis": basis_words(pools[0])
    }


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


def group_told(group: VerdictGroup) -> dict[str, Any]:
    """A group of comparisons as plain values."""
    pool = group.pool
    return {
        "kind": str(KIND_WORDS[group.kind]),
        "name": group.name or _("all"),
        "field": "" if group.kind == PoolKind.FLEET else str(group.kind),
        "n": group.n,
        "n_judged": pool.n if pool else 0,
        "counts": [
            {"verdict": str(VERDICT_WORDS[verdict]), "n": group.counts[verdict]}
            for verdict in (EffectVerdict.FEWER, EffectVerdict.MORE)
        ],
        "ratio": limits_words(pool.effects) if pool else _("none"),
        "plain": limits_words(pool.common) if pool else _("none"),
    }


def content_of(found: MonthFound) -> dict[str, Any]:
    """What page, PDF and mail of a month read, as plain values that JSON can hold."""
    month, studies = found.month, found.book.studies
    counts = Counter(each.verdict for each in studies)
    count = count_of(studies)
    return {
        "plant": found.plant.name,
        "month": f"{month.first:%Y-%m}",
        "month_name": month.name,
        "from": local(month.start, month),
        "until": local(month.end, month),
        "is_over": found.is_over,
        "time_zone": str(found.plant.zone),
        "opening": opening(found.decisions, found.n_more_decisions),
        "lede": lede(found.year),
        "verdict": {"mark": found.year.answer, "words": str(ANSWER_WORDS[found.year.answer])},
        "decisions": [decision_told(each) for each in found.decisions],
        "n_more_decisions": found.n_more_decisions,
        "changes": [change_told(each) for each in found.changes],
        "no_changes": no_changes(),
        "figures": figures(found.now, found.before, found.year_ago, found.plant),
        "trend": found.trend,
        "belts": [
            [each.belt.conveyor.tag, each.rate.n, plain(each.exposure_h), rate_words(each.rate)]
            for each in found.belts[:MOST_BELTS]
            if each.belt is not None and each.rate.n
        ],
        "verdicts": [
            {"mark": MARK_OF[verdict], "verdict": str(VERDICT_WORDS[verdict]), "n": counts[verdict]}
            for verdict in EffectVerdict
        ],
        "groups": [group_told(each) for each in found.groups],
        "groups_note": groups_note([each.pool for each in found.groups if each.pool is not None]),
        "standing": standing_words(standings_of(studies)),
        "counted": counted_words(count),
        "by_chance": chance_words(count),
        "code_version": code_version(),
    }
