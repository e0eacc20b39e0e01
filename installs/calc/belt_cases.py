"""What is known of one belt over the period that is looked at: incidents, devices, and what a device keeps away from.

Places lie on one conveyor; chainage in metres from the centre of the tail pulley.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from installs.calc.effect_zones import SLACK_M, Zone
from plant.calc.reasons import Reason

BOTH_STRANDS = ""


@dataclass(frozen=True)
class BeltPlace:
    """A place on a belt; None where nobody has measured. Clearances hold over the whole pivot and tilt range [mm]."""

    strand: str
    chainage_m: float
    belt_length_m: float
    belt_width_mm: float | None
    speed_m_s: float | None
    is_reversing: bool = False
    trough_angle_deg: float | None = None
    clearance_below_mm: float | None = None
    clearance_beside_mm: float | None = None
    clearance_along_mm: float | None = None


@dataclass(frozen=True)
class Fixture:
    """Something that a device keeps away from: kind is pulley, loading, scraper or scale; strand "" means both."""

    kind: str
    chainage_m: float
    name: str
    strand: str = BOTH_STRANDS


@dataclass(frozen=True)
class SeenIncident:
    """An incident: where it was seen, None or "" where nobody knows, and the suspected cause in words, "" for none."""

    strand: str
    chainage_m: float | None
    cause: str = ""


@dataclass(frozen=True)
class Steered:
    """A zone of a standing device, with the name of the device."""

    name: str
    strand: str
    zone: Zone


@dataclass(frozen=True)
class OpenCause:
    """A cause that was found and is not cured yet; without ends it holds for the whole strand, "" for both strands.

    `override` is why a device may be fitted all the same; such a cause holds nothing back, but stays said.
    """

    cause: Reason | str
    strand: str = BOTH_STRANDS
    low_m: float | None = None
    high_m: float | None = None
    override: str = ""


@dataclass(frozen=True)
class Logged:
    """A place at which people log how the belt runs, so that an incident there is seen without a switch."""

    strand: str
    chainage_m: float


@dataclass(frozen=True)
class Override:
    """Why a device placed on this stretch of a strand need not wait for a cause; `said` names who and when."""

    strand: str
    low_m: float
    high_m: float
    reason: str
    said: Reason | str = ""


@dataclass(frozen=True)
class BeltCase:
    """What is known of one belt over the period that is looked at; `hours` are its covered running hours [h]."""

    length_m: float
    belt_width_mm: float | None
    speed_m_s: float | None
    is_reversing: bool
    hours: float
    incidents: tuple[SeenIncident, ...] = ()
    steered: tuple[Steered, ...] = ()
    fixtures: tuple[Fixture, ...] = ()
    detectors_m: tuple[float, ...] = ()
    open_causes: tuple[OpenCause, ...] = ()
    logged: tuple[Logged, ...] = ()
    overrides: tuple[Override, ...] = ()

    def detectors_on(self, strand: str) -> tuple[float, ...]:
        """Where an incident of this strand is seen: drift switches, and stations that people log [m]."""
        return (*self.detectors_m, *(each.chainage_m for each in self.logged if each.strand == strand))

    def override_at(self, strand: str, chainage_m: float) -> Override | None:
        """The reason that holds for a device at this place."""
        for each in self.overrides:
            if each.strand == strand and each.low_m - SLACK_M <= chainage_m <= each.high_m + SLACK_M:
                return each
        return None

    def place(self, strand: str, chainage_m: float, **measured: float | None) -> BeltPlace:
        """A place on this belt, with what was measured there: trough_angle_deg, clearance_below_mm and so on."""
        return BeltPlace(
            strand, chainage_m, self.length_m, self.belt_width_mm, self.speed_m_s, self.is_reversing, **measured
        )

    def zones_on(self, strand: str) -> tuple[Zone, ...]:
        """Where standing devices steer on this strand."""
        return tuple(each.zone for each in self.steered if each.strand == strand)

    def positions_on(self, strand: str) -> np.ndarray:
        """Chainages of the incidents on this strand whose place is known, rising [m]."""
        return np.sort(
            np.array(
                [each.chainage_m for each in self.incidents if each.strand == strand and each.chainage_m is not None],
                dtype=float,
            )
        )
