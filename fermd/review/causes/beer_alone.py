"""A contact that is stuck on, seen in the beer of a chamber without a probe in its air.

With its outputs off a vessel warms or cools slowly: through the walls, by its yeast. How fast it
does so here is told by the times in which nothing ran for long. Beer that goes much faster than
that, one way for most of an hour, is heated or cooled by something; so is beer that goes against
what runs. A dead fridge cannot be told from a weak one in this way, nor a door from the room.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from statistics import median

from fermd.control.wording import span
from fermd.review.causes.cause import Cause, Finding
from fermd.review.causes.grid import COOL, HEAT, STEP_S, Grid
from fermd.review.course import Course

WINDOW_STEPS = 9
"""It is looked at by three quarters of an hour."""

REST_STEPS = 6
"""After so many steps, half an hour, what a plate or a heater had stored is in the beer."""

LEAST_RATE_C = 0.9
"""Beer must go so much farther than usual in a window, °C: 20 l would take 28 W."""

TIMES_USUAL = 4.0
"""And so many times as far as it usually differs."""

LEAST_WINDOWS = 10
"""With fewer windows of rest nobody knows what is usual."""


THIRD_SHARE = 0.15
"""Each third of a window has this share at least of the way: a probe that was moved has not."""


def beer_findings(course: Course, grid: Grid) -> Iterator[Finding]:
    """Every time in which the beer went faster than by itself, against what was switched."""
    rests = [
        moved_c
        for place in range(REST_STEPS, len(grid) - WINDOW_STEPS)
        if not _ran(grid, place, (COOL, HEAT)) and (moved_c := _moved_c(grid, place)) is not None
    ]
    if len(rests) < LEAST_WINDOWS:
        return
    usual_c = median(rests)
    unsure_c = median(abs(one - usual_c) for one in rests)
    limit_c = max(LEAST_RATE_C, TIMES_USUAL * unsure_c)
    for duty, other, way, cause in (
        (COOL, HEAT, -1.0, Cause.COOLING_STUCK_ON),
        (HEAT, COOL, 1.0, Cause.HEATING_STUCK_ON),
    ):
        strange = [
            place
            for place in range(REST_STEPS, len(grid) - WINDOW_STEPS)
            if not _ran(grid, place, (duty,))
            and not _stopped(grid, place, other)
            and (moved_c := _moved_c(grid, place)) is not None
            and way * (moved_c - usual_c) >= limit_c
            and _is_steady(grid, place, way)
        ]
        for first, last in _joined(strange):
            yield _finding(course, grid, cause, first, last + WINDOW_STEPS)


def _ran(grid: Grid, place: int, duties: tuple[int, ...]) -> bool:
    """Whether one of these ran in a window or shortly before it."""
    return grid.is_lively(place + WINDOW_STEPS - 1, duties, WINDOW_STEPS - 1 + REST_STEPS)


def _stopped(grid: Grid, place: int, duty: int) -> bool:
    """Whether what works against it stopped in a window or before: that alone moves the beer."""
    shares = grid.shares[duty][2 * (place - REST_STEPS) : 2 * (place + WINDOW_STEPS)]
    return any(later < before for before, later in pairwise(shares))


def _moved_c(grid: Grid, place: int) -> float | None:
    now_c, later_c = grid.beer_c[place], grid.beer_c[place + WINDOW_STEPS]
    return None if now_c is None or later_c is None else later_c - now_c


def _is_steady(grid: Grid, place: int, way: float) -> bool:
    """Whether it goes that way in each third of the window, and does not jump."""
    third = WINDOW_STEPS // 3
    known = [grid.beer_c[place + third * number] for number in range(4)]
    values = [one for one in known if one is not None]
    moves = [way * (later - now) for now, later in pairwise(values)]
    return len(moves) == 3 and min(moves) > THIRD_SHARE * sum(moves)


def _joined(places: list[int]) -> Iterator[tuple[int, int]]:
    """The first and the last of those that lie within a window of each other."""
    first: int | None = None
    for number, place in enumerate(places):
        first = place if first is None else first
        if number + 1 == len(places) or places[number + 1] > place + WINDOW_STEPS:
            yield first, place
            first = None


def _finding(course: Course, grid: Grid, cause: Cause, first: int, last: int) -> Finding:
    duty = "cool" if cause is Cause.COOLING_STUCK_ON else "heat"
    output = next((run.output for run in course.runs_of(duty)), duty)
    by_c = (grid.beer_c[last] or 0.0) - (grid.beer_c[first] or 0.0)
    way = "rose" if by_c > 0.0 else "fell"
    return Finding(
        cause,
        grid.at_s[first],
        grid.at_s[last],
        f"{output} was off, the beer {way} {abs(by_c):.1f} °C in {span((last - first) * STEP_S)}",
    )
