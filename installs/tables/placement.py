"""Columns of the ranking of places, once for the page and the files."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext_lazy as _

from installs.calc.placement import Judged
from installs.selectors.placement import RankedPlace
from installs.words.placement import fit_mark, fit_words_of, placing_words, rate_with_range
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind, UnitSystem
from plant.models import Strand
from plant.tables.columns import NUMBER, QuantityColumn, RegisterTable
from plant.words.marks import mark


def rounded(value: float | None) -> float | str:
    return "" if value is None else round(value, 4)


# Left out between phone and desk, where the reasons need the width; the files and the place's own page have it all.
DESK_ONLY = {"th": {"class": "desk-only"}, "td": {"class": "desk-only"}}
DESK_NUMBER = {"th": {"class": "num desk-only"}, "td": {"class": "num desk-only"}}


class PlacementTable(RegisterTable):
    place = tables.Column(verbose_name=_("Rank"), attrs=NUMBER)
    conveyor = tables.Column(verbose_name=_("Conveyor"), accessor="study__conveyor", order_by=("study__conveyor__tag",))
    strand = tables.Column(verbose_name=_("Strand"), accessor="candidate__judged__place__strand")
    chainage_m = QuantityColumn(
        QuantityKind.DISTANCE_M, verbose_name=_("Chainage"), accessor="candidate__judged__place__chainage_m"
    )
    rate = tables.Column(
        verbose_name=_("New in reach, per 1000 h (95 %)"),
        accessor="candidate__judged__reach__rate",
        order_by=("candidate__judged__reach__rate__low",),
        attrs=NUMBER,
    )
    n_new = tables.Column(verbose_name=_("Incidents"), accessor="candidate__judged__reach__n_new", attrs=DESK_NUMBER)
    fit = tables.Column(verbose_name=_("Fits"), accessor="candidate", orderable=False)
    model = tables.Column(
        verbose_name=_("Model"), accessor="candidate__judged__limits__name", empty_values=(), attrs=DESK_ONLY
    )
    why = tables.Column(verbose_name=_("Why"), accessor="candidate__reasons", orderable=False)
    # In the files only: one figure a column.
    rate_low = tables.Column(accessor="candidate__judged__reach__rate__low", visible=False)
    rate_high = tables.Column(accessor="candidate__judged__reach__rate__high", visible=False)
    running_h = tables.Column(accessor="study__exposure__running_h", visible=False)
    coverage = tables.Column(accessor="study__exposure__coverage", visible=False)
    n_in_zone = tables.Column(accessor="candidate__judged__reach__n_in_zone", visible=False)
    switches_in_zone = tables.Column(accessor="candidate__judged__proof__detectors_m", visible=False)
    hours_to_show_a_halving = tables.Column(accessor="candidate__judged__proof__hours", visible=False)
    cause_first = tables.Column(accessor="candidate__is_cause_first", visible=False)

    class Meta:
        order_by = ()

    def use_units(self, system: UnitSystem) -> None:
        super().use_units(system)
        self.system = system

    def render_conveyor(self, record: RankedPlace) -> str:
        belt = record.study.conveyor
        return format_html(
            '<div><a class="tag" href="{}">{}</a> <span class="soft">{}</span></div>',
            f"{reverse('placement-conveyor', args=[belt.pk])}?{trial_query(record)}",
            belt.tag,
            belt.name,
        )

    def value_conveyor(self, record: RankedPlace) -> str:
        return record.study.conveyor.tag

    def render_strand(self, value: str) -> str:
        return str(Strand(value).label)

    def value_strand(self, value: str) -> str:
        return value

    def render_rate(self, record: RankedPlace) -> str:
        return rate_with_range(record.candidate.judged.reach.rate)

    def value_rate(self, record: RankedPlace) -> Any:
        return rounded(record.candidate.judged.reach.rate.per_1000_h)

    def render_n_new(self, record: RankedPlace, value: int) -> str:
        return format_html('<a href="{}">{}</a>', incidents_url(record.study, record.candidate.judged), value)

    def value_n_new(self, value: int) -> int:
        return value

    def render_fit(self, record: RankedPlace) -> str:
        return fit_mark(record.candidate)

    def value_fit(self, record: RankedPlace) -> str:
        return fit_words_of(record.candidate)

    def render_model(self, value: str) -> str:
        return value or str(_("none"))

    def render_why(self, value: tuple[Reason, ...], record: RankedPlace) -> str:
        put_aside = record.candidate.judged.overridden
        first, *others = (placing_words(each, self.system) for each in value if each not in put_aside)
        # A cause that somebody put aside stands in the open, with the reason.
        aside = mark("watch", str(_("cause put aside")))
        marks = format_html_join("", "<br>{} {}", ((aside, placing_words(each, self.system)) for each in put_aside))
        if not others:
            return format_html("<div>{} {}</div>", first, marks)
        more = format_html("<details><summary>{}</summary>{}</details>", _("All reasons"), " ".join(others))
        return format_html("<div>{} {} {}</div>", first, marks, more)

    def value_why(self, value: tuple[Reason, ...]) -> str:
        return placing_words(value, UnitSystem.METRIC)

    def value_rate_low(self, value: float | None) -> Any:
        return rounded(value)

    def value_rate_high(self, value: float | None) -> Any:
        return rounded(value)

    def value_running_h(self, value: float) -> float:
        return round(value, 1)

    def value_coverage(self, value: float) -> float:
        return round(value, 4)

    def value_switches_in_zone(self, value: tuple[float, ...]) -> int:
        return len(value)

    def value_hours_to_show_a_halving(self, value: float | None) -> Any:
        return "" if value is None else round(value)


def trial_query(record: RankedPlace) -> str:
    place = record.candidate.judged.place
    return f"strand={place.strand}&chainage_m={place.chainage_m:g}+m"


def incidents_url(study: Any, judged: Judged) -> str:
    """The list of incidents in the zones of a place; those that a device reaches already are among them."""
    zones = judged.reach.zones
    asked = {
        "conveyor": study.conveyor.pk,
        "strand": judged.place.strand,
        "low_m": f"{min((zone.low_m for zone in zones), default=0.0):g} m",
        "high_m": f"{max((zone.high_m for zone in zones), default=0.0):g} m",
        "from": study.since.isoformat(),
    }
    return f"{reverse('incident-list')}?{urlencode(asked)}"
