"""The witness of a rehearsal finds every promise that is broken."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest
from plans import fridge

from fermd.control.settings import ChamberSettings, Duty, FailSafeSettings
from fermd.planning.witness import MOST_TOLD, Witness

OFF = {Duty.COOL: False, Duty.HEAT: False}
COOL = {Duty.COOL: True, Duty.HEAT: False}
HEAT = {Duty.COOL: False, Duty.HEAT: True}

Tick = tuple[float, Mapping[Duty, bool]]


def broken(
    *ticks: Tick,
    settings: ChamberSettings | None = None,
    beer_c: float | None = 12.0,
    air_c: float | None = 10.0,
) -> list[str]:
    witness = Witness(settings or fridge(), 0.0, 60.0)
    for mono_s, on in ticks:
        witness.sees(mono_s, on, beer_c, air_c)
    return [one.promise for one in witness.broken]


LATE = 7200.0
"""Long after the start: everything that is not known is over."""


def test_an_orderly_chamber_breaks_nothing() -> None:
    assert broken((0.0, OFF), (LATE, COOL), (LATE + 600, OFF), (LATE + 1200, COOL)) == []
    assert broken((0.0, OFF), (LATE, COOL), (LATE + 600, OFF), (LATE + 1200, HEAT)) == []


def test_a_start_before_the_minimum_off_time() -> None:
    assert broken((LATE, COOL), (LATE + 600, OFF), (LATE + 840, COOL)) == ["minimum off time"]


def test_a_start_before_anything_is_known() -> None:
    assert broken((60.0, COOL)) == ["minimum off time", "power-up delay"]


def test_more_starts_than_are_allowed_in_an_hour() -> None:
    ticks: list[Tick] = []
    for number in range(7):
        ticks += [(LATE + 500.0 * number, COOL), (LATE + 500.0 * number + 190.0, OFF)]
    assert broken(*ticks) == ["starts per hour"]


def test_heat_and_cooling_together() -> None:
    both = {Duty.COOL: True, Duty.HEAT: True}
    assert broken((LATE, both)) == ["heat and cooling never together"]


def test_heat_too_soon_after_cooling() -> None:
    assert broken((LATE, COOL), (LATE + 600, OFF), (LATE + 1140, HEAT)) == ["changeover delay"]


def test_a_run_that_is_too_long() -> None:
    ticks: list[Tick] = [(LATE + 60.0 * number, COOL) for number in range(8 * 60 + 3)]
    assert broken(*ticks) == ["longest run"]


@pytest.mark.parametrize(
    ("on", "beer_c", "air_c", "promise"),
    [
        (COOL, -1.6, 0.0, "freezing margin"),
        (COOL, 5.0, -5.1, "lowest air temperature"),
        (HEAT, 20.0, 40.1, "highest air temperature"),
        (COOL, None, 10.0, "nothing runs blind"),
    ],
)
def test_a_limit_that_is_not_kept(
    on: Mapping[Duty, bool], beer_c: float | None, air_c: float, promise: str
) -> None:
    assert broken((LATE, on), beer_c=beer_c, air_c=air_c) == [promise]


def test_what_a_brewer_chose_as_fail_safe_may_run_blind() -> None:
    chosen = replace(fridge(), fail_safe=FailSafeSettings(Duty.COOL))
    assert broken((LATE, COOL), settings=chosen, beer_c=None, air_c=None) == []


def test_a_core_that_breaks_all_the_time_does_not_fill_the_memory() -> None:
    ticks: list[Tick] = [(LATE + 60.0 * number, COOL) for number in range(300)]
    found = broken(*ticks, beer_c=-5.0)
    assert len(found) == MOST_TOLD
