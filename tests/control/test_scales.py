"""Sentences in °C put into °F. By the definition of the scale: t °C is t × 9/5 + 32 °F."""

from __future__ import annotations

import pytest

from fermd.control.scales import Unit, rescaled


@pytest.mark.parametrize(
    ("in_celsius", "in_fahrenheit"),
    [
        ("set the target to -1.5 °C", "set the target to 29.3 °F"),
        ("must be from -10 to 45 °C", "must be from 14 to 113 °F"),
        ("must be above floor_c, which is 22.5 °C", "must be above floor_c, which is 72.5 °F"),
        # 64.994: to a hundredth, and without zeros that tell nothing.
        ("it is 18.33 °C", "it is 64.99 °F"),
        (
            "from -1.5 °C (freezing point of the beer and its margin) to 45 °C",
            "from 29.3 °F (freezing point of the beer and its margin) to 113 °F",
        ),
        (
            "beer that freezes at -2 °C plus a margin of 0.5 °C",
            "beer that freezes at 28.4 °F plus a margin of 0.9 °F",
        ),
        ("6 good readings of the last 10 min", "6 good readings of the last 10 min"),
        # -17.78 °C: not "-0", which reads as colder than it is.
        ("it is -17.78 °C", "it is 0 °F"),
    ],
)
def test_temperatures_of_a_sentence_are_put_into_fahrenheit(
    in_celsius: str, in_fahrenheit: str
) -> None:
    assert rescaled(in_celsius, Unit.FAHRENHEIT) == in_fahrenheit
    assert rescaled(in_celsius, Unit.CELSIUS) == in_celsius


@pytest.mark.parametrize(
    ("in_celsius", "in_fahrenheit"),
    [
        ("must be at least 0.3 °C, the wider band", "must be at least 0.54 °F, the wider band"),
        ("must be above 0 and at most 5 °C", "must be above 0 and at most 9 °F"),
        ("must be above 0 and at most 480 °C a day", "must be above 0 and at most 864 °F a day"),
    ],
)
def test_differences_and_rates_have_no_offset(in_celsius: str, in_fahrenheit: str) -> None:
    assert rescaled(in_celsius, Unit.FAHRENHEIT, differences=True) == in_fahrenheit
