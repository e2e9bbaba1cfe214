"""Which jumps of the air a door makes: not back, and not what was switched does."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from fermd.review.causes.cause import Cause
from fermd.review.causes.doors import doors
from fermd.review.causes.grid import STEP_S, Grid
from fermd.review.causes.motion import AIR_SIZE, BEER_SIZE, Motion

STEPS, AT = 120, 100
"""Steps of 5 min, and when the air jumps."""

BEER_C, AIR_C = 12.0, 10.0
"""The room is on the far side of the air: colder."""

FRIDGE_STARTS_C = -1.0
"""What the start of the fridge does to the air in a step, °C."""

NOISES_C = (0.06, 0.06, 0.06)

MOTION = Motion(
    # Behind the four of the air itself: what the newest half of a step of cooling adds.
    (0.0,) * 4 + (FRIDGE_STARTS_C,) + (0.0,) * (AIR_SIZE - 5),
    (0.0,) * BEER_SIZE,
    NOISES_C,
    NOISES_C[:2],
    (True, True),
)


def grid_of(air_c: Callable[[int], float], *, cools: bool = False) -> Grid:
    """Air that goes as told from `AT` on; `cools`: there the fridge runs, for half a step."""
    off = [0.0] * (2 * STEPS)
    cool = [1.0 if cools and half == 2 * AT + 1 else 0.0 for half in range(2 * STEPS)]
    air: list[float | None] = [AIR_C if step < AT else air_c(step - AT) for step in range(STEPS)]
    at_s = [STEP_S * step for step in range(STEPS)]
    return Grid(at_s, [BEER_C] * STEPS, air, (cool, off, off), [AIR_C] * STEPS)


def causes(grid: Grid, places: range) -> set[Cause]:
    return {cause for _, cause in doors(grid, MOTION, places)}


def drawn(room_c: float, from_c: float) -> Callable[[int], float]:
    """Air that goes three tenths of its way to a room's in each step."""
    return lambda step: room_c + (from_c - room_c) * 0.7**step


def test_air_that_is_drawn_to_a_room_is_so_through_a_door() -> None:
    assert causes(grid_of(drawn(3.0, AIR_C)), range(AT, AT + 12)) == {Cause.DOOR_OPEN}


def test_air_that_jumps_up_was_not_drawn_to_a_colder_room() -> None:
    """It goes up, stays, and falls to where a room may well be; and so without that jump."""
    falls = drawn(3.0, AIR_C + 1.0)

    def jumps_and_falls(step: int) -> float:
        return AIR_C if step == 0 else falls(max(0, step - 2))

    assert causes(grid_of(falls), range(AT, AT + 8)) == {Cause.DOOR_OPEN}
    assert causes(grid_of(jumps_and_falls), range(AT, AT + 8)) == set()


@pytest.mark.parametrize(
    ("jump_c", "is_door"),
    [
        pytest.param(1.1 * FRIDGE_STARTS_C, False, id="a fridge that is somewhat stronger"),
        pytest.param(2.0 * FRIDGE_STARTS_C, True, id="more than a fridge does"),
    ],
)
def test_a_fridge_that_starts_explains_no_more_than_it_usually_does(
    jump_c: float, is_door: bool
) -> None:
    fallen_c = AIR_C + FRIDGE_STARTS_C + jump_c
    fallen = grid_of(lambda step: fallen_c if step else AIR_C, cools=True)
    assert (Cause.DOOR_OPEN in causes(fallen, range(AT, AT + 6))) is is_door
