"""What a vessel's heat balance is fitted to: spans of some hours with what moved the beer in them.

The balance itself, and what its terms are, stands in fermentation_heat.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin

from fermd.review.course import Course, OnTime
from fermd.review.probe_figures import probe_faults

HOUR_S = 3600.0
DAY_H = 24.0
DAY_S = DAY_H * HOUR_S

WINDOW_S = 6 * HOUR_S
"""Long against walls and probes that lag by minutes and a compressor's cycle, short against a
fermentation."""

EDGE_S = 900.0
"""The beer at a window's edge is the mean of so long before and after it, s."""

LEAST_COVERED = 0.8
"""A window is left out if less of it has readings."""


@dataclass(frozen=True, slots=True)
class Window:
    """Some hours of a course."""

    middle_h: float
    """Since the span began."""
    length_h: float
    moved: float
    """ΔT/Δt, °C/h."""
    row: tuple[float, ...]
    """What the first numbers are multiplied by."""


def windows_of(course: Course) -> list[Window]:
    """Cut a course into windows, without those in which a reading fails or is not trusted."""
    vessel, air = course.vessel, course.air
    if vessel is None or air is None:
        return []
    heating, cooling = OnTime(course.runs_of("heat")), OnTime(course.runs_of("cool"))
    spoilt = [
        (fault.start_s - EDGE_S, fault.end_s + EDGE_S)
        for name in (course.roles.vessel, course.roles.air)
        for fault in probe_faults(course, name or "")
    ]
    full = LEAST_COVERED * WINDOW_S / vessel.step_s
    found = []
    from_s = course.start_s + EDGE_S
    while from_s + WINDOW_S + EDGE_S <= course.end_s:
        to_s = from_s + WINDOW_S
        middle_s = from_s + WINDOW_S / 2
        middle_h = (middle_s - course.start_s) / HOUR_S
        places = vessel.places(from_s, to_s)
        edges = [
            series.mean(at_s - EDGE_S, at_s + EDGE_S)
            for series in (vessel, air)
            for at_s in (from_s, to_s)
        ]
        means = vessel.mean(from_s, to_s), air.mean(from_s, to_s)
        is_whole = len(places) >= full and len(air.places(from_s, to_s)) >= full
        is_good = not any(start_s < to_s and end_s > from_s for start_s, end_s in spoilt)
        first_c, last_c, air_first_c, air_last_c = edges
        beer_c, air_c = means
        if (
            is_whole
            and is_good
            and None not in (first_c, last_c, air_first_c, air_last_c, beer_c, air_c)
        ):
            hours = WINDOW_S / HOUR_S
            found.append(
                Window(
                    middle_h,
                    hours,
                    (last_c - first_c) / hours,  # type: ignore[operator]
                    (
                        air_c - beer_c,  # type: ignore[operator]
                        beer_c / 10.0,  # type: ignore[operator]
                        1.0,
                        heating.share(from_s, to_s),
                        (air_last_c - air_first_c) / hours,  # type: ignore[operator]
                        cooling.share(middle_s - DAY_S / 2, middle_s + DAY_S / 2),
                        sin(2.0 * pi * middle_h / DAY_H),
                        cos(2.0 * pi * middle_h / DAY_H),
                    ),
                )
            )
        from_s = to_s
    return found
