"""A coast that a door cuts short teaches nothing; what other readings taught is forgotten."""

from __future__ import annotations

from dataclasses import replace

import pytest
from swing_bench import GIVEN, KNOWN, tick, watched_stop

from fermd.control.learning import AIR_BEHIND_S, DOOR_C, TURNED_C, WEIGHT, Look, learn
from fermd.control.settings import Duty
from fermd.control.steps import Target
from fermd.control.swing import Cycle, Learned, Swing, Turn

BEHIND_S = AIR_BEHIND_S
"""A tick of this takes what is followed half-way to the air."""
STEP_C = 2 * DOOR_C
"""So much further the air is then a whole door ahead of what is followed."""


def coasting(duty: Duty = Duty.COOL, **given: object) -> Swing:
    """Beer that coasts, in a cycle, with air that was at 0 °C."""
    swing = Swing({}, duty, 0.0, after_stop=watched_stop(duty), cycle=Cycle(4.0), air_c=0.0)
    return replace(swing, **given)  # type: ignore[arg-type]


def test_the_air_is_followed_a_minute_behind() -> None:
    assert tick(Swing(), 3.0, air_c=2.0).air_c == 2.0
    assert tick(Swing(air_c=2.0), 3.0, air_c=3.0, passed_s=AIR_BEHIND_S).air_c == 2.5
    assert tick(Swing(air_c=2.0), 3.0, air_c=3.0, passed_s=3 * AIR_BEHIND_S).air_c == 2.75
    assert tick(Swing(air_c=2.0), 3.0, air_c=None, passed_s=AIR_BEHIND_S).air_c is None
    assert tick(Swing(), 3.0, air_c=None).air_c is None


def test_a_coast_into_warm_air_that_comes_at_once_teaches_nothing() -> None:
    before = coasting()
    opened = tick(before, 0.0, air_c=STEP_C + 0.125, passed_s=BEHIND_S)
    assert opened.after_stop == replace(watched_stop(Duty.COOL), teaches=False)
    assert opened.cycle is None
    assert opened.air_c == (STEP_C + 0.125) / 2
    slower = tick(before, 0.0, air_c=STEP_C, passed_s=BEHIND_S)
    assert slower.after_stop == watched_stop(Duty.COOL)
    assert slower.cycle == Cycle(4.0, -4.0 * BEHIND_S, BEHIND_S)


def test_a_door_does_not_keep_the_beer_from_coasting_after_the_heater_but_cold_air_does() -> None:
    heated = watched_stop(Duty.HEAT)
    warmer = tick(coasting(Duty.HEAT), 0.0, air_c=9.0, passed_s=BEHIND_S)
    assert warmer.after_stop == heated
    colder = tick(coasting(Duty.HEAT), 0.0, air_c=-STEP_C - 0.125, passed_s=BEHIND_S)
    assert colder.after_stop == replace(heated, teaches=False)
    assert colder.cycle is None
    as_cold = tick(coasting(Duty.HEAT), 0.0, air_c=-STEP_C, passed_s=BEHIND_S)
    assert as_cold.after_stop == heated
    cooled = tick(coasting(), 0.0, air_c=-9.0, passed_s=BEHIND_S)
    assert cooled.after_stop == watched_stop(Duty.COOL)


def test_a_door_is_nothing_to_a_coast_that_teaches_nothing_or_to_none() -> None:
    taught_nothing = coasting(after_stop=watched_stop(Duty.COOL, teaches=False))
    opened = tick(taught_nothing, 0.0, air_c=9.0, passed_s=BEHIND_S)
    assert opened.after_stop == taught_nothing.after_stop
    assert opened.cycle is not None
    none = tick(coasting(after_stop=None), 0.0, air_c=9.0, passed_s=BEHIND_S)
    assert none.after_stop is None
    assert none.cycle is not None


def test_air_that_was_not_seen_before_tells_of_no_door() -> None:
    seen_again = tick(coasting(air_c=None), 0.0, air_c=9.0, passed_s=BEHIND_S)
    assert seen_again.after_stop == watched_stop(Duty.COOL)


def after_minutes(air_c_per_min: float) -> Swing:
    """Five minutes of a coast with air that warms, in ticks of 10 s."""
    swing = coasting()
    for number in range(1, 31):
        look = Look(
            watched_stop(Duty.COOL).at_mono_s + 10.0 * number,
            10.0,
            0.0,
            air_c_per_min * number / 6.0,
            None,
            None,
            0.0,
            Target.at(4.0),
        )
        swing = learn(swing, GIVEN, look)
    return swing


@pytest.mark.parametrize(("air_c_per_min", "teaches"), [(0.6, True), (0.95, True), (1.2, False)])
def test_walls_and_beer_warm_the_air_of_a_cabinet_more_slowly_than_a_room(
    air_c_per_min: float, teaches: bool
) -> None:
    stop = after_minutes(air_c_per_min).after_stop
    assert stop is not None
    assert stop.teaches is teaches


def test_a_door_leaves_what_is_known_as_it_was_but_for_its_error() -> None:
    opened = tick(coasting(learned={Duty.COOL: KNOWN}), 0.0, air_c=9.0, passed_s=BEHIND_S)
    assert opened.after_stop is not None
    stop = replace(opened.after_stop, foreseen_c=0.625)
    turned = tick(replace(opened, after_stop=stop, smooth_c=TURNED_C), 0.0, air_c=9.0)
    assert turned.after_stop is None
    error_c = pytest.approx(0.25 + WEIGHT * (0.125 - 0.25))
    assert turned.learned == {Duty.COOL: replace(KNOWN, error_c=error_c)}


# --- other readings ------------------------------------------------------------------------------


def test_what_other_readings_taught_is_forgotten_but_for_a_first_guess_of_the_coasts() -> None:
    before = Swing(
        {Duty.COOL: KNOWN, Duty.HEAT: replace(KNOWN, runs=0)},
        Duty.COOL,
        smooth_c=2.0,
        steady_c=2.0,
        after_start=Turn(Duty.COOL, 0.0, 2.0, 2.0),
        after_stop=watched_stop(Duty.COOL),
        peak_c=2.0,
        afar=True,
        stands_in=True,
        narrowed=0.5,
        cycle=Cycle(4.0),
        air_c=1.0,
        along_c=0.5,
        on_ramp={Duty.COOL: KNOWN},
    )
    guess = {Duty.COOL: Learned(1, 0.5, 4.0, 600.0), Duty.HEAT: Learned(0, 0.5, 4.0, 600.0)}
    after = tick(before, 3.0, Duty.COOL, Duty.COOL, air_c=1.0, other_beer=True)
    assert after == Swing(
        guess, Duty.COOL, smooth_c=3.0, steady_c=3.0, afar=True, stands_in=True, air_c=1.0
    )
    near = replace(before, afar=False, stands_in=False)
    after = tick(near, 3.0, Duty.COOL, Duty.COOL, air_c=1.0, other_beer=True)
    assert after == Swing(guess, Duty.COOL, smooth_c=3.0, steady_c=3.0, air_c=1.0)


def test_what_other_readings_taught_is_forgotten_while_there_is_no_beer_to_see_as_well() -> None:
    before = Swing({Duty.COOL: KNOWN}, Duty.COOL, 3.0)
    lost = tick(before, None, other_beer=True)
    assert lost == Swing({Duty.COOL: Learned(1, 0.5, 4.0, 600.0)}, Duty.COOL)
    assert tick(before, None).learned == {Duty.COOL: KNOWN}


def test_a_run_that_goes_on_from_other_readings_is_learned_from_its_stop() -> None:
    before = Swing({Duty.COOL: KNOWN}, Duty.COOL, 3.0)
    stopped = tick(before, 3.5, None, Duty.COOL, air_c=-0.5, run_s=600.0, other_beer=True)
    assert stopped.after_stop is not None
    assert (stopped.after_stop.beer_c, stopped.after_stop.foreseen_c) == (3.5, 0.5)
