"""On a ramp the beer is followed as though the target stood still, and teaches for that ramp alone.

The temperatures are such that a computer holds them exactly: 100 s of 4.5 °C/h are 0.125 °C.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from swing_bench import COOL_C, FREE, GIVEN, HEAT_C, KNOWN, NOW_S, SIDES, tick, watched_stop

from fermd.control.learning import SAME_C, SMOOTHED_S, TURNED_C, WEIGHT, Look, learn
from fermd.control.settings import Duty
from fermd.control.slow_drift import STEADIED_S
from fermd.control.steps import Target
from fermd.control.swing import NOTHING, Cycle, Learned, Swing, Turn

RAMP_C_PER_H = 4.5
RAMPED_S = 100.0
MOVED_C = 0.125
ONCE = replace(KNOWN, runs=1)
ON_RAMP = Swing({Duty.COOL: KNOWN}, Duty.COOL, 3.0, along_c=0.5, on_ramp={Duty.COOL: ONCE})


@pytest.mark.parametrize("way", [1.0, -1.0], ids=["up", "down"])
def test_the_way_of_the_target_is_taken_from_what_is_smoothed(way: float) -> None:
    ramp_c_per_h = way * RAMP_C_PER_H
    begun = tick(Swing(), 3.0, passed_s=RAMPED_S, ramp_c_per_h=ramp_c_per_h)
    assert begun == Swing(
        smooth_c=3.0 - way * MOVED_C, steady_c=3.0, along_c=way * MOVED_C, on_ramp={}
    )
    further = tick(begun, 3.0, passed_s=RAMPED_S, ramp_c_per_h=ramp_c_per_h)
    assert further.along_c == way * 2 * MOVED_C
    share = RAMPED_S / (RAMPED_S + SMOOTHED_S)
    assert further.smooth_c == pytest.approx(3.0 - way * (MOVED_C + share * MOVED_C))
    assert further.steady_c == 3.0


def test_steadied_beer_is_as_read_wherever_ramps_have_led_to() -> None:
    given = Swing(smooth_c=2.0, steady_c=3.0, along_c=1.0)
    assert tick(given, 3.0625, passed_s=STEADIED_S).steady_c == 3.03125


def test_a_ramp_begins_with_what_is_known_from_holds_as_though_from_one_run() -> None:
    learned = {Duty.COOL: KNOWN, Duty.HEAT: Learned(lag_c=0.125)}
    begun = tick(Swing(learned, Duty.COOL, 3.0), 3.0, ramp_c_per_h=RAMP_C_PER_H)
    assert begun.learned == learned
    assert begun.on_ramp == {Duty.COOL: ONCE, Duty.HEAT: Learned(lag_c=0.125)}
    goes_on = tick(replace(begun, on_ramp={}), 3.0, ramp_c_per_h=RAMP_C_PER_H)
    assert goes_on.on_ramp == {}


def test_what_a_ramp_taught_ends_with_it_but_not_how_far_it_led() -> None:
    over = tick(ON_RAMP, 3.5, passed_s=SMOOTHED_S)
    assert over == replace(ON_RAMP, on_ramp=None, steady_c=3.5)
    assert tick(over, 3.5, passed_s=SMOOTHED_S) == over


def test_what_is_known_on_a_ramp_is_what_it_taught() -> None:
    assert Swing({Duty.COOL: KNOWN}).known(Duty.COOL) == KNOWN
    assert Swing({Duty.COOL: KNOWN}).known(Duty.HEAT) == NOTHING == Learned()
    assert ON_RAMP.known(Duty.COOL) == ONCE
    assert replace(ON_RAMP, on_ramp={}).known(Duty.COOL) == NOTHING


def test_a_lost_probe_ends_the_ramp_as_well() -> None:
    assert tick(ON_RAMP, None, ramp_c_per_h=RAMP_C_PER_H) == Swing(ON_RAMP.learned, Duty.COOL)


@SIDES
def test_a_start_is_near_the_target_as_it_would_be_without_the_ramp(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    given = replace(ON_RAMP, last=duty)
    begun = tick(given, target_c + way * 2 * band_c, duty, ramp_c_per_h=RAMP_C_PER_H)
    from_c = target_c + way * 2 * band_c - 0.5
    assert begun.after_start == Turn(duty, NOW_S, from_c, 3.0, teaches=True)
    assert begun.cycle == Cycle(target_c - 0.5)
    assert not begun.afar
    afar = tick(given, target_c + way * (3 * band_c + 0.0625), duty, ramp_c_per_h=RAMP_C_PER_H)
    assert afar.afar
    assert afar.after_start is not None
    assert not afar.after_start.teaches
    assert not tick(given, target_c + way * 3 * band_c, duty).afar


def test_a_stop_on_a_ramp_is_as_far_from_the_air_as_both_were_read() -> None:
    stopped = tick(ON_RAMP, 3.5, None, Duty.COOL, air_c=2.5, run_s=300.0)
    assert stopped.after_stop == Turn(Duty.COOL, NOW_S, 3.0, 3.0, 0.25, 1.0, 300.0, teaches=True)
    without_air = tick(ON_RAMP, 3.5, None, Duty.COOL, run_s=300.0)
    assert without_air.after_stop is not None
    assert (without_air.after_stop.difference_c, without_air.after_stop.foreseen_c) == (0.0, 0.25)


def test_a_stop_on_a_ramp_is_foreseen_by_what_the_ramp_taught() -> None:
    learned_more = replace(ON_RAMP, on_ramp={Duty.COOL: replace(ONCE, coast_c=0.25)})
    stopped = tick(learned_more, 3.5, None, Duty.COOL, run_s=600.0, ramp_c_per_h=RAMP_C_PER_H)
    assert stopped.after_stop is not None
    assert stopped.after_stop.foreseen_c == 0.25


def test_without_a_target_nothing_is_near_it_on_a_ramp_either() -> None:
    begun = tick(ON_RAMP, 3.5, Duty.COOL, target=None, ramp_c_per_h=RAMP_C_PER_H)
    assert begun.cycle is None
    assert begun.last is Duty.COOL


def test_a_cycle_goes_on_while_the_target_moves_along_the_ramp() -> None:
    given = replace(ON_RAMP, smooth_c=4.5, cycle=Cycle(COOL_C - 0.5, 100.0, 600.0))
    after = tick(given, 5.0, passed_s=50.0)
    assert after.cycle == Cycle(3.5, 150.0, 650.0)
    moved = Target(HEAT_C + MOVED_C, COOL_C + MOVED_C)
    along = tick(given, 5.0, passed_s=RAMPED_S, ramp_c_per_h=RAMP_C_PER_H, target=moved)
    assert along.cycle is not None
    assert along.cycle.lasted_s == 700.0
    assert tick(given, 5.0, passed_s=RAMPED_S, target=moved).cycle is None


@pytest.mark.parametrize("side", [1.0, -1.0], ids=["above", "below"])
def test_targets_are_one_that_differ_by_what_a_tick_of_a_ramp_may_be_off(side: float) -> None:
    given = Swing({}, Duty.HEAT, 0.0, cycle=Cycle(0.0))
    assert tick(given, 0.0, target=Target(side * SAME_C, COOL_C)).cycle == Cycle(0.0)
    assert tick(given, 0.0, target=Target(side * (SAME_C + 0.001), COOL_C)).cycle is None


@SIDES
def test_a_turn_on_a_ramp_teaches_its_lag_to_that_ramp_alone(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    start = Turn(duty, NOW_S - 600.0, -way * 0.125, 0.0)
    other = Duty.HEAT if duty is Duty.COOL else Duty.COOL
    given = Swing(
        {duty: KNOWN}, duty, -way * TURNED_C, after_start=start, on_ramp={duty: ONCE, other: KNOWN}
    )
    turned = tick(given, 0.0, duty, duty, ramp_c_per_h=RAMP_C_PER_H)
    assert turned.learned == {duty: KNOWN}
    lag_c = pytest.approx(0.125 + WEIGHT * (0.125 - 0.125))
    assert turned.on_ramp == {duty: replace(ONCE, lag_c=lag_c), other: KNOWN}


def test_a_coast_on_a_ramp_outweighs_by_half_what_is_known_from_holds() -> None:
    stop = watched_stop(Duty.COOL, beer_c=0.25, foreseen_c=0.5)
    given = replace(ON_RAMP, smooth_c=TURNED_C, along_c=0.0, after_stop=stop)
    turned = tick(given, 0.0, ramp_c_per_h=RAMP_C_PER_H)
    assert turned.learned == {Duty.COOL: KNOWN}
    known = turned.known(Duty.COOL)
    assert (known.runs, known.coast_c) == (2, pytest.approx((0.5 + 0.25) / 2))


def test_the_middle_of_a_swing_on_a_ramp_counts_for_it_alone() -> None:
    given = replace(ON_RAMP, cycle=Cycle(COOL_C - 0.5, 60.0, 600.0))
    after = tick(given, COOL_C, Duty.COOL, ramp_c_per_h=RAMP_C_PER_H)
    assert after.learned == {Duty.COOL: KNOWN}
    assert after.known(Duty.COOL).centre_c == pytest.approx(0.0625 + WEIGHT * 0.1)


# --- a swing as a whole --------------------------------------------------------------------------

TICK_S = 10.0


def course() -> Iterator[tuple[float, float, Duty | None]]:
    """Beer that drifts up, is cooled, coasts and comes back, three times: beer, air, what runs."""
    legs = [
        (4.5, 4.0, 180, None),
        (4.125, 0.0, 60, Duty.COOL),
        (3.75, 3.0, 180, None),
        (4.0, 4.0, 120, None),
    ]
    beer_c = air_c = 4.0
    for _ in range(3):
        for to_c, air_to_c, ticks, running in legs:
            for number in range(1, ticks + 1):
                share = number / ticks
                beer_now_c = beer_c + (to_c - beer_c) * share
                yield beer_now_c, air_c + (air_to_c - air_c) * share, running
            beer_c, air_c = to_c, air_to_c


def learned_on(ramp_c_per_h: float) -> Swing:
    swing, was, ran_s, along_c = Swing(), None, 0.0, 0.0
    for number, (beer_c, air_c, running) in enumerate(course()):
        along_c += ramp_c_per_h * TICK_S / 3600.0
        ran_s = ran_s + TICK_S if running is was and running is not None else ran_s * (not running)
        look = Look(
            number * TICK_S,
            TICK_S,
            beer_c + along_c,
            air_c + along_c,
            running,
            was,
            ran_s,
            Target(FREE.heat_c + along_c, FREE.cool_c + along_c),
            ramp_c_per_h=ramp_c_per_h,
        )
        swing, was = learn(swing, GIVEN, look), running
    return swing


@pytest.mark.parametrize("ramp_c_per_h", [0.5, -0.25])
def test_a_swing_on_a_ramp_teaches_the_ramp_what_it_would_teach_in_a_hold(
    ramp_c_per_h: float,
) -> None:
    held, ramped = learned_on(0.0), learned_on(ramp_c_per_h)
    expected, seen = held.learned[Duty.COOL], ramped.known(Duty.COOL)
    assert (held.on_ramp, ramped.learned) == (None, {})
    assert seen.runs == expected.runs == 3
    # Three minutes behind, the turn is rounded off.
    assert expected.coast_c == pytest.approx(0.375, abs=0.04)
    for name in ("coast_c", "difference_c", "run_s", "lag_c", "centre_c", "error_c"):
        assert getattr(seen, name) == pytest.approx(getattr(expected, name), abs=1e-6), name
