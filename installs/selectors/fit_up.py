"""The fit-up sheet of a job as it was saved, judged anew on every read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from installs.calc.fit_up import judge_fit_up
from installs.calc.fit_up_lines import FitUpResult
from installs.calc.fit_up_measures import Measures, ModelFigures
from installs.models import Fitting, FitUp

MEASURES = tuple(each.name for each in fields(Measures))


def figures_for(fitting: Fitting) -> ModelFigures:
    """What the model states: the version of its sheet that the job is fitted to, else the sheet as it stands."""
    model = fitting.device_model
    stated: Mapping[str, Any] = fitting.sheet.content if fitting.sheet else vars(model)
    return ModelFigures(**{each.name: stated.get(each.name) for each in fields(ModelFigures)})


def sheet_of(fitting: Fitting) -> FitUp | None:
    """The sheet of a job; None where nothing was saved yet."""
    return FitUp.objects.filter(fitting=fitting).first()


def measures_of(sheet: FitUp | None) -> Measures:
    """The measures of a sheet as the arithmetic takes them."""
    return Measures() if sheet is None else Measures(**{name: getattr(sheet, name) for name in MEASURES})


def judge(fitting: Fitting, measures: Measures) -> FitUpResult:
    """Every line of the job's sheet."""
    return judge_fit_up(measures, figures_for(fitting), nominal_belt_width_mm=fitting.conveyor.belt_width_mm)


def result_of(fitting: Fitting) -> FitUpResult | None:
    """The saved sheet worked out; None where nothing was saved yet."""
    sheet = sheet_of(fitting)
    return None if sheet is None else judge(fitting, measures_of(sheet))
