"""Readings of several ticks taken together, for what is fitted to them."""

from __future__ import annotations

from dataclasses import dataclass

WINDOW_S = 300.0
"""Readings are taken together over so long, s: as long as the slower probe's lag in still air."""

Means = tuple[float, float, float, float, float]
"""Vessel °C, air °C, the share of the time that the heater was on, and both of these as late as a
wall takes them."""


@dataclass(frozen=True, slots=True)
class Window:
    """Readings taken together: sums over its ticks."""

    since_mono_s: float
    vessel_c: float
    air_c: float
    heater: float
    air_late_c: float
    heater_late: float
    readings: int = 1
    cooled: bool = False
    """Whether the fridge ran in it."""


def longer(window: Window | None, mono_s: float, now: Means, *, cooling: bool) -> Window:
    """Return the window with one more tick in it; one that begins with it if there is none."""
    if window is None:
        return Window(mono_s, *now, cooled=cooling)
    vessel_c, air_c, heater, air_late_c, heater_late = now
    return Window(
        window.since_mono_s,
        window.vessel_c + vessel_c,
        window.air_c + air_c,
        window.heater + heater,
        window.air_late_c + air_late_c,
        window.heater_late + heater_late,
        window.readings + 1,
        window.cooled or cooling,
    )


def means_of(window: Window) -> Means:
    """Return the means of a window's ticks."""
    count = window.readings
    return (
        window.vessel_c / count,
        window.air_c / count,
        window.heater / count,
        window.air_late_c / count,
        window.heater_late / count,
    )
