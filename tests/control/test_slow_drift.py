"""Narrower bands for beer that drifts slowly, held against a search for the least cost."""

from __future__ import annotations

import pytest
from scipy.optimize import minimize_scalar

from fermd.control.slow_drift import (
    FULL_BAND_C_PER_H,
    NARROWEST,
    STEADIED_S,
    TRUE_WITHIN_C,
    narrowed,
    steadied,
    within_noise,
)


def cheapest_band_c(drift_c_per_h: float, price: float) -> float:
    """Find by search the half width with the least sum of mean square error and price of starts.

    The saw-tooth's mean square is a²/3, and it takes drift / (2 a) starts an hour.
    """
    found = minimize_scalar(
        lambda a: a * a / 3.0 + price * drift_c_per_h / (2.0 * a), bounds=(1e-3, 3.0)
    )
    return float(found.x)


@pytest.mark.parametrize("share_of_drift", [0.15, 0.3, 0.6, 0.9])
@pytest.mark.parametrize("price", [0.01, 0.1])
def test_the_band_follows_the_drift_as_the_cheapest_one_does(
    share_of_drift: float, price: float
) -> None:
    full_c = cheapest_band_c(FULL_BAND_C_PER_H, price)
    slow_c = cheapest_band_c(share_of_drift * FULL_BAND_C_PER_H, price)
    drift_c_per_h = share_of_drift * FULL_BAND_C_PER_H
    assert narrowed(drift_c_per_h, 1.0) == pytest.approx(slow_c / full_c, rel=1e-3)
    assert narrowed(-drift_c_per_h, -1.0) == pytest.approx(slow_c / full_c, rel=1e-3)


def test_half_a_degree_an_hour_has_the_whole_band_and_a_tenth_six_tenths_of_it() -> None:
    assert narrowed(0.5, 1.0) == 1.0
    assert narrowed(0.49, 1.0) < 1.0
    assert narrowed(0.108, 1.0) == pytest.approx(0.6)
    assert narrowed(-0.108, -1.0) == pytest.approx(0.6)


def test_no_band_is_wider_than_set_or_narrower_than_half() -> None:
    assert narrowed(2.0 * FULL_BAND_C_PER_H, 1.0) == 1.0
    assert narrowed(FULL_BAND_C_PER_H, 1.0) == 1.0
    assert narrowed(1e-6, 1.0) == NARROWEST


def test_beer_that_comes_back_or_stands_or_is_not_known_has_the_whole_band() -> None:
    assert narrowed(-0.01, 1.0) == 1.0
    assert narrowed(0.01, -1.0) == 1.0
    assert narrowed(0.0, 1.0) == 1.0
    assert narrowed(None, 1.0) == 1.0


def test_readings_are_steadied_behind_a_lag() -> None:
    assert steadied(None, 10.0, 10.0) == 10.0
    assert steadied(10.0, 10.0625, STEADIED_S) == pytest.approx(10.03125)
    assert steadied(10.0, 10.0625, 0.0) == 10.0


def test_steadied_beer_is_never_far_from_what_is_read() -> None:
    assert steadied(10.0, 12.0, 10.0) == pytest.approx(12.0 - TRUE_WITHIN_C)
    assert steadied(10.0, 8.0, 10.0) == pytest.approx(8.0 + TRUE_WITHIN_C)


def test_what_was_steadied_before_is_as_near_to_another_reading_as_noise_can_have_it() -> None:
    assert within_noise(10.05, 10.0) == 10.05
    assert within_noise(12.0, 10.0) == pytest.approx(10.0 + TRUE_WITHIN_C)
    assert within_noise(8.0, 10.0) == pytest.approx(10.0 - TRUE_WITHIN_C)
