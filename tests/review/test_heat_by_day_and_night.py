"""The heat of fermentation in a cold room: a heater that works by night is not taken for the beer.

The windows are made by the equation itself, with a room that swings by the day, and a heater that
holds the beer against it during the rest.
"""

from __future__ import annotations

from math import cos, pi, sin
from random import Random

import pytest

from fermd.review.heat_fit import best_fit
from fermd.review.heat_windows import Window

STEP_H, DAYS = 6.0, 22
RATE, LEAK, CONSTANT, POWER = 0.1, -0.05, 0.05, 1.15
SWING = 0.02
"""What the room's day adds to how the beer moves, °C/h."""


def warmth(at_h: float) -> float:
    """Rises for two days, falls for ten, °C/h."""
    return max(0.0, 0.07 * min(at_h / 48.0, (288.0 - at_h) / 240.0))


def beer_c(at_h: float) -> float:
    """Held at 10 °C, led to a rest at 18 °C for three days, then cooled."""
    day = at_h / 24.0
    return 10.0 + 8.0 * max(0.0, min(1.0, day - 7.0)) - 2.0 * max(0.0, day - 11.0)


def windows(weather_c: float = 0.0, seed: int = 1) -> list[Window]:
    random, lasting = Random(seed), 0.0
    found = []
    for place in range(int(DAYS * 24 / STEP_H)):
        at_h = STEP_H * (place + 0.5)
        wave = SWING * sin(2.0 * pi * at_h / 24.0)
        moved = (beer_c(at_h + STEP_H / 2) - beer_c(at_h - STEP_H / 2)) / STEP_H
        by_itself = LEAK * beer_c(at_h) / 10.0 + CONSTANT + wave + warmth(at_h)
        # What it takes is given by the heater, or taken by the air that the fridge has cooled.
        missing = moved - by_itself
        on = max(0.0, missing) / (POWER - RATE)
        air_off_c = -on if missing > 0.0 else missing / RATE
        lasting = 0.6 * lasting + random.gauss(0.0, 0.8 * weather_c)
        moved += random.gauss(0.0, 0.002) + lasting
        row = (
            air_off_c,
            beer_c(at_h) / 10.0,
            1.0,
            on,
            0.0,
            0.0,
            sin(2.0 * pi * at_h / 24.0),
            cos(2.0 * pi * at_h / 24.0),
        )
        found.append(Window(at_h, STEP_H, moved, row))
    return found


def test_the_heat_is_found_in_a_room_that_swings_by_the_day() -> None:
    true_c = sum(warmth(hour) for hour in range(DAYS * 24))
    fit = best_fit(windows())
    assert fit is not None
    assert fit.total_c == pytest.approx(true_c, rel=0.1)
    assert fit.numbers[3] == pytest.approx(POWER, rel=0.05)


def test_a_room_whose_day_is_left_out_of_the_reckoning_spoils_it() -> None:
    """So the test above can fail."""
    blind = [
        Window(one.middle_h, one.length_h, one.moved, (*one.row[:6], 0.0, 0.0)) for one in windows()
    ]
    true_c = sum(warmth(hour) for hour in range(DAYS * 24))
    fit = best_fit(blind)
    assert fit is not None
    assert fit.total_c != pytest.approx(true_c, rel=0.1)


def test_weather_that_comes_and_goes_is_not_taken_for_a_beer_that_ferments_on() -> None:
    """Taken as errors that know nothing of each other, it gives half as much heat again."""
    true_c = sum(warmth(hour) for hour in range(DAYS * 24))
    fit = best_fit(windows(0.007, seed=3))
    assert fit is not None
    assert fit.total_c == pytest.approx(true_c, rel=0.15)
