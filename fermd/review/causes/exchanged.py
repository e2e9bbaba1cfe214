"""Two probes that were swapped while they read about the same: seen by which of them is moved.

What runs moves the air's probe by degrees and the beer's by hundredths. When for an hour it is the
other way round, each is where the other belongs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from fermd.review.causes.cause import Cause, Finding
from fermd.review.causes.grid import STEP_S, Grid
from fermd.review.course import Course

WINDOW_STEPS = 12
"""It is looked at by the hour."""

LEAST_MOVED_C = 2.0
"""The vessel's probe must go so far to and fro in it, °C, and the air's less far, while something
runs: 20 l would take 1 kW."""

MOVED_C = 0.3
"""In a step beer does not move so far, °C."""

TIMES_AIR = 2.0
"""And so many times as far as the air's."""


def exchanged_findings(course: Course, grid: Grid) -> Iterator[Finding]:
    """Every time in which the vessel's probe moved as the air does, and the air's as beer does."""
    beer, air = _moves_c(grid.beer_c), _moves_c(grid.air_c)
    start: int | None = None
    last = 0
    for place in range(len(beer) - WINDOW_STEPS + 1):
        in_beer, in_air = beer[place : place + WINDOW_STEPS], air[place : place + WINDOW_STEPS]
        if None in in_beer or None in in_air:
            continue
        # A jump, however many steps it takes, is no coming and going.
        beer_c = 2.0 * min(_way_c(in_beer, 1.0), _way_c(in_beer, -1.0))
        air_c = _way_c(in_air, 1.0) + _way_c(in_air, -1.0)
        ran = any(grid.is_lively(step, steps=0) for step in range(place, place + WINDOW_STEPS))
        if ran and air_c < LEAST_MOVED_C <= beer_c and beer_c >= TIMES_AIR * air_c:
            if start is not None and place > last:
                yield _finding(course, grid, start, last)
                start = None
            start = place if start is None else start
            last = place + WINDOW_STEPS
    if start is not None:
        yield _finding(course, grid, start, last)


def _finding(course: Course, grid: Grid, first: int, last: int) -> Finding:
    # The first hour of it may begin before it, and the last end after it.
    moved = [
        place
        for place, beer_c in enumerate(_moves_c(grid.beer_c[first : last + 1]), first)
        if abs(beer_c or 0.0) >= MOVED_C
    ]
    return Finding(
        Cause.PROBES_SWAPPED,
        grid.at_s[moved[0] if moved else first],
        grid.at_s[moved[-1] if moved else last - 1] + STEP_S,
        f"what ran moved {course.roles.vessel} and not {course.roles.air}",
    )


def _moves_c(values: Sequence[float | None]) -> list[float | None]:
    return [
        None if now is None or later is None else later - now for now, later in pairwise(values)
    ]


def _way_c(moves: Sequence[float | None], sign: float) -> float:
    """How far it went up, or with a sign of -1 down, °C."""
    return sum(max(0.0, sign * (one or 0.0)) for one in moves)
