"""Probes that were swapped while they read about the same are told by which of them moves."""

from __future__ import annotations

from math import pi, sin

from fermd.review.causes.cause import Cause
from fermd.review.causes.exchanged import exchanged_findings
from fermd.review.causes.grid import STEP_S, Grid
from fermd.review.course import Course
from fermd.review.roles import Roles

STEPS = 144
"""Half a day of grid points, 5 min each."""

COURSE = Course("cellar", 0.0, STEPS * STEP_S, Roles("vessel", "air"), {}, (), (), ())


def cycling_c(step: int) -> float:
    """Air round a beer of 1 °C: down with the fridge and up again, every 40 min."""
    return 1.0 + 1.5 * sin(2.0 * pi * step / 8.0)


def grid_of(swapped: range, jumped: range = range(0)) -> Grid:
    still = [1.0] * STEPS
    moving = [cycling_c(step) for step in range(STEPS)]
    beer_c: list[float | None] = [
        moving[step] if step in swapped else still[step] + (8.0 if step in jumped else 0.0)
        for step in range(STEPS)
    ]
    air_c: list[float | None] = [
        still[step] if step in swapped else moving[step] for step in range(STEPS)
    ]
    half = [1.0 if (step // 4) % 2 else 0.0 for step in range(2 * STEPS)]
    off = [0.0] * (2 * STEPS)
    return Grid([STEP_S * step for step in range(STEPS)], beer_c, air_c, (half, off, off), still)


def test_two_hours_of_swapped_probes_are_named_from_when_they_were_swapped() -> None:
    (found,) = exchanged_findings(COURSE, grid_of(range(60, 84)))
    assert found.cause is Cause.PROBES_SWAPPED
    assert abs(found.start_s - 60 * STEP_S) <= 2 * STEP_S
    assert abs(found.end_s - 84 * STEP_S) <= 2 * STEP_S


def test_a_beer_that_lies_still_beside_air_that_moves_is_as_it_should_be() -> None:
    assert list(exchanged_findings(COURSE, grid_of(range(0)))) == []


def test_a_vessel_probe_that_was_taken_out_and_put_back_is_not_swapped() -> None:
    assert list(exchanged_findings(COURSE, grid_of(range(0), jumped=range(60, 84)))) == []
