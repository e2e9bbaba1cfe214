"""The figures of a review, on courses made by hand whose figures follow from how they were made."""

from __future__ import annotations

from collections.abc import Callable
from math import exp, pi, sin

import pytest

from fermd.control.events import StepChange, StepChanged
from fermd.review.causes.cause import Cause, Finding
from fermd.review.causes.disturbances import gathered
from fermd.review.causes.excursions import excursions
from fermd.review.course import Course, Happened
from fermd.review.fermentation_heat import fermentation_heat
from fermd.review.holding import hold_figures
from fermd.review.least_squares import Normal
from fermd.review.output_figures import days_of
from fermd.review.record import Run
from fermd.review.roles import Roles
from fermd.review.series import Series
from fermd.review.step_figures import step_figures
from fermd.review.target_track import Corner

HOUR_S, DAY_S = 3600.0, 86400.0
START_S = 1_790_000_000.0

numpy = pytest.importorskip("numpy")
optimize = pytest.importorskip("scipy.optimize")


def _series(temp_c: Callable[[float], float], lasted_s: float, step_s: int = 60) -> Series:
    series = Series(step_s)
    for number in range(int(lasted_s / step_s)):
        at_s = START_S + step_s * (number + 0.5)
        value = temp_c(at_s - START_S)
        series.at_s.append(at_s)
        for column in (series.low_c, series.mean_c, series.high_c):
            column.append(value)
        series.good.append(6.0)
    return series


def _course(
    beer_c: Callable[[float], float],
    lasted_s: float,
    *,
    air_c: Callable[[float], float] | None = None,
    target_c: float = 10.0,
    runs: tuple[Run, ...] = (),
) -> Course:
    probes = {"beer": _series(beer_c, lasted_s)}
    if air_c is not None:
        probes["air"] = _series(air_c, lasted_s)
    entered = StepChanged("p", 0, "hold", "cold", StepChange.ENTERED, 0.0)
    return Course(
        "lager",
        START_S,
        START_S + lasted_s,
        Roles("beer", "air" if air_c is not None else None),
        probes,
        runs,
        (Corner(START_S, target_c, target_c),),
        (Happened(START_S, 1, 0.0, 1, "lager", entered),),
    )


def test_a_beer_that_swings_is_in_band_for_the_share_that_a_sine_is() -> None:
    """|sin| is below one half for a third of the time (closed form)."""
    course = _course(lambda at_s: 10.0 + sin(2 * pi * at_s / DAY_S), 4 * DAY_S)
    held = hold_figures(course, 0.5)
    assert held.in_band_share == pytest.approx(1 / 3, abs=0.005)
    assert held.mean_error_c == pytest.approx(0.0, abs=0.002)


def test_degree_hours_above_a_limit_are_the_area_of_a_triangle() -> None:
    """From 10 to 14 °C in 8 h, limit 12 °C: 2 °C by 4 h, halved (closed form)."""
    course = _course(lambda at_s: 10.0 + at_s / (2 * HOUR_S), 8 * HOUR_S)
    held = hold_figures(course, 0.5, limit_c=12.0)
    assert held.above_limit_ch == pytest.approx(4.0, rel=0.01)
    assert held.above_limit_h == pytest.approx(4.0, rel=0.01)


def test_a_step_that_rings_has_the_overshoot_of_its_formula() -> None:
    """A second-order step response: overshoot exp(-π ζ / √(1-ζ²)) of the step.

    Åström and Murray, Feedback Systems, sec. 6.3 (from memory).
    """
    damping, natural = 0.5, 2 * pi / (6 * HOUR_S)
    damped = natural * (1 - damping**2) ** 0.5

    def beer_c(at_s: float) -> float:
        swing = damping / (1 - damping**2) ** 0.5 * sin(damped * at_s)
        wave = sin(damped * at_s + pi / 2) + swing
        return 10.0 + 4.0 * exp(-damping * natural * at_s) * wave

    (step,) = step_figures(_course(beer_c, 4 * DAY_S), 0.5)
    expected_c = 4.0 * exp(-pi * damping / (1 - damping**2) ** 0.5)
    assert step.overshoot_c == pytest.approx(expected_c, rel=0.01)
    assert step.settled_after_s is not None
    assert step.arrived_after_s is not None
    assert step.arrived_after_s < step.settled_after_s


def test_beer_on_its_way_is_no_excursion_and_beer_that_leaves_is_one() -> None:
    def beer_c(at_s: float) -> float:
        on_the_way_c = 8.0 * exp(-at_s / (2 * HOUR_S))
        pushed_c = 2.0 if 30 * HOUR_S <= at_s < 33 * HOUR_S else 0.0
        return 10.0 + on_the_way_c + pushed_c

    found = excursions(_course(beer_c, 3 * DAY_S), 0.5, ())
    (one,) = found
    assert (one.start_s - START_S) / HOUR_S == pytest.approx(30.0, abs=0.05)
    assert one.lasted_s == pytest.approx(3 * HOUR_S, abs=120.0)
    assert one.worst_off_c == pytest.approx(2.0, abs=0.01)
    # 1.5 °C outside the band, for 3 h.
    assert one.degree_hours == pytest.approx(4.5, rel=0.02)
    # Nothing in this chamber ever cooled.
    assert one.cause is Cause.NO_COOLING


def test_of_what_comes_together_the_fault_is_named_and_not_what_followed_from_it() -> None:
    cut = Finding(Cause.POWER_CUT, START_S, START_S + 1800.0, "for 30 min")
    probe = Finding(Cause.PROBE_FAULT, START_S + 1900.0, START_S + 2000.0, "beer: no answer")
    later = Finding(Cause.DOOR_OPEN, START_S + DAY_S, START_S + DAY_S + 600.0, "air rose")
    first, second = gathered([later, probe, cut])
    assert (first.cause, first.beside) == (Cause.POWER_CUT, (Cause.PROBE_FAULT,))
    assert second.cause is Cause.DOOR_OPEN


def test_the_days_of_a_span_follow_the_brewers_clock_over_its_change() -> None:
    """Clocks in Vienna go back on 25 October 2026: that day has 25 h (EU directive 2000/84/EC)."""
    from datetime import datetime
    from zoneinfo import ZoneInfo

    zone = ZoneInfo("Europe/Vienna")
    from_s = datetime(2026, 10, 24, 12, tzinfo=zone).timestamp()
    to_s = datetime(2026, 10, 26, 12, tzinfo=zone).timestamp()
    lengths_h = {
        day: (end_s - begin_s) / HOUR_S for day, begin_s, end_s in days_of(from_s, to_s, zone)
    }
    assert lengths_h == {"2026-10-24": 12.0, "2026-10-25": 25.0, "2026-10-26": 12.0}


def test_least_squares_without_negative_numbers_is_that_of_a_reference_library() -> None:
    """scipy.optimize.nnls: Lawson and Hanson's own algorithm."""
    random = numpy.random.default_rng(7)
    for _ in range(20):
        rows, right = random.normal(size=(30, 6)), random.normal(size=30)
        normal = Normal(6)
        for row, value in zip(rows, right, strict=True):
            normal.add(list(row), float(value))
        found = normal.solved(range(6), range(6))
        expected, _ = optimize.nnls(rows, right)
        assert found == pytest.approx(list(expected), abs=1e-6)


def test_the_warmth_of_a_beer_that_follows_its_equation_is_found_as_it_was_made() -> None:
    """A beer integrated with a known warmth: 12 °C in all, peak on day 3, over after ten."""
    rate_per_h, minutes = 0.09, int(21 * DAY_S / 60)

    def warmth_c_per_h(at_h: float) -> float:
        if at_h <= 72.0:
            return 0.1 * at_h / 72.0
        return max(0.0, 0.1 * (1.0 - (at_h - 72.0) / 168.0))

    beer, air, beer_c = [], [], 10.0
    for minute in range(minutes):
        at_h = minute / 60.0
        wanted_c = 10.0 if at_h < 300 else 10.0 - 12.0 * min(1.0, (at_h - 300.0) / 120.0)
        swing_c = 2.0 * sin(2 * pi * at_h / 2.0)
        air_c = beer_c + (wanted_c - beer_c) * 3.0 - warmth_c_per_h(at_h) / rate_per_h + swing_c
        beer.append(beer_c)
        air.append(air_c)
        beer_c += (rate_per_h * (air_c - beer_c) + warmth_c_per_h(at_h)) / 60.0
    course = _course(
        lambda at_s: beer[int(at_s / 60.0)],
        21 * DAY_S,
        air_c=lambda at_s: air[int(at_s / 60.0)],
    )
    heat = fermentation_heat(course, volume_l=20.0)
    assert heat.why == ""
    # The triangle's area: half of 0.1 °C/h by 240 h.
    assert heat.total_c == pytest.approx(12.0, rel=0.03)
    assert heat.peak_s is not None
    assert (heat.peak_s - START_S) / HOUR_S == pytest.approx(72.0, abs=12.0)
    assert heat.follows_within_h == pytest.approx(1.0 / rate_per_h, rel=0.03)


@pytest.mark.parametrize(("days", "with_air"), [(3, True), (20, False)])
def test_where_there_is_too_little_to_go_by_no_figure_is_given(days: int, with_air: bool) -> None:
    course = _course(lambda _: 10.0, days * DAY_S, air_c=(lambda _: 9.0) if with_air else None)
    heat = fermentation_heat(course)
    assert heat.why
    assert heat.total_c is None
