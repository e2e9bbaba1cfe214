"""Probes that were swapped while they read about the same are told by which of them moves."""

from __future__ import annotations

from math import pi, sin

from fermd.review.causes.cause import Cause
from fermd.review.causes.exchanged import exchanged_findings
from fermd.review.causes.grid import STEP_S, Grid
from fermd.review.causes.jumps import UsualMoves, moved_probe
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


def resting(beer_c: list[float], air_c: list[float], heat: list[float] | None = None) -> Grid:
    """A chamber with nothing switched but, if told, its heater (by halves of a step)."""
    off = [0.0] * (2 * STEPS)
    shares = (off, off if heat is None else heat, off)
    return Grid([STEP_S * step for step in range(STEPS)], [*beer_c], [*air_c], shares, air_c)


def level_c(before_c: float, since_c: float, step: int = 60) -> list[float]:
    return [before_c] * step + [(before_c + since_c) / 2.0] + [since_c] * (STEPS - step - 1)


def test_probes_that_trade_places_at_rest_jump_as_far_the_one_up_and_the_other_down() -> None:
    grid = resting(level_c(16.6, 16.2), level_c(15.9, 16.3))
    found = moved_probe(COURSE, grid, UsualMoves(grid), 59, 61)
    assert found is not None
    assert found.cause is Cause.PROBES_SWAPPED


def test_beer_and_air_that_move_the_same_way_are_not_swapped() -> None:
    for beer_c, air_c in (
        (level_c(16.6, 17.0), level_c(15.9, 16.3)),
        (level_c(16.6, 16.2), level_c(15.9, 18.3)),
    ):
        grid = resting(beer_c, air_c)
        assert moved_probe(COURSE, grid, UsualMoves(grid), 59, 61) is None


def test_a_vessel_probe_that_falls_as_its_heater_starts_was_moved_and_one_that_rises_was_not() -> (
    None
):
    heat = [0.0] * 119 + [1.0] * (2 * STEPS - 119)
    air_c = level_c(15.0, 17.0)
    rising, falling = (resting(level_c(16.6, 16.6 + by_c), air_c, heat) for by_c in (2.0, -2.0))
    assert moved_probe(COURSE, rising, UsualMoves(rising), 59, 61) is None
    found = moved_probe(COURSE, falling, UsualMoves(falling), 59, 61)
    assert found is not None
    assert found.cause is Cause.PROBE_MOVED


def test_the_usual_moves_of_a_probe_are_those_outside_of_what_is_looked_at() -> None:
    beer_c = [10.0 + (step % 5) * 0.1 for step in range(STEPS)]
    beer_c[70] = 30.0
    usual = UsualMoves(resting(beer_c, beer_c))
    moves = sorted(
        abs(beer_c[step + 1] - beer_c[step])
        for step in range(STEPS - 1)
        if step not in range(65, 75)
    )
    assert usual.liveliest_c(range(65, 75)) == moves[int(0.99 * len(moves))]


def test_a_jump_against_the_air_s_is_no_share_of_the_air() -> None:
    beer_c = level_c(16.6, 15.4)
    with_air, against = (resting(beer_c, level_c(15.0, 15.0 + by_c)) for by_c in (-4.0, 4.0))
    assert moved_probe(COURSE, with_air, UsualMoves(with_air), 59, 61) is None
    found = moved_probe(COURSE, against, UsualMoves(against), 59, 61)
    assert found is not None
    assert found.cause is Cause.PROBE_MOVED


def test_a_probe_that_wanders_off_and_comes_back_need_not_go_far() -> None:
    wandered = [10.0] * 60 + [9.72, 9.72] + [10.0] * (STEPS - 62)
    still = [9.0] * STEPS
    grid = resting(wandered, still)
    found = moved_probe(COURSE, grid, UsualMoves(grid), 59, 62)
    assert found is not None
    assert found.cause is Cause.PROBE_MOVED
    stayed = resting([10.0] * 60 + [9.72] * (STEPS - 60), still)
    assert moved_probe(COURSE, stayed, UsualMoves(stayed), 59, 62) is None
