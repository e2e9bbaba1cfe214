"""How the air of a chamber usually moves, and what counts as strange beside it."""

from __future__ import annotations

from math import hypot

import pytest

from fermd.review.causes.grid import STEP_S, Grid
from fermd.review.causes.motion import AIR_SIZE, BEER_SIZE, Motion

NOISES_C = (0.1, 0.2, 0.3)
MOTION = Motion((0.0,) * AIR_SIZE, (0.0,) * BEER_SIZE, NOISES_C, NOISES_C[:2], (True, True))


def grid_of(*air_c: float | None) -> Grid:
    steps = len(air_c)
    off = [0.0] * (2 * steps)
    at_s = [STEP_S * step for step in range(steps)]
    return Grid(at_s, [12.0] * steps, list(air_c), (off, off, off), [12.0] * steps)


def test_air_that_swings_far_is_followed_less_exactly_for_ten_minutes() -> None:
    swings = grid_of(10.0, 10.0, 6.0, 6.0, 6.0, 6.0)
    noises_c = [MOTION.air_noise_c(swings, place) for place in range(6)]
    beside_swing_c = hypot(0.1, 0.05 * 4.0)
    assert noises_c == pytest.approx([0.1, 0.1, beside_swing_c, beside_swing_c, 0.1, 0.1])


def test_the_farther_it_swings_the_less_exactly() -> None:
    near, far = (MOTION.air_noise_c(grid_of(10.0, 10.0 - by_c, 9.0), 1) for by_c in (1.0, 8.0))
    assert NOISES_C[0] < near < far


def test_air_that_was_not_read_swings_by_nothing_known() -> None:
    assert MOTION.air_noise_c(grid_of(10.0, None, 4.0, 4.0), 2) == pytest.approx(0.1)
