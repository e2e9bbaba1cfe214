"""How far the beer is foreseen to go on, and whether that may be acted on, number by number."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import pytest
from swing_bench import FORESIGHT, KNOWN, NOW_S, SIDES

from fermd.control.settings import Duty, ForesightSettings
from fermd.control.swing import (
    LEAST_DIFFERENCE_C,
    MOST_TIMES,
    Learned,
    Swing,
    Turn,
    coast_c,
    difference_c,
    fits,
    is_right,
    to_go_c,
)


def test_what_is_known_fits_up_to_the_largest_error() -> None:
    largest_c = FORESIGHT.largest_error_c
    assert fits(Learned(error_c=largest_c), FORESIGHT)
    assert not fits(Learned(error_c=largest_c + 0.001), FORESIGHT)
    assert not fits(Learned(), ForesightSettings(foresee=False))


def test_what_is_known_fits_up_to_an_error_of_half_of_the_coast() -> None:
    long = Learned(coast_c=1.0, error_c=0.5)
    assert fits(long, FORESIGHT)
    assert not fits(replace(long, error_c=0.501), FORESIGHT)
    assert not fits(replace(long, coast_c=0.998), FORESIGHT)
    short = Learned(coast_c=0.25, error_c=FORESIGHT.largest_error_c)
    assert fits(short, FORESIGHT)


def test_what_may_not_be_acted_on_may_be_right_all_the_same() -> None:
    off = replace(FORESIGHT, foresee=False)
    assert is_right(KNOWN, off)
    assert not fits(KNOWN, off)
    assert not is_right(replace(KNOWN, error_c=0.5), off)


def test_air_counts_from_the_least_difference_that_it_was_learned_at() -> None:
    at_c = replace(KNOWN, difference_c=LEAST_DIFFERENCE_C)
    foreseen_c = coast_c(at_c, FORESIGHT, Duty.COOL, 3.0, 2.25, 600.0)
    assert foreseen_c == pytest.approx(0.5 * sqrt(0.5))
    below = replace(KNOWN, difference_c=LEAST_DIFFERENCE_C - 0.5)
    assert coast_c(below, FORESIGHT, Duty.COOL, 3.0, 2.25, 600.0) == 0.5


def test_a_second_run_is_foreseen_by_the_first() -> None:
    once = replace(KNOWN, runs=1, coast_c=0.25)
    assert coast_c(once, FORESIGHT, Duty.COOL, 6.0, 2.0, 600.0) == 0.25
    assert coast_c(once, FORESIGHT, Duty.COOL, 90.0, 2.0, 600.0) == 0.25 * MOST_TIMES
    assert coast_c(once, FORESIGHT, Duty.HEAT, 2.0, 6.0, 600.0) == 0.25


def test_only_air_nearer_than_usual_counts_by_the_root() -> None:
    quarter = coast_c(KNOWN, FORESIGHT, Duty.COOL, 3.0, 2.0, 600.0)
    assert quarter == 0.25
    half_as_far_again = coast_c(KNOWN, FORESIGHT, Duty.COOL, 8.0, 2.0, 600.0)
    assert half_as_far_again == 0.75
    # How long it ran counts as it is, where the air tells nothing.
    assert coast_c(KNOWN, FORESIGHT, Duty.COOL, 8.0, None, 150.0) == 0.125


def test_a_run_of_a_second_is_foreseen_in_proportion() -> None:
    short = replace(KNOWN, run_s=0.5)
    assert coast_c(short, FORESIGHT, Duty.COOL, 3.0, None, 0.25) == 0.25
    never = replace(KNOWN, run_s=0.0)
    assert coast_c(never, FORESIGHT, Duty.COOL, 3.0, None, 300.0) == 0.5


@SIDES
def test_what_is_still_to_go_is_what_was_foreseen_less_what_it_went(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    stop = Turn(duty, NOW_S, 3.0, 3.0, foreseen_c=0.5)
    assert to_go_c(Swing(), stop, 3.0) == 0.5
    assert to_go_c(Swing(), stop, 3.0 - way * 0.375) == 0.125
    assert to_go_c(Swing(), stop, 3.0 - way * 0.75) == -0.25
    # What the ramp took the target along is no way that the beer went by itself.
    assert to_go_c(Swing(along_c=0.25), stop, 3.0) == 0.5 - way * 0.25


@SIDES
def test_the_air_is_beyond_the_beer_on_the_side_that_its_output_makes_it(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    assert difference_c(duty, 3.0, 3.0 - way * 0.5) == 0.5
    assert difference_c(duty, 3.0, 3.0 + way * 0.5) == 0.0
    assert difference_c(duty, 3.0, None) == 0.0
