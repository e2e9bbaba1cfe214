"""Without a probe in the air a contact that is stuck on shows in how fast the beer goes."""

from __future__ import annotations

from collections.abc import Callable

from fermd.review.causes.beer_alone import beer_findings
from fermd.review.causes.cause import Cause
from fermd.review.causes.grid import STEP_S, Grid
from fermd.review.course import Course
from fermd.review.roles import Roles

STEPS = 288
"""A day of grid points, 5 min each."""

COURSE = Course("cellar", 0.0, STEPS * STEP_S, Roles("vessel"), {}, (), (), ())
BY_ITSELF_C = 0.02
"""Beer warms by so much in a step, °C: its yeast works."""

FAULT = range(200, 224)


def grid_of(by_c: Callable[[int], float], cool: range = range(0), heat: range = range(0)) -> Grid:
    beer_c: list[float | None] = []
    now_c = 12.0
    for step in range(STEPS):
        beer_c.append(now_c)
        now_c += by_c(step)
    shares = tuple(
        [1.0 if half // 2 in runs else 0.0 for half in range(2 * STEPS)]
        for runs in (cool, heat, range(0))
    )
    none: list[float | None] = [None] * STEPS
    at_s = [STEP_S * step for step in range(STEPS)]
    return Grid(at_s, beer_c, none, (shares[0], shares[1], shares[2]), [0.0] * STEPS)


def stuck(by_c: float) -> Callable[[int], float]:
    return lambda step: by_c if step in FAULT else BY_ITSELF_C


def test_beer_that_falls_with_nothing_switched_is_cooled_by_a_contact() -> None:
    (found,) = beer_findings(COURSE, grid_of(stuck(-0.15)))
    assert found.cause is Cause.COOLING_STUCK_ON
    assert abs(found.start_s - FAULT.start * STEP_S) <= 3 * STEP_S
    assert "the beer fell" in found.detail


def test_beer_that_rises_behind_a_running_fridge_is_heated_by_a_contact() -> None:
    (found,) = beer_findings(COURSE, grid_of(stuck(0.2), cool=range(201, 224)))
    assert found.cause is Cause.HEATING_STUCK_ON


def test_beer_that_goes_as_what_runs_drives_it_is_as_it_should_be() -> None:
    assert list(beer_findings(COURSE, grid_of(lambda _: BY_ITSELF_C))) == []
    assert list(beer_findings(COURSE, grid_of(stuck(-0.15), cool=FAULT))) == []
    # What a heater has warmed beside its probe falls back when it stops.
    back = grid_of(lambda step: -0.25 if 200 <= step < 205 else BY_ITSELF_C, heat=range(194, 200))
    assert list(beer_findings(COURSE, back)) == []


def test_a_jump_of_the_probe_is_no_fridge() -> None:
    jumped = grid_of(lambda step: -3.0 if step == 200 else BY_ITSELF_C)
    assert list(beer_findings(COURSE, jumped)) == []
