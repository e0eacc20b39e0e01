"""Columns of the list of comparisons, once for the page and the files."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.html import format_html, format_html_join
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.selectors.tasks import CheckState
from plant.tables.columns import NUMBER, MomentColumn, RegisterTable
from plant.words.marks import mark
from plant.words.moments import day_of
from reports.calc.empirical_bayes import EffectIndex
from reports.calc.verdicts import EffectVerdict
from reports.charts.forest import forest_row, forest_ticks
from reports.selectors.pooled_effects import VerdictStanding
from reports.selectors.rate_watch import Fading
from reports.selectors.studies import Study
from reports.words.study_windows import left_out_words
from reports.words.verdicts import (
    act_words,
    chosen_words,
    in_hours,
    limit_words,
    one,
    q_words,
    ratio_words,
    reasons_words,
    sound_words,
    verdict_mark,
    verdict_words,
)

VERDICTS_BY_WEIGHT = (
    EffectVerdict.FEWER,
    EffectVerdict.MORE,
    EffectVerdict.CHANGES_LITTLE,
    EffectVerdict.NO_CLEAR_CHANGE,
    EffectVerdict.TOO_FEW,
    EffectVerdict.TOO_EARLY,
    EffectVerdict.CANNOT_BE_JUDGED,
)
UNSTATED = 1e9  # sorts rows without a ratio behind those with one


@dataclass(frozen=True)
class EffectRow:
    """One comparison as the list and its files show it."""

    study: Study
    standing: VerdictStanding | None = None
    fading: Fading | None = None
    acts: tuple[CheckState, ...] = ()
    chance: float | None = None  # of an alarm by chance, of what is under watch

    @property
    def q(self) -> float:
        return UNSTATED if self.standing is None else self.standing.q

    @property
    def tag(self) -> str:
        return self.study.conveyor.tag

    @property
    def devices(self) -> str:
        return " + ".join(each.device.number for each in self.study.members)

    @property
    def models(self) -> str:
        return ", ".join(sorted({each.device.device_model.name for each in self.study.members}))

    @property
    def url(self) -> str:
        return reverse("effect-detail", args=[self.study.installation.pk])

    @property
    def rank(self) -> tuple[int, float]:
        """Fewer first, then more, and what cannot be judged last; within a verdict by the ratio."""
        return VERDICTS_BY_WEIGHT.index(self.study.verdict), self.ratio

    @property
    def ratio(self) -> float:
        return UNSTATED if self.study.ratio.ratio is None else self.study.ratio.ratio

    def of_answer(self, name: str, figure: str) -> float | str:
        """A figure of another answer, for the files."""
        index = getattr(self.study.answers, name, None)
        return "" if index is None else number(getattr(index, figure))

    @property
    def mid_p_low(self) -> float | str:
        return number(self.study.ratio.mid_p_low)

    @property
    def mid_p_high(self) -> float | str:
        return number(self.study.ratio.mid_p_high)

    @property
    def p_central(self) -> float | str:
        return number(self.study.ratio.p_central, 6)

    @property
    def compared_ratio(self) -> float | str:
        return self.of_answer("compared", "ratio")

    @property
    def compared_low(self) -> float | str:
        return self.of_answer("compared", "low")

    @property
    def compared_high(self) -> float | str:
        return self.of_answer("compared", "high")

    @property
    def shrunk_ratio(self) -> float | str:
        return self.of_answer("shrunk", "ratio")

    @property
    def shrunk_low(self) -> float | str:
        return self.of_answer("shrunk", "low")

    @property
    def shrunk_high(self) -> float | str:
        return self.of_answer("shrunk", "high")

    @property
    def limit_low(self) -> float | str:
        """One-sided, of the answer that decides beside the counts."""
        index = deciding(self.study)
        return "" if index is None else number(index.low_one_sided)

    @property
    def limit_high(self) -> float | str:
        index = deciding(self.study)
        return "" if index is None else number(index.high_one_sided)

    @property
    def at_act(self) -> str:
        return "; ".join(act_words(each) for each in self.acts)

    @property
    def windows_set_on(self) -> Any:
        return "" if self.study.chosen is None else self.study.chosen.created_at

    @property
    def windows_set_by(self) -> str:
        return "" if self.study.chosen is None else str(self.study.chosen.created_by or "")

    @property
    def sound_until(self) -> Any:
        failure = self.study.failure
        return "" if failure is None or self.study.sound is None else failure.sound_until

    @property
    def part_found_failed(self) -> Any:
        return "" if self.study.failure is None else self.study.failure.found_at

    def of_sound(self, figure: str) -> Any:
        """A figure of the comparison while the parts were sound, for the files."""
        sound = self.study.sound
        if sound is None:
            return ""
        known = {"n": sound.after.n, "hours": round(sound.after.hours, 1), "verdict": verdict_words(sound)}
        known |= {"ratio": number(sound.ratio.ratio), "low": number(sound.ratio.low), "high": number(sound.ratio.high)}
        return known[figure]

    @property
    def sound_n_after(self) -> Any:
        return self.of_sound("n")

    @property
    def sound_hours_after(self) -> Any:
        return self.of_sound("hours")

    @property
    def sound_ratio(self) -> Any:
        return self.of_sound("ratio")

    @property
    def sound_low(self) -> Any:
        return self.of_sound("low")

    @property
    def sound_high(self) -> Any:
        return self.of_sound("high")

    @property
    def sound_verdict(self) -> Any:
        return self.of_sound("verdict")

    @property
    def left_out(self) -> str:
        return "; ".join(
            f"{day_of(each.window.start)} to {day_of(each.window.end)}: {each.n} in {each.running_h:.0f} h, "
            f"{left_out_words(each.reason)}"
            for each in self.study.left_out
        )

    @property
    def rate_before(self) -> float:
        return self.study.before.rate.per_1000_h or 0.0

    @property
    def rate_after(self) -> float:
        return self.study.after.rate.per_1000_h or 0.0


def deciding(study: Study) -> EffectIndex | None:
    """The answer that has to agree with the counts."""
    answers = study.answers
    return None if answers is None else answers.shrunk or answers.compared


def number(value: float | None, digits: int = 4) -> float | str:
    """A figure in a file: rounded, empty where there is none or no limit."""
    return "" if value is None or math.isinf(value) else round(value, digits)


class ForestColumn(tables.Column):
    """The drawing of a ratio."""

    def render(self, record: EffectRow) -> str:
        shrunk = record.study.answers.shrunk if record.study.answers else None
        return render_to_string("reports/_forest.html", {"row": forest_row(record.study.ratio, shrunk)})


class EffectTable(RegisterTable):
    installation = tables.Column(verbose_name=gettext_lazy("Installation"), accessor="tag", order_by=("tag", "devices"))
    models = tables.Column(
        verbose_name=gettext_lazy("Model"), attrs={"th": {"class": "model-cell"}, "td": {"class": "model-cell"}}
    )
    before = tables.Column(
        verbose_name=gettext_lazy("Before, per 1000 h"),
        accessor="study__before",
        order_by=("rate_before",),
        attrs=NUMBER,
    )
    after = tables.Column(
        verbose_name=gettext_lazy("After, per 1000 h"), accessor="study__after", order_by=("rate_after",), attrs=NUMBER
    )
    forest = ForestColumn(
        verbose_name=gettext_lazy("Ratio after / before, fewer to the left"),
        empty_values=(),
        orderable=False,
        accessor="study",
        exclude_from_export=True,
        attrs={"th": {"class": "forest-cell"}, "td": {"class": "forest-cell"}},
    )
    ratio = tables.Column(verbose_name=gettext_lazy("Ratio (95 %)"), attrs=NUMBER)
    verdict = tables.Column(
        verbose_name=gettext_lazy("Verdict"),
        accessor="study__judgement__verdict",
        order_by=("rank",),
        attrs={"th": {"class": "verdict-cell"}, "td": {"class": "verdict-cell"}},
    )
    q = tables.Column(
        verbose_name=gettext_lazy("Among all"),
        order_by=("q",),
        attrs={"th": {"class": "q-cell"}, "td": {"class": "q-cell"}},
    )
    # In the files only: one figure a column.
    n_before = tables.Column(accessor="study__before__n", visible=False)
    hours_before = tables.Column(accessor="study__before__hours", visible=False)
    coverage_before = tables.Column(accessor="study__before__exposure__coverage", visible=False)
    n_after = tables.Column(accessor="study__after__n", visible=False)
    hours_after = tables.Column(accessor="study__after__hours", visible=False)
    coverage_after = tables.Column(accessor="study__after__exposure__coverage", visible=False)
    ratio_low = tables.Column(accessor="study__ratio", visible=False)
    ratio_high = tables.Column(accessor="study__ratio", visible=False)
    hours_needed = tables.Column(accessor="study__judgement__hours_needed", visible=False)
    before_from = MomentColumn(accessor="study__before__window__start", visible=False)
    before_until = MomentColumn(accessor="study__before__window__end", visible=False)
    after_from = MomentColumn(accessor="study__after__window__start", visible=False)
    after_until = MomentColumn(accessor="study__after__window__end", visible=False)
    reasons = tables.Column(accessor="study__judgement__reasons", visible=False)
    mid_p_low = tables.Column(visible=False)
    mid_p_high = tables.Column(visible=False)
    p_central = tables.Column(visible=False)
    compared_ratio = tables.Column(visible=False)
    compared_low = tables.Column(visible=False)
    compared_high = tables.Column(visible=False)
    shrunk_ratio = tables.Column(visible=False)
    shrunk_low = tables.Column(visible=False)
    shrunk_high = tables.Column(visible=False)
    p_widened = tables.Column(accessor="q", visible=False)
    dispersion = tables.Column(accessor="q", visible=False)
    stands = tables.Column(accessor="q", visible=False)
    fading_since = tables.Column(accessor="q", visible=False)
    chance_of_alarm = tables.Column(accessor="q", visible=False)
    left_out = tables.Column(visible=False)
    limit_low = tables.Column(visible=False)
    limit_high = tables.Column(visible=False)
    at_act = tables.Column(visible=False)
    windows_set_on = MomentColumn(visible=False)
    windows_set_by = tables.Column(visible=False)
    part_found_failed = MomentColumn(visible=False)
    sound_until = MomentColumn(visible=False)
    sound_n_after = tables.Column(visible=False)
    sound_hours_after = tables.Column(visible=False)
    sound_ratio = tables.Column(visible=False)
    sound_low = tables.Column(visible=False)
    sound_high = tables.Column(visible=False)
    sound_verdict = tables.Column(visible=False)

    class Meta:
        order_by = "verdict"
        template_name = "reports/_effect_table.html"
        sequence = ("installation", "models", "before", "after", "forest", "ratio", "verdict", "q", "...")

    @property
    def ticks(self) -> list[tuple[float, str]]:
        return forest_ticks()

    def render_installation(self, record: EffectRow) -> str:
        noun = _("devices") if len(record.study.members) > 1 else _("device")
        return format_html(
            '<div><a href="{}"><span class="tag">{}</span></a> <span class="soft">{} {}</span></div>',
            record.url,
            record.tag,
            noun,
            record.devices,
        )

    def value_installation(self, record: EffectRow) -> str:
        return f"{record.tag} device {record.devices}"

    def render_side(self, side: Any) -> str:
        rate = _("no rate") if side.rate.per_1000_h is None else one(side.rate.per_1000_h)
        return format_html(
            '<div><a href="{}">{}</a><br><span class="soft">{}</span></div>', side.url, in_hours(side), rate
        )

    def render_before(self, record: EffectRow) -> str:
        return self.render_side(record.study.before)

    def value_before(self, record: EffectRow) -> Any:
        return number(record.study.before.rate.per_1000_h)

    def render_after(self, record: EffectRow) -> str:
        return self.render_side(record.study.after)

    def value_after(self, record: EffectRow) -> Any:
        return number(record.study.after.rate.per_1000_h)

    def render_ratio(self, record: EffectRow) -> str:
        return ratio_words(record.study.ratio)

    def value_ratio(self, record: EffectRow) -> Any:
        return number(record.study.ratio.ratio)

    def value_ratio_low(self, record: EffectRow) -> Any:
        return number(record.study.ratio.low)

    def value_ratio_high(self, record: EffectRow) -> Any:
        return number(record.study.ratio.high)

    def value_hours_before(self, value: float) -> float:
        return round(value, 1)

    def value_hours_after(self, value: float) -> float:
        return round(value, 1)

    def value_coverage_before(self, value: float) -> float:
        return round(value, 4)

    def value_coverage_after(self, value: float) -> float:
        return round(value, 4)

    def value_hours_needed(self, value: float) -> Any:
        return number(value, 0)

    def value_reasons(self, record: EffectRow) -> str:
        return reasons_words(record.study.judgement)

    def render_verdict(self, record: EffectRow) -> str:
        """The verdict with what decided it; below it what is known of the device, and on a tablet if it stands."""
        parts = [verdict_mark(record.study)]
        if record.fading is not None:
            since = _("watch alarm, bad days since %(month)s") % {
                "month": date_format(record.fading.climbing_since, "F Y")
            }
            parts.append(mark("watch", since))
        parts += [mark("act", act_words(each)) for each in record.acts]
        soft = [limit_words(record.study), sound_words(record.study), chosen_words(record.study)]
        parts += [format_html('<span class="soft">{}</span>', words) for words in soft if words]
        if record.standing is not None and record.standing.stands is not None:
            words = _("stands among all") if record.standing.stands else _("does not stand among all")
            parts.append(format_html('<span class="soft q-under">{}</span>', words))
        return format_html("<div>{}</div>", format_html_join(mark_safe("<br>"), "{}", ((each,) for each in parts)))

    def value_fading_since(self, record: EffectRow) -> Any:
        return "" if record.fading is None else record.fading.climbing_since

    def value_chance_of_alarm(self, record: EffectRow) -> Any:
        """Empty where it is not under watch."""
        return "" if record.chance is None else round(record.chance, 4)

    def value_verdict(self, record: EffectRow) -> str:
        return verdict_words(record.study)

    def render_q(self, record: EffectRow) -> str:
        """Whether the verdict holds among all that were reached at once, and the share of wrong ones up to it."""
        if record.standing is None:
            return "–"
        q = _("q %(q)s") % {"q": q_words(record.standing.q)}
        if record.standing.stands is None:
            return format_html('<span class="soft">{}</span>', q)
        words = _("stands") if record.standing.stands else _("does not stand")
        return format_html('<div>{}<br><span class="soft">{}</span></div>', words, q)

    def value_q(self, record: EffectRow) -> Any:
        return "" if record.standing is None else number(record.standing.q, 6)

    def value_p_widened(self, record: EffectRow) -> Any:
        return "" if record.standing is None else number(record.standing.p, 6)

    def value_dispersion(self, record: EffectRow) -> Any:
        return "" if record.standing is None else number(record.standing.dispersion)

    def value_stands(self, record: EffectRow) -> Any:
        return "" if record.standing is None or record.standing.stands is None else record.standing.stands
