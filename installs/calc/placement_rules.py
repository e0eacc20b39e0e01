"""Start values by which places are judged: common practice of the trade; a plant may change them."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class PlacementRules:
    """Start values of the trade, common practice without a source where nothing else is said; a plant may change them.

    Parameters
    ----------
    into_wander_least_m, into_wander_most_m : float, optional
        How far into the wandering stretch a device is set [m].
    close_m, clear_m : float, optional
        Nearer than `close_m` to a pulley, loading point or scraper is too near; from `clear_m` on nothing is said [m].
    idler_pitch_carry_m, idler_pitch_return_m : float, optional
        Distance of idlers on each strand (1.2 m and 3 m in a US federal guide specification, UFGS 15555A) [m].
    scale_idlers : int, optional
        Idlers before and after a belt scale that are left alone (US Army TM 5-3895-374-24-2).
    joined_m : float, optional
        Incidents nearer than this to the next belong to one wandering stretch; own rule, below the spacing of drift
        switches on long belts [m].
    least_incidents : int, optional
        Fewer than this make no stretch and name no cause; own rule.
    least_cause_share : float, optional
        Share of the incidents in reach from which one suspected cause is to be cured first; own rule [-].
    at_detector_m : float, optional
        An incident so near to a switch carries the place of the switch, not of the wander; own rule [m].
    """

    into_wander_least_m: float = 6.0
    into_wander_most_m: float = 9.0
    close_m: float = 5.0
    clear_m: float = 10.0
    idler_pitch_carry_m: float = 1.2
    idler_pitch_return_m: float = 3.0
    scale_idlers: int = 3
    joined_m: float = 40.0
    least_incidents: int = 3
    least_cause_share: float = 0.5
    at_detector_m: float = 0.5

    def __post_init__(self) -> None:
        if not 0 <= self.into_wander_least_m <= self.into_wander_most_m < math.inf:
            raise ValueError(
                f"into_wander is {self.into_wander_least_m} to {self.into_wander_most_m} m; give 0 m or more, the "
                "lesser first"
            )
        if not 0 <= self.close_m <= self.clear_m < math.inf:
            raise ValueError(f"close_m is {self.close_m} and clear_m {self.clear_m} m; give 0 <= close_m <= clear_m")
        for name in ("idler_pitch_carry_m", "idler_pitch_return_m", "joined_m"):
            if not 0 < getattr(self, name) < math.inf:
                raise ValueError(f"{name} is {getattr(self, name)} m; give a length above 0 m")
        if not 0 < self.least_cause_share <= 1:
            raise ValueError(f"least_cause_share is {self.least_cause_share}; give a share above 0, up to 1")
        if self.least_incidents < 1 or self.scale_idlers < 0:
            raise ValueError("least_incidents must be 1 or more and scale_idlers 0 or more")

    def pitch_m(self, strand: str) -> float:
        """Distance of idlers on the strand [m]."""
        return self.idler_pitch_carry_m if strand == "carry" else self.idler_pitch_return_m
