from dataclasses import dataclass
from enum import StrEnum


class UnitSystem(StrEnum):
    METRIC = "metric"
    US = "us"


class QuantityKind(StrEnum):
    LENGTH_MM = "mm"
    DISTANCE_M = "m"
    SPEED_M_S = "m_s"
    TORQUE_NM = "nm"
    FORCE_N = "n"
    MASS_KG = "kg"
    TONNES = "t"
    HOURS = "h"
    MINUTES = "min"
    DEGREES = "deg"
    PERCENT = "pct"
    PLAIN = ""


@dataclass(frozen=True)
class Understood:
    value: float
    echo: str
    typed: str


def unit_label(kind, system):
    return kind.value


def parse_quantity(text, kind, system, *, allow_negative=False):
    return Understood(float(text), text, text)


def format_quantity(value, kind, system, *, with_unit=True, digits=None):
    return "not stated" if value is None else f"{value:g}" + (f" {kind.value}" if with_unit else "")
