"""A door brings the air to the room's temperature; a contact that is stuck on brings it beyond."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import pytest

from fermd.review.causes.cause import Cause
from fermd.review.causes.grid import STEP_S, grid_of
from fermd.review.causes.room import room_before
from fermd.review.causes.seen import seen_findings
from fermd.review.course import Course
from fermd.review.record import Run
from fermd.review.roles import Roles
from fermd.review.series import Series

HOURS = 36
BEER_C, ROOM_C = 15.0, 5.0
TO_BEER, TO_ROOM, THROUGH_DOOR = 1 / 20, 1 / 80, 1 / 2
"""By what share of its distance to each the air moves in a minute: at rest it lies a fifth of the
way from the beer to the room."""

FRIDGE_C, HEATER_C = -1.5, 0.8
"""What each adds in a minute, °C."""

LAG_MIN = 3.0
"""Of a probe in air."""

STEP_C = 0.0625

FAULT_H = (30.0, 32.0)


def during(hour: float) -> bool:
    return FAULT_H[0] <= hour < FAULT_H[1]


def never(_hour: float) -> bool:
    return False


def lived(
    *,
    door: Callable[[float], bool] = never,
    cools: Callable[[float], bool] = never,
    heats: Callable[[float], bool] = never,
    chill_c: Callable[[float], float] = lambda _: 0.0,
    runs: tuple[Run, ...] = (),
) -> Course:
    """A chamber of two time constants, minute by minute, with noise on its probes."""
    random = Random(1)
    vessel, air = Series(60), Series(60)
    air_c = read_c = BEER_C - 2.0
    for minute in range(HOURS * 60):
        hour = minute / 60.0
        air_c += TO_BEER * (BEER_C - air_c) + TO_ROOM * (ROOM_C - air_c) + chill_c(hour)
        air_c += THROUGH_DOOR * (ROOM_C - air_c) if door(hour) else 0.0
        air_c += (FRIDGE_C if cools(hour) else 0.0) + (HEATER_C if heats(hour) else 0.0)
        read_c += (air_c - read_c) / LAG_MIN
        for series, true_c in ((vessel, BEER_C), (air, read_c)):
            temp_c = round((true_c + random.gauss(0.0, 0.03)) / STEP_C) * STEP_C
            series.at_s.append(60.0 * minute + 30.0)
            for column in (series.low_c, series.mean_c, series.high_c):
                column.append(temp_c)
            series.good.append(1.0)
    probes = {"vessel": vessel, "air": air}
    roles = Roles("vessel", "air")
    return Course("cellar", 0.0, HOURS * 3600.0, roles, probes, runs, (), ())


def cycling(hour: float) -> bool:
    """A fridge that runs for ten minutes of each hour."""
    return hour % 1.0 < 1.0 / 6.0


CYCLES = tuple(
    Run("fridge", "cool", 3600.0 * hour, 3600.0 * hour + 600.0, "above-band", True)
    for hour in range(HOURS)
)


@pytest.mark.parametrize(
    ("course", "cause"),
    [
        pytest.param(lived(door=during), Cause.DOOR_OPEN, id="door to the cold room"),
        # Neither has ever run here, so that how each goes is not known.
        pytest.param(lived(heats=during), Cause.HEATING_STUCK_ON, id="heater, above the room"),
        pytest.param(lived(cools=during), Cause.COOLING_STUCK_ON, id="fridge, below the room"),
    ],
)
def test_what_moved_the_air_is_told_by_whether_its_room_is_there(
    course: Course, cause: Cause
) -> None:
    first, *_ = seen_findings(course)
    assert first.cause is cause
    assert first.start_s == pytest.approx(FAULT_H[0] * 3600.0, abs=2 * STEP_S)


@pytest.mark.parametrize("course", [lived(), lived(cools=cycling, runs=CYCLES)])
def test_a_chamber_with_nothing_wrong_shows_nothing(course: Course) -> None:
    assert seen_findings(course) == []


def test_a_room_is_looked_for_beyond_the_air_as_it_lies_at_rest() -> None:
    grid = grid_of(lived())
    assert grid is not None
    room = room_before(grid, 200)
    assert room.coldest_c < ROOM_C < room.warmest_c < BEER_C - 2.0
    assert room.is_below(BEER_C)
    assert room.is_above(-8.0)
    assert not room.is_above(ROOM_C)
    assert not room.is_below(ROOM_C)


def test_a_chamber_that_must_be_heated_has_a_colder_room() -> None:
    heated = tuple(
        Run("belt", "heat", 1800.0 * half, 1800.0 * half + 300.0, "below-band", True)
        for half in range(2 * HOURS)
    )
    grid = grid_of(lived(heats=lambda hour: hour % 0.5 < 1.0 / 12.0, runs=heated))
    assert grid is not None
    room = room_before(grid, 200)
    assert ROOM_C < room.warmest_c < BEER_C + 1.0
    assert not room.is_above(-30.0)


def test_air_that_comes_back_slowly_after_a_long_run_is_cooled_by_no_stuck_contact() -> None:
    """The plate of a fridge that ran for hours holds more cold than one that ran for minutes."""

    def cools(hour: float) -> bool:
        return cycling(hour) if hour < 24.0 else hour < 30.0

    def chill_c(hour: float) -> float:
        return -0.35 if 30.0 <= hour < 30.2 else 0.0

    long_run = Run("fridge", "cool", 24 * 3600.0, 30 * 3600.0, "above-band", True)
    course = lived(cools=cools, chill_c=chill_c, runs=(*CYCLES[:24], long_run))
    assert Cause.COOLING_STUCK_ON not in {one.cause for one in seen_findings(course)}
