"""What a scenario of the comparison is: plant, room, beer, a plan of targets, its figures' windows.

Every contestant gets the same plant, the same probes with the same noise, the same outputs with the
same protections, and the same plan; what differs is only what it calls for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from fermd.control.settings import ChamberSettings
from fermd.physics.fermentation import FermentationModel
from fermd.physics.probe import ProbeModel
from fermd.physics.thermal import ThermalModel

HOUR_S = 3600.0
DAY_S = 86400.0


@dataclass(frozen=True, slots=True)
class Leg:
    """One piece of the plan: the target goes from one temperature to another, and stays."""

    target_c: float
    """Where the target is at the end of the leg and while it is held, °C."""
    lasts_s: float
    """The whole leg, s."""
    ramp_s: float = 0.0
    """How long the target takes to come from the leg before; 0 is a jump."""
    settle_s: float = 0.0
    """So long after the ramp or jump the figures of the hold begin, s: ample for any contestant."""


@dataclass(frozen=True, slots=True)
class Door:
    """A door or lid that stands open for a while."""

    opens_s: float
    lasts_s: float


@dataclass(frozen=True, slots=True)
class Scenario:
    """One trial. Times are seconds since its start, which is at `start_utc_s`."""

    name: str
    """A short key: letters, digits and hyphens."""
    title: str
    model: ThermalModel
    settings: ChamberSettings
    """As shipped but for what is wired: bands, coast and protections are fermd's defaults."""
    ambient_c: Callable[[float], float]
    """Told a true POSIX time (s), gives the temperature of the room, °C."""
    start_c: float
    plan: Sequence[Leg]
    fermentation: FermentationModel | None = None
    """None: no heat of its own."""
    doors: Sequence[Door] = ()
    fan_always: bool = False
    """A circulation fan that runs all the time."""
    vessel_probe: ProbeModel = field(default_factory=ProbeModel)
    air_probe: ProbeModel = field(default_factory=ProbeModel)
    start_utc_s: float = 1_772_323_200.0
    """1 March 2026, 00:00 UTC."""
    period_s: float = 10.0
    """Probes are read this often, s."""

    @property
    def lasts_s(self) -> float:
        """The whole trial, s."""
        return sum(leg.lasts_s for leg in self.plan)

    def target_c(self, at_s: float) -> float:
        """Return the target at a time since the start, °C."""
        before_c, began_s = self.start_c, 0.0
        for leg in self.plan:
            passed_s = at_s - began_s
            if passed_s < leg.lasts_s or leg is self.plan[-1]:
                share = 1.0 if passed_s >= leg.ramp_s else passed_s / leg.ramp_s
                return before_c + (leg.target_c - before_c) * share
            before_c, began_s = leg.target_c, began_s + leg.lasts_s
        return before_c
