"""A door brings the air to the room's temperature; a contact that is stuck on brings it beyond."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, exp
from random import Random

import pytest

from fermd.review.causes.cause import Cause, Finding
from fermd.review.causes.disturbances import gathered
from fermd.review.causes.grid import STEP_S, Grid, grid_of
from fermd.review.causes.heated import heated_vessel
from fermd.review.causes.motion import AIR_SIZE, BEER_SIZE, Motion, fit_motion
from fermd.review.causes.room import Room, room_before
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
    is_out: Callable[[float], bool] = never,
    room_c: float = ROOM_C,
    runs: tuple[Run, ...] = (),
) -> Course:
    """A chamber of two time constants, minute by minute, with noise on its probes.

    `is_out`: when the air's probe lies in the room.
    """
    random = Random(1)
    vessel, air = Series(60), Series(60)
    air_c = read_c = BEER_C - 2.0
    for minute in range(HOURS * 60):
        hour = minute / 60.0
        air_c += TO_BEER * (BEER_C - air_c) + TO_ROOM * (room_c - air_c) + chill_c(hour)
        air_c += THROUGH_DOOR * (room_c - air_c) if door(hour) else 0.0
        air_c += (FRIDGE_C if cools(hour) else 0.0) + (HEATER_C if heats(hour) else 0.0)
        read_c += ((room_c if is_out(hour) else air_c) - read_c) / LAG_MIN
        for series, true_c in ((vessel, BEER_C), (air, read_c)):
            temp_c = round((true_c + random.gauss(0.0, 0.03)) / STEP_C) * STEP_C
            series.at_s.append(60.0 * minute + 30.0)
            for column in (series.low_c, series.mean_c, series.high_c):
                column.append(temp_c)
            series.good.append(1.0)
    probes = {"vessel": vessel, "air": air}
    roles = Roles("vessel", "air")
    return Course("cellar", 0.0, HOURS * 3600.0, roles, probes, runs, (), ())


def room_of(course: Course) -> Room:
    """What is known of a course's room after some 16 hours."""
    grid = grid_of(course)
    assert grid is not None
    motion = fit_motion(grid)
    assert motion is not None
    return room_before(grid, motion, 200)


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


def test_a_door_that_is_shut_again_is_one_disturbance() -> None:
    (found,) = seen_findings(lived(door=during))
    assert found.end_s == pytest.approx(FAULT_H[1] * 3600.0, abs=6 * STEP_S)


def test_air_that_jumps_up_behind_a_running_fridge_was_let_in_by_a_door() -> None:
    """A dead fridge lets the air drift, and does not drive it."""
    course = lived(door=lambda hour: 30.1 <= hour < 30.4, cools=cycling, runs=CYCLES, room_c=20.0)
    assert {one.cause for one in seen_findings(course)} == {Cause.DOOR_OPEN}


@pytest.mark.parametrize(
    ("every_h", "room_c"),
    [
        pytest.param(0.5, 9.0, id="in a room as cold as the air"),
        # It jumps there as through a door at first.
        pytest.param(0.7, 18.0, id="in a warm room"),
    ],
)
def test_an_air_probe_that_does_not_follow_what_runs_is_out_of_its_place(
    every_h: float, room_c: float
) -> None:
    ran_h = every_h / 4.0
    runs = tuple(
        Run("fridge", "cool", 3600.0 * start_h, 3600.0 * (start_h + ran_h), "above-band", True)
        for start_h in (every_h * number for number in range(ceil(HOURS / every_h)))
    )
    course = lived(
        cools=lambda hour: hour % every_h < ran_h,
        is_out=lambda hour: 28.05 <= hour < 33.0,
        room_c=room_c,
        runs=runs,
    )
    (found,) = seen_findings(course)
    assert found.cause is Cause.PROBE_MOVED
    assert found.start_s == pytest.approx(28.05 * 3600.0, abs=3 * STEP_S)
    assert found.end_s == pytest.approx(33.0 * 3600.0, abs=3 * STEP_S)


def test_air_that_soon_comes_back_was_let_in_by_a_door_and_cooled_by_no_contact() -> None:
    """Beside a fridge that takes the air as far; a contact that is welded does not let go."""
    for minutes in (10.0, 90.0):
        opened_h = 30.0 + (0.6 if minutes < 60.0 else 0.4)
        shut_h = opened_h + minutes / 60.0
        course = lived(
            door=lambda hour, opened_h=opened_h, shut_h=shut_h: opened_h <= hour < shut_h,
            cools=cycling,
            runs=CYCLES,
        )
        assert {one.cause for one in seen_findings(course)} == {Cause.DOOR_OPEN}


@pytest.mark.parametrize("course", [lived(), lived(cools=cycling, runs=CYCLES)])
def test_a_chamber_with_nothing_wrong_shows_nothing(course: Course) -> None:
    assert seen_findings(course) == []


def test_a_fridge_that_takes_the_air_where_its_room_may_be_is_told_by_how_slowly_it_does() -> None:
    """So weak a fridge goes no further than a cold room; but a door would be there in minutes."""

    def plate_c(hour: float) -> float:
        """It gets cold within a quarter of an hour, and warm again."""
        started, stopped = (exp(-4.0 * max(0.0, hour - since)) for since in FAULT_H)
        return -0.5 * ((1.0 - started) - (1.0 - stopped))

    weak = lived(chill_c=plate_c)
    assert Cause.DOOR_OPEN not in {one.cause for one in seen_findings(weak)}


def run_of(hours: float, weaker_c: float, within: tuple[float, float]) -> Course:
    """A fridge that runs for longer than it used to, and is weaker for a part of that run."""
    last_h = FAULT_H[0] + hours

    def cools(hour: float) -> bool:
        return cycling(hour) or FAULT_H[0] <= hour < last_h

    def chill_c(hour: float) -> float:
        return weaker_c if within[0] <= hour - FAULT_H[0] < within[1] else 0.0

    long_run = Run("fridge", "cool", FAULT_H[0] * 3600.0, last_h * 3600.0, "above-band", True)
    return lived(cools=cools, chill_c=chill_c, runs=(*CYCLES[:30], long_run, *CYCLES[31:]))


def test_a_fridge_that_tires_or_comes_late_has_not_failed() -> None:
    """Its plate gets colder, and takes out less; or its compressor starts at the second try."""
    assert seen_findings(run_of(0.5, 0.8, (0.25, 0.5))) == []
    assert seen_findings(run_of(0.75, 1.0, (0.0, 0.17))) == []


def test_a_fridge_that_does_nothing_in_a_long_run_has_failed() -> None:
    found, *_ = seen_findings(run_of(1.0, -FRIDGE_C, (0.0, 1.0)))
    assert found.cause is Cause.COOLING_FAILED


COURSE = Course("cellar", 0.0, HOURS * 3600.0, Roles("vessel", "air"), {}, (), (), ())


def still_motion(rises_c: float) -> Motion:
    """Air that rises by so much in a step of 5 min, whatever there is."""
    noises = (0.06, 0.06, 0.06)
    return Motion(
        (0.0,) * (AIR_SIZE - 1) + (rises_c,), (0.0,) * BEER_SIZE, noises, noises[:2], (True, True)
    )


def test_a_heater_at_the_vessel_is_seen_by_both_probes_at_once() -> None:
    off = [0.0] * 400
    still = [10.0] * 200
    warmed = still[:100] + [10.5] + [11.0] * 99
    airy = still[:100] + [10.8] + [11.4] * 99
    hot = still[:100] + [13.0] + [15.0] * 99
    for beer_c, air_c, is_seen in (
        (warmed, airy, True),
        (warmed, still, False),
        (still, airy, False),
        # What a taped probe sees of hot air.
        (warmed, hot, False),
    ):
        grid = Grid(
            [STEP_S * step for step in range(200)], [*beer_c], [*air_c], (off, off, off), still
        )
        found = heated_vessel(COURSE, grid, still_motion(0.0), 99, 102)
        assert (found is not None) is is_seen
        if found is not None:
            assert found.cause is Cause.HEATING_STUCK_ON
            assert abs(found.start_s - 99 * STEP_S) <= STEP_S
            # Air that comes back from a run of the fridge rises so by itself.
            assert heated_vessel(COURSE, grid, still_motion(0.7), 99, 102) is None


def test_of_a_contact_stuck_on_and_what_runs_against_it_the_contact_is_named() -> None:
    told = Finding(Cause.HEATING_FAILED, 600.0, 3600.0, "no effect", weight=2.0)
    seen = Finding(Cause.COOLING_STUCK_ON, 0.0, 3000.0, "air fell")
    (found,) = gathered([told, seen])
    assert (found.cause, found.beside) == (Cause.COOLING_STUCK_ON, (Cause.HEATING_FAILED,))
    (found,) = gathered([told])
    assert found.cause is Cause.HEATING_FAILED


def test_a_room_is_looked_for_beyond_the_air_as_it_lies_at_rest() -> None:
    room = room_of(lived())
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
    room = room_of(lived(heats=lambda hour: hour % 0.5 < 1.0 / 12.0, runs=heated))
    assert room.coldest_c < ROOM_C < room.warmest_c < BEER_C + 1.0


def test_air_that_comes_back_slowly_after_a_long_run_is_cooled_by_no_stuck_contact() -> None:
    """The plate of a fridge that ran for hours holds more cold than one that ran for minutes."""

    def cools(hour: float) -> bool:
        return cycling(hour) if hour < 24.0 else hour < 30.0

    def chill_c(hour: float) -> float:
        return -0.9 if 30.0 <= hour < 30.2 else 0.0

    long_run = Run("fridge", "cool", 24 * 3600.0, 30 * 3600.0, "above-band", True)
    course = lived(cools=cools, chill_c=chill_c, runs=(*CYCLES[:24], long_run))
    assert Cause.COOLING_STUCK_ON not in {one.cause for one in seen_findings(course)}
