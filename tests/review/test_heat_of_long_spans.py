"""The heat of a fermentation is one batch's, however long the span that is asked about."""

from __future__ import annotations

from math import exp

import pytest

from fermd.control.events import ProfileChange, ProfileChanged
from fermd.review.course import Course, Happened
from fermd.review.fermentation_heat import LONGEST_FITTED_H, fermentation_heat
from fermd.review.record import Run
from fermd.review.roles import Roles
from fermd.review.series import Series

HOUR_S, DAY_S = 3600.0, 86400.0
START_S = 1_790_000_000.0


def begun(day: float) -> Happened:
    what = ProfileChanged("lager", ProfileChange.STARTED, "Ann")
    return Happened(START_S + day * DAY_S, 1, day * DAY_S, int(day) + 1, "lager", what)


def course(days: float, *happened: Happened) -> Course:
    """Beer that follows its air and warms by itself for a week; then the air is made cold."""
    vessel, air = Series(900), Series(900)
    beer_c = 10.0
    for number in range(int(days * DAY_S / 900)):
        day = number / 96.0
        air_c = 9.0 + (number // 31) % 3 - (8.0 if day > 12.0 else 0.0)
        warmth_c_per_h = 0.08 * exp(-(((day - 3.0) / 1.5) ** 2))
        beer_c += (air_c - beer_c) * 0.25 / 10.0 + 0.25 * warmth_c_per_h
        for series, temp_c in ((vessel, beer_c), (air, air_c)):
            series.at_s.append(START_S + 900.0 * (number + 0.5))
            for column in (series.low_c, series.mean_c, series.high_c):
                column.append(temp_c)
            series.good.append(90.0)
    runs = tuple(
        Run("fridge", "cool", START_S + 7200.0 * one, START_S + 7200.0 * one + 900.0, "above-band")
        for one in range(int(days * 12))
    )
    probes = {"beer": vessel, "air": air}
    end_s = START_S + days * DAY_S
    return Course("lager", START_S, end_s, Roles("beer", "air"), probes, runs, (), happened)


def test_months_of_lagering_change_nothing_of_a_batch_s_heat() -> None:
    short = fermentation_heat(course(LONGEST_FITTED_H / 24.0, begun(0.0)))
    long = fermentation_heat(course(150.0, begun(0.0)))
    assert short.why == long.why == ""
    assert short.total_c is not None
    assert long.total_c == pytest.approx(short.total_c, rel=0.05)
    assert long.points[-1].at_s <= START_S + LONGEST_FITTED_H * HOUR_S


def test_a_span_of_several_batches_has_no_heat_of_its_own() -> None:
    found = fermentation_heat(course(300.0, begun(0.0), begun(28.0), begun(56.0)))
    assert found.why.startswith("3 batches were begun in the span")
    assert found.points == ()
