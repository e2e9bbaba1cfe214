"""The other watcher: whether an output that was switched off has really stopped.

A relay's contacts can weld, a solenoid can hang, and then a fridge or a heater goes on though its
line is off. Nothing that runs on a board can stop it; a person can, and must be told. It shows in
the air, which comes back towards the beer within minutes of a true stop and does not otherwise.
Followed is one stop: how far the air was beyond the beer, and how near it has come since. Without
an air probe, or where the air was hardly beyond the beer (a belt on the vessel), nothing is said.

A room that is as cold as the fridge's air looks the same: the words name it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from fermd.control.settings import Duty
from fermd.control.swing import WAYS

CLEARLY_C = 3.0
"""Only a stop with the air further than this beyond the beer is judged, °C: two probes may be 1 °C
apart, and what is to be seen is a part of it."""

WITHIN_S = 1800.0
"""So long the air may take, s: a chest freezer's comes back by half within it (chamber model)."""

BACK_C = 1.0
"""By so much it must have come back then, °C."""


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop as the watcher has seen it."""

    at_mono_s: float
    beyond_c: float
    """How far the air was beyond the beer: colder after cooling, warmer after heating."""
    nearest_c: float
    """The least that this has been since."""


def follow(
    before: Stop | None,
    duty: Duty,
    on: bool,
    stopped: bool,
    beer_c: float | None,
    air_c: float | None,
    mono_s: float,
) -> Stop | None:
    """Follow an output for one tick; `stopped` in the tick in which it went off.

    Temperatures are None while they are not known.
    """
    if on or duty not in WAYS:
        return None
    if beer_c is None or air_c is None:
        return before
    beyond_c = WAYS[duty] * (beer_c - air_c)
    if stopped:
        return Stop(mono_s, beyond_c, beyond_c)
    if before is None:
        return None
    return replace(before, nearest_c=beyond_c) if beyond_c < before.nearest_c else before


def goes_on(stop: Stop, mono_s: float) -> bool:
    """Tell whether the output has plainly not stopped."""
    return (
        stop.beyond_c >= CLEARLY_C
        and mono_s - stop.at_mono_s >= WITHIN_S
        and stop.nearest_c > stop.beyond_c - BACK_C
    )
