"""A heater at the vessel that runs while it is switched off, seen by both probes at once.

A heater belt or pad warms the vessel's probe and the air together. Warm air alone is seen by a
taped probe by a small share; a probe that is moved leaves the other where it is. So this needs no
past of the heater: in many a chamber it never had to run.
"""

from __future__ import annotations

from fermd.control.placing import MOST_SHARE
from fermd.review.causes.cause import Cause, Finding
from fermd.review.causes.grid import HEAT, STEP_S, Grid
from fermd.review.causes.jumps import BESIDE_HEATER_C
from fermd.review.causes.motion import Motion
from fermd.review.course import Course

WITHIN_STEPS = 2
LEAST_C = 0.4
"""Within these steps of 5 min each probe rises by this at least, °C: 20 l would take 60 W."""

REST_STEPS = 4
"""The heater was off for so long, 20 min: it has cooled down by then."""


def heated_vessel(
    course: Course, grid: Grid, motion: Motion, first: int, last: int
) -> Finding | None:
    """Whether both probes rose in an episode as they do beside a heater, with none switched on.

    The air must rise by more than it does by itself: after a run of the fridge it comes back.
    """
    for place in range(max(REST_STEPS, first - 1), min(len(grid) - WITHIN_STEPS, last + 1)):
        after = place + WITHIN_STEPS
        beer_0, beer_1 = grid.beer_c[place], grid.beer_c[after]
        air_0, air_1 = grid.air_c[place], grid.air_c[after]
        if beer_0 is None or beer_1 is None or air_0 is None or air_1 is None:
            continue
        beer_by_c, air_by_c = beer_1 - beer_0, air_1 - air_0
        if (
            LEAST_C <= beer_by_c < BESIDE_HEATER_C
            and air_by_c >= LEAST_C
            and _of_itself_left_c(grid, motion, place) >= LEAST_C
            and beer_by_c > MOST_SHARE * air_by_c
            and not grid.is_lively(after, (HEAT,), REST_STEPS + WITHIN_STEPS)
        ):
            heater = next((run.output for run in course.runs_of("heat")), "heat")
            return Finding(
                Cause.HEATING_STUCK_ON,
                grid.at_s[place],
                grid.at_s[last] + STEP_S,
                f"{heater} was off, {course.roles.vessel} and {course.roles.air} rose together by "
                f"{beer_by_c:.1f} and {air_by_c:.1f} °C in 10 min",
                weight=2.0,
            )
    return None


def _of_itself_left_c(grid: Grid, motion: Motion, place: int) -> float:
    """By how much the air rose that its usual motion does not explain, °C."""
    steps = range(place, place + WITHIN_STEPS)
    return sum(motion.air_left_over(grid, step) or 0.0 for step in steps)
