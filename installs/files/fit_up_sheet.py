"""The fit-up sheet as people read it: sections and rows in the order of the work, for page, dossier and paper."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from django.template.loader import render_to_string
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from installs.calc.fit_up import SOURCE_WORDS, FitUpResult, Line, Source, Verdict
from installs.calc.fit_up_drawing import Drawing, draw_fit_up
from installs.models import Fitting, FitUp
from installs.selectors.fit_up import MEASURES, figures_for, judge, measures_of, sheet_of
from installs.words.fit_up import MARKS, SECTIONS
from plant.calc.units import QuantityKind, UnitSystem, format_quantity


@dataclass(frozen=True)
class ShownLine:
    """One line with its numbers in the reader's units."""

    key: str
    label: str
    measured: str
    wanted: str
    permitted: str
    source: str
    mark: str
    verdict: str
    words: str
    to_do: str
    is_open: bool
    is_start_value: bool
    has_box: bool


@dataclass(frozen=True)
class ShownSection:
    """One section: the lines by key, in the order of the sheet."""

    key: str
    title: Any
    lines: dict[str, ShownLine] = field(default_factory=dict)


@dataclass(frozen=True)
class ShownSheet:
    """The whole sheet worked out and drawn."""

    result: FitUpResult
    drawing: Drawing
    sections: tuple[ShownSection, ...]
    lines: dict[str, ShownLine]
    system: UnitSystem

    @property
    def every_line(self) -> list[tuple[str, ShownLine | None]]:
        """Each line that a sheet can have by its key, None where the measures lead to none: so a page that is drawn
        anew while it is typed takes a line in, and away again.
        """
        keys = (key for _key, _title, _how, rows in SECTIONS for _names, key in rows if key)
        return [(key, self.lines.get(key)) for key in keys]

    @property
    def lede(self) -> str:
        """What stands in one sentence; what to do follows."""
        return self.result.summary


def permitted_words(line: Line, system: UnitSystem) -> str:
    """The permitted range: ± where it lies evenly about what is wanted, else from and to."""

    def said(value: float) -> str:
        return format_quantity(value, QuantityKind.LENGTH_MM, system)

    low, high, wanted = line.low, line.high, line.wanted
    if low is not None and high is not None:
        if wanted is not None and abs((high - wanted) - (wanted - low)) < 1e-9:
            return f"± {said(high - wanted)}"
        return _("%(low)s to %(high)s") % {"low": said(low), "high": said(high)}
    if high is not None:
        return _("up to %s") % said(high)
    return _("from %s") % said(low) if low is not None else ""


def shown_line(line: Line, system: UnitSystem) -> ShownLine:
    def said(value: float | None) -> str:
        return "" if value is None else format_quantity(value, QuantityKind.LENGTH_MM, system)

    mark, verdict = MARKS[line.verdict]
    return ShownLine(
        key=line.key,
        label=line.label,
        measured=said(line.measured),
        wanted=said(line.wanted),
        permitted=permitted_words(line, system),
        source=SOURCE_WORDS[line.source] if line.source in (Source.MODEL, Source.PRACTICE) else "",
        mark=mark,
        verdict=str(verdict),
        words=line.words,
        to_do=line.to_do,
        is_open=line.verdict in (Verdict.OPEN, Verdict.NOT_STATED),
        is_start_value=line.is_start_value,
        has_box=line.key in MEASURES,
    )


def shown_sheet(fitting: Fitting, measures: Any, system: UnitSystem) -> ShownSheet:
    """Measures judged, drawn and put into words for one reader."""
    result = judge(fitting, measures, system=system)
    drawing = draw_fit_up(measures, figures_for(fitting), result, system=system)
    lines = {line.key: shown_line(line, system) for line in result.lines}
    sections = tuple(
        ShownSection(key, title, {name: lines[name] for _fields, name in rows if name in lines})
        for key, title, _how, rows in SECTIONS
    )
    return ShownSheet(result, drawing, sections, lines, system)


def shown_for(fitting: Fitting, system: UnitSystem) -> ShownSheet | None:
    """The saved sheet of a job; None where nothing was saved yet."""
    sheet = sheet_of(fitting)
    return None if sheet is None else shown_sheet(fitting, measures_of(sheet), system)


def drawing_svg(drawing: Drawing) -> bytes:
    """The drawing as a file of its own, for a printed sheet."""
    return render_to_string("installs/_fit_up_drawing.svg", {"drawing": drawing}).encode()


def printed_sections(sheet: FitUp | None, lines: dict[str, ShownLine], system: UnitSystem) -> list[dict[str, Any]]:
    """Every row of the sheet for paper: what was measured, and below it what follows. Without a sheet all is empty."""
    sections = []
    for key, title, how, rows in SECTIONS:
        printed = []
        for names, line_key in rows:
            line = lines.get(line_key)
            for name in names:
                label = capfirst(str(FitUp._meta.get_field(name).verbose_name))
                own = vars(line) if line is not None and line.key == name else None
                printed.append({"label": label, "value": value_said(sheet, name, system), "line": own})
            if line is not None and line.key not in names:
                printed.append({"label": line.label, "value": line.measured, "line": vars(line), "is_derived": True})
        words = [each["line"]["words"] for each in printed if each["line"] and not each["line"]["is_open"]]
        said = [each for each in dict.fromkeys(words) if each]
        sections.append({"key": key, "title": str(title), "how": str(how), "rows": printed, "words": said})
    return sections


def value_said(sheet: FitUp | None, name: str, system: UnitSystem) -> str:
    """One measure in words; empty where nothing was measured."""
    value = getattr(sheet, name, None)
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, float):
        return format_quantity(value, QuantityKind.LENGTH_MM, system)
    told = getattr(sheet, f"get_{name}_display", None)
    return str(told() if told else value)
