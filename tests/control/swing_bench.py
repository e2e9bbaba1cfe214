"""One tick of what is learned of a chamber's swing, with numbers that a computer holds exactly."""

from __future__ import annotations

from dataclasses import replace

import pytest
from chamber_bench import fridge, heater, unprotected

from fermd.control.learning import Look, learn
from fermd.control.settings import (
    CoolBandSettings,
    Duty,
    ForesightSettings,
    HeatBandSettings,
    ProtectionSettings,
)
from fermd.control.steps import Target
from fermd.control.swing import Learned, Swing, Turn

FORESIGHT = ForesightSettings(most_c=1.0)
MINIMUM_RUN_S = 180.0
HELD = ProtectionSettings(minimum_run_s=MINIMUM_RUN_S)
GIVEN = unprotected(
    heat=HeatBandSettings(0.25, 0.5, 0.75),
    cool=CoolBandSettings(0.5, 1.0, 2.0),
    outputs=(heater(), fridge(protection=HELD)),
    foresight=FORESIGHT,
)
FREE = Target(0.0, 4.0)
"""Heat keeps the beer from falling below 0 °C, cooling from rising above 4 °C."""
COOL_C, HEAT_C = 4.0, 0.0
SIDES = pytest.mark.parametrize(
    ("duty", "target_c", "band_c", "way"),
    [(Duty.COOL, COOL_C, 0.5, 1.0), (Duty.HEAT, HEAT_C, 0.25, -1.0)],
    ids=["cool", "heat"],
)
KNOWN = Learned(4, 0.5, 4.0, 600.0, 0.125, 0.75, 0.0625, 0.25)
NOW_S = 20_000.0


def tick(
    swing: Swing,
    beer_c: float | None,
    running: Duty | None = None,
    was: Duty | None = None,
    *,
    air_c: float | None = None,
    passed_s: float = 0.0,
    run_s: float = 0.0,
    target: Target | None = FREE,
    narrowed: float = 1.0,
    ramp_c_per_h: float = 0.0,
    other_beer: bool = False,
) -> Swing:
    look = Look(
        NOW_S,
        passed_s,
        beer_c,
        air_c,
        running,
        was,
        run_s,
        target,
        narrowed=narrowed,
        ramp_c_per_h=ramp_c_per_h,
        other_beer=other_beer,
    )
    return learn(swing, GIVEN, look)


def watched_stop(duty: Duty, **given: object) -> Turn:
    stop = Turn(duty, NOW_S - 600.0, 0.5, 0.0, 0.5, 4.0, 600.0)
    return replace(stop, **given)  # type: ignore[arg-type]
