"""What has been learned of a chamber, in the terms that a brewer knows it by."""

from __future__ import annotations

from dataclasses import dataclass

from fermd.control.decision import Decision
from fermd.control.placing import LEAST_SHARE
from fermd.control.settings import Duty
from fermd.control.swing import fits


@dataclass(frozen=True, slots=True)
class KnownSide:
    """What is known of one side, from its runs."""

    duty: Duty
    runs: int
    """So many runs were seen to their turn."""
    coast_c: float
    """How far the beer goes on after a run, °C."""
    difference_c: float
    """How far the air was beyond the beer at those ends, °C; 0 without an air probe."""
    lag_c: float
    """How far the beer goes on the old way after a start, °C."""
    error_c: float
    """By how much the coast was foreseen wrongly in the mean, °C."""
    acted_on: bool
    """Whether calls go by it; else the plain bands decide."""


@dataclass(frozen=True, slots=True)
class Knowledge:
    """All that is known of a chamber."""

    sides: tuple[KnownSide, ...]
    beer_c: float | None = None
    """Where the beer is by both probes, °C; None where the vessel probe shows it."""
    air_share: float | None = None
    """How much of the air the vessel probe sees, 0 to 1; None while it is not known."""
    time_constant_h: float | None = None
    """Within what time the beer follows the air, h."""
    warms_c_per_h: float | None = None
    """By how much the beer warms of itself, °C/h: its fermentation."""


def knowledge(decision: Decision) -> Knowledge:
    """Return what is known of the chamber of a decision."""
    placing = decision.placing
    sides = tuple(
        KnownSide(
            duty,
            known.runs,
            known.coast_c,
            known.difference_c,
            known.lag_c,
            known.error_c,
            fits(known, decision.foresight),
        )
        for duty, known in decision.learned.items()
        if known.runs
    )
    if not placing.is_known:
        return Knowledge(sides)
    share, rate = placing.air_share, placing.follows_per_h
    return Knowledge(
        sides,
        beer_c=placing.beer_c if decision.foresight.foresee else None,
        air_share=share if share >= LEAST_SHARE else 0.0,
        time_constant_h=1.0 / rate if rate > 0 else None,
        warms_c_per_h=placing.warms_c_per_h,
    )
