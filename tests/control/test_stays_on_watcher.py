"""The watcher of stops: a fridge that goes on though its line is off is found by the air."""

from __future__ import annotations

import pytest
from chamber_bench import Bench, unprotected

from fermd.control.alarms import AlarmKind
from fermd.control.commands import SetTarget
from fermd.control.settings import Duty
from fermd.control.stays_on import BACK_C, CLEARLY_C, WITHIN_S, Stop, follow, goes_on


def test_an_output_that_is_on_and_a_fan_are_not_followed() -> None:
    stop = Stop(0.0, 5.0, 5.0)
    assert follow(stop, Duty.COOL, True, False, 10.0, 5.0, 60.0) is None
    assert follow(None, Duty.FAN, False, True, 10.0, 5.0, 60.0) is None


def test_the_air_beyond_the_beer_is_measured_the_way_the_output_works() -> None:
    assert follow(None, Duty.COOL, False, True, 10.0, 4.0, 60.0) == Stop(60.0, 6.0, 6.0)
    assert follow(None, Duty.HEAT, False, True, 10.0, 14.0, 60.0) == Stop(60.0, 4.0, 4.0)


def test_an_output_that_was_never_seen_to_stop_is_not_followed() -> None:
    """A room may be warmer than the beer for ever."""
    assert follow(None, Duty.HEAT, False, False, 10.0, 20.0, 60.0) is None


def test_how_near_the_air_has_come_is_kept() -> None:
    stop = follow(Stop(0.0, 6.0, 6.0), Duty.COOL, False, False, 10.0, 7.0, 60.0)
    assert stop == Stop(0.0, 6.0, 3.0)
    assert follow(stop, Duty.COOL, False, False, 10.0, 5.0, 120.0) is stop
    assert follow(stop, Duty.COOL, False, False, None, 5.0, 120.0) is stop
    assert follow(stop, Duty.COOL, False, False, 10.0, None, 120.0) is stop


@pytest.mark.parametrize(
    ("stop", "at_s", "found"),
    [
        (Stop(0.0, 5.0, 5.0), WITHIN_S, True),
        (Stop(0.0, 5.0, 5.0), WITHIN_S - 1.0, False),
        (Stop(0.0, CLEARLY_C, CLEARLY_C), WITHIN_S, True),
        (Stop(0.0, CLEARLY_C - 0.1, CLEARLY_C - 0.1), WITHIN_S, False),
        (Stop(0.0, 5.0, 5.0 - BACK_C), WITHIN_S, False),
        (Stop(0.0, 5.0, 5.0 - BACK_C + 0.1), WITHIN_S, True),
    ],
)
def test_an_output_goes_on_if_the_air_does_not_come_back(
    stop: Stop, at_s: float, found: bool
) -> None:
    assert goes_on(stop, at_s) is found


def test_a_welded_fridge_is_told_and_the_alarm_ends_when_its_plug_is_pulled() -> None:
    bench = Bench(unprotected(), vessel_c=18.0, air_c=10.0)
    bench.tick(SetTarget(16.0))
    bench.run(120.0)
    assert bench.on(Duty.COOL)
    bench.tick(SetTarget(18.0))
    bench.run(WITHIN_S - 60.0)
    assert AlarmKind.STAYS_ON not in bench.alarms()
    bench.run(120.0)
    assert AlarmKind.STAYS_ON in bench.alarms()
    bench.air_c = 12.0
    bench.run(900.0)
    assert AlarmKind.STAYS_ON not in bench.alarms()


def test_a_fridge_that_stops_is_not_accused() -> None:
    bench = Bench(unprotected(), vessel_c=18.0, air_c=10.0)
    bench.tick(SetTarget(16.0))
    bench.run(120.0)
    bench.tick(SetTarget(18.0))
    bench.run(600.0)
    bench.air_c = 11.5
    bench.run(2 * WITHIN_S)
    assert AlarmKind.STAYS_ON not in bench.alarms()
