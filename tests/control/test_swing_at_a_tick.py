"""What one tick makes of the beer's swing, number by number.

The temperatures are such that a computer holds them exactly, and the ticks of these chambers take
no time unless a test says so: what is smoothed is then what it was.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from swing_bench import (
    COOL_C,
    FORESIGHT,
    FREE,
    GIVEN,
    HEAT_C,
    KNOWN,
    MINIMUM_RUN_S,
    NOW_S,
    SIDES,
    tick,
    watched_stop,
)

from fermd.control.learning import (
    CUT_SHORT,
    SHORTEST_RUN_ROOM_S,
    SMOOTHED_S,
    TURNED_C,
    WATCHED_S,
    WEIGHT,
    Look,
    learn,
)
from fermd.control.resting import RESTED_S, Rest
from fermd.control.settings import Duty
from fermd.control.steps import Target
from fermd.control.swing import Cycle, Learned, Swing, Turn

# --- what is seen of the beer --------------------------------------------------------------------


def test_readings_are_smoothed_by_a_lag_and_the_first_one_is_taken_as_it_is() -> None:
    assert tick(Swing(), 3.0, passed_s=10.0).smooth_c == 3.0
    assert tick(Swing(smooth_c=2.0), 3.0, passed_s=SMOOTHED_S).smooth_c == 2.5
    assert tick(Swing(smooth_c=2.0), 3.0, passed_s=3 * SMOOTHED_S).smooth_c == 2.75


def test_a_lost_probe_leaves_what_was_learned_and_who_ran_last() -> None:
    learned = {Duty.COOL: KNOWN}
    watched = Swing(learned, Duty.COOL, 3.0, peak_c=3.0, cycle=Cycle(4.0))
    assert tick(watched, None) == Swing(learned, Duty.COOL)
    assert tick(watched, None, Duty.HEAT) == Swing(learned, Duty.HEAT)


# --- starts --------------------------------------------------------------------------------------


@SIDES
def test_a_start_begins_to_watch_for_the_turn_and_a_new_cycle(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    begun = tick(Swing({}, duty, 3.0, peak_c=1.0), target_c + way * band_c, duty)
    assert begun.after_start == Turn(duty, NOW_S, target_c + way * band_c, 3.0, teaches=True)
    assert (begun.last, begun.after_stop, begun.peak_c, begun.stands_in) == (
        duty,
        None,
        None,
        False,
    )
    assert begun.cycle == Cycle(target_c, 0.0, 0.0)


@SIDES
@pytest.mark.parametrize("side", [1.0, -1.0], ids=["beyond", "before"])
def test_a_start_within_two_bands_of_the_target_came_of_beer_that_drifted(
    duty: Duty, target_c: float, band_c: float, way: float, side: float
) -> None:
    near = tick(Swing({}, duty, 3.0), target_c + side * 2 * band_c, duty)
    assert near.after_start is not None
    assert near.after_start.teaches
    assert near.cycle is not None
    far = tick(Swing({}, duty, 3.0), target_c + side * (2 * band_c + 0.0625), duty)
    assert far.after_start is not None
    assert not far.after_start.teaches
    assert far.cycle is None


def test_without_a_target_a_start_teaches_nothing() -> None:
    by_hand = tick(Swing({}, Duty.COOL, 3.0), COOL_C, Duty.COOL, target=None)
    assert by_hand.after_start is not None
    assert not by_hand.after_start.teaches
    assert by_hand.cycle is None


def test_the_first_run_after_the_other_sides_stands_in_for_it() -> None:
    first = tick(Swing({}, Duty.HEAT, 3.0), COOL_C, Duty.COOL)
    assert first.stands_in
    assert first.after_start is not None
    assert not first.after_start.teaches
    assert first.cycle is None
    second = tick(replace(first, after_start=None), COOL_C, Duty.COOL)
    assert not second.stands_in


def test_the_first_run_of_all_stands_in_for_nobody_and_teaches_no_lag() -> None:
    first = tick(Swing(smooth_c=3.0), COOL_C, Duty.COOL)
    assert not first.stands_in
    assert first.after_start is not None
    assert not first.after_start.teaches
    assert first.cycle == Cycle(COOL_C)


def test_a_run_keeps_the_share_of_its_band_that_it_began_with() -> None:
    begun = tick(Swing(smooth_c=3.0), COOL_C, Duty.COOL, narrowed=0.5)
    assert begun.narrowed == 0.5
    assert tick(begun, COOL_C, Duty.COOL, Duty.COOL).narrowed == 0.5
    assert tick(begun, COOL_C, Duty.COOL).narrowed == 1.0


def test_one_side_that_takes_over_at_once_from_the_other_has_started() -> None:
    over = tick(Swing({}, Duty.HEAT, 3.0), COOL_C, Duty.COOL, Duty.HEAT)
    assert over.last is Duty.COOL
    assert over.after_stop is None


def test_a_start_half_way_into_the_turn_ends_the_watching_with_what_was_seen() -> None:
    half_c = TURNED_C / 2
    coasting = Swing({}, Duty.COOL, half_c, after_stop=watched_stop(Duty.COOL))
    begun = tick(coasting, 4.0, Duty.COOL)
    assert begun.learned[Duty.COOL].coast_c == 0.5
    assert begun.after_stop is None
    sooner = tick(replace(coasting, smooth_c=half_c - 0.001), 4.0, Duty.COOL)
    assert sooner.learned == {}
    assert sooner.after_stop is None


def test_a_start_of_the_other_side_ends_the_watching_wherever_the_beer_is() -> None:
    coasting = Swing({}, Duty.COOL, 0.0, after_stop=watched_stop(Duty.COOL))
    # It was still going: it would have gone further.
    assert tick(coasting, 0.0, Duty.HEAT).learned[Duty.COOL].coast_c == CUT_SHORT * 0.5
    warming = Swing({}, Duty.HEAT, 0.0, after_stop=watched_stop(Duty.HEAT, beer_c=-0.5))
    assert tick(warming, 4.0, Duty.COOL).learned[Duty.HEAT].coast_c == CUT_SHORT * 0.5


def cut_short(stop: Turn, smooth_c: float = 0.0) -> Learned:
    coasting = Swing({Duty.COOL: KNOWN}, Duty.COOL, smooth_c, after_stop=stop)
    return tick(coasting, 0.0, Duty.HEAT).learned[Duty.COOL]


def test_beer_cut_short_before_it_came_as_far_as_foreseen_would_have_gone_beyond_that() -> None:
    further = cut_short(watched_stop(Duty.COOL, foreseen_c=0.75))
    assert further.coast_c == pytest.approx(0.5 + WEIGHT * (CUT_SHORT * 0.75 - 0.5))
    wrong_by_c = CUT_SHORT * 0.75 - 0.75
    assert further.error_c == pytest.approx(0.25 + WEIGHT * (wrong_by_c - 0.25))
    as_far = cut_short(watched_stop(Duty.COOL, foreseen_c=0.25))
    assert as_far.coast_c == pytest.approx(0.5 + WEIGHT * (CUT_SHORT * 0.5 - 0.5))
    bounded = cut_short(watched_stop(Duty.COOL, foreseen_c=0.875))
    assert bounded.coast_c == pytest.approx(0.5 + WEIGHT * (FORESIGHT.most_c - 0.5))


def test_beer_that_had_turned_by_itself_was_not_cut_short() -> None:
    turned = cut_short(watched_stop(Duty.COOL, foreseen_c=0.75), TURNED_C / 2)
    assert turned.coast_c == pytest.approx(0.5)
    same = Swing({}, Duty.COOL, TURNED_C / 2, after_stop=watched_stop(Duty.COOL, foreseen_c=0.75))
    assert tick(same, 4.0, Duty.COOL).learned[Duty.COOL].coast_c == 0.5
    by_itself = Swing({}, Duty.COOL, TURNED_C, after_stop=watched_stop(Duty.COOL, foreseen_c=0.75))
    assert tick(by_itself, 0.0).learned[Duty.COOL].coast_c == 0.5


def test_a_warm_coast_turns_downward() -> None:
    coasting = Swing({}, Duty.HEAT, -TURNED_C / 2, after_stop=watched_stop(Duty.HEAT, beer_c=-0.5))
    assert tick(coasting, 0.0, Duty.HEAT).learned[Duty.HEAT].coast_c == 0.5
    still = replace(coasting, smooth_c=TURNED_C / 2)
    assert tick(still, 0.0, Duty.HEAT).learned == {}


# --- stops ---------------------------------------------------------------------------------------


@SIDES
def test_a_stop_begins_to_watch_how_far_the_beer_goes_on(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    running = Swing({duty: KNOWN}, duty, 3.0)
    stopped = tick(running, 3.5, None, duty, air_c=3.5 - way * 1.0, run_s=300.0)
    # Air a quarter as far from the beer as it used to be: half the coast.
    assert stopped.after_stop == Turn(duty, NOW_S, 3.5, 3.0, 0.25, 1.0, 300.0, teaches=True)
    other_way = tick(running, 3.5, None, duty, air_c=3.5 + way * 2.0, run_s=300.0)
    assert other_way.after_stop is not None
    assert (other_way.after_stop.difference_c, other_way.after_stop.foreseen_c) == (0.0, 0.0)


def test_a_stop_without_an_air_probe_goes_by_the_length_of_the_run() -> None:
    stopped = tick(Swing({Duty.COOL: KNOWN}, Duty.COOL, 3.0), 3.5, None, Duty.COOL, run_s=300.0)
    assert stopped.after_stop == Turn(Duty.COOL, NOW_S, 3.5, 3.0, 0.25, 0.0, 300.0, teaches=True)


@pytest.mark.parametrize(
    ("afar", "learned", "teaches"),
    [
        (False, {Duty.COOL: KNOWN}, True),
        (True, {Duty.COOL: KNOWN}, False),
        (True, {Duty.COOL: Learned()}, True),
        (True, {}, True),
        (False, {}, True),
    ],
)
def test_the_stop_of_a_run_from_afar_teaches_only_who_knows_nothing(
    afar: bool, learned: dict[Duty, Learned], teaches: bool
) -> None:
    stopped = tick(Swing(learned, Duty.COOL, 3.0, afar=afar), 3.5, None, Duty.COOL)
    assert stopped.after_stop is not None
    assert stopped.after_stop.teaches is teaches


# --- turns ---------------------------------------------------------------------------------------


@SIDES
def test_beer_that_goes_on_is_followed_to_its_furthest(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    start = Turn(duty, NOW_S - 600.0, 0.0, 0.0)
    stop = Turn(duty, NOW_S - 600.0, 0.0, 0.0)
    up = tick(Swing({}, duty, way * 0.25, after_start=start), 0.0, duty, duty)
    assert up.after_start == replace(start, furthest_c=way * 0.25)
    down = tick(Swing({}, duty, -way * 0.25, after_stop=stop), 0.0)
    assert down.after_stop == replace(stop, furthest_c=-way * 0.25)
    # A little way back is no turn yet.
    back = tick(Swing({}, duty, -way * 0.03, after_start=start), 0.0, duty, duty)
    assert back.after_start == start
    back = tick(Swing({}, duty, way * 0.03, after_stop=stop), 0.0)
    assert back.after_stop == stop


@SIDES
def test_the_turn_after_a_start_is_seen_by_how_far_the_beer_came_back(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    start = Turn(duty, NOW_S - 600.0, -way * 0.125, 0.0)
    turned = tick(Swing({}, duty, -way * TURNED_C, after_start=start), 0.0, duty, duty)
    assert turned.after_start is None
    assert turned.peak_c == 0.0
    assert turned.learned == {duty: Learned(lag_c=WEIGHT * 0.125)}
    not_yet = tick(Swing({}, duty, -way * 0.039, after_start=start), 0.0, duty, duty)
    assert (not_yet.after_start, not_yet.peak_c, not_yet.learned) == (start, None, {})


def test_the_turn_of_a_start_that_teaches_nothing_is_still_its_peak() -> None:
    start = Turn(Duty.COOL, NOW_S - 600.0, -0.5, 0.0, teaches=False)
    given = Swing({Duty.COOL: KNOWN}, Duty.COOL, -TURNED_C, after_start=start)
    turned = tick(given, 0.0, Duty.COOL, Duty.COOL)
    assert (turned.after_start, turned.peak_c) == (None, 0.0)
    assert turned.learned == {Duty.COOL: KNOWN}


def test_a_turn_is_waited_for_as_long_as_a_coast_may_take() -> None:
    start = Turn(Duty.COOL, NOW_S - WATCHED_S, 0.0, 0.0)
    given = Swing({}, Duty.COOL, 0.0, after_start=start)
    assert tick(given, 0.0, Duty.COOL, Duty.COOL).after_start == start
    older = replace(start, at_mono_s=NOW_S - WATCHED_S - 1.0)
    given_up = tick(replace(given, after_start=older), 0.0, Duty.COOL, Duty.COOL)
    assert (given_up.after_start, given_up.peak_c, given_up.learned) == (None, None, {})
    stop = watched_stop(Duty.COOL, at_mono_s=NOW_S - WATCHED_S)
    given = Swing({}, Duty.COOL, 0.0, after_stop=stop)
    assert tick(given, 0.0).after_stop == stop
    older = replace(stop, at_mono_s=NOW_S - WATCHED_S - 1.0)
    over = tick(replace(given, after_stop=older), 0.0)
    assert over.after_stop is None
    assert over.learned[Duty.COOL].coast_c == 0.5


@SIDES
def test_the_turn_after_a_stop_is_seen_by_how_far_the_beer_came_back(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    stop = watched_stop(duty, beer_c=way * 0.5)
    turned = tick(Swing({}, duty, way * TURNED_C, after_stop=stop), 0.0)
    assert turned.after_stop is None
    assert turned.learned[duty].coast_c == 0.5
    not_yet = tick(Swing({}, duty, way * 0.039, after_stop=stop), 0.0)
    assert (not_yet.after_stop, not_yet.learned) == (stop, {})


# --- what a turn teaches -------------------------------------------------------------------------


def turned_after_start(known: Learned, duty: Duty, beer_c: float) -> Learned:
    way = 1.0 if duty is Duty.COOL else -1.0
    start = Turn(duty, NOW_S - 600.0, beer_c, 0.0)
    learned = {duty: known, Duty.FAN: KNOWN}
    after = tick(Swing(learned, duty, -way * TURNED_C, after_start=start), 0.0, duty, duty)
    assert after.learned[Duty.FAN] is KNOWN
    return after.learned[duty]


@SIDES
def test_the_lag_is_the_mean_of_what_was_seen_and_bounded_by_the_bands(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    seen = turned_after_start(KNOWN, duty, -way * 0.25)
    assert seen == replace(KNOWN, lag_c=0.125 + WEIGHT * (0.25 - 0.125))
    widest_c = 2.0 if duty is Duty.COOL else 0.75
    assert turned_after_start(KNOWN, duty, -way * 50.0).lag_c == widest_c
    assert turned_after_start(KNOWN, duty, way * 50.0).lag_c == -band_c / 2


def turned_after_stop(known: Learned | None, stop: Turn, peak_c: float | None = None) -> Learned:
    way = 1.0 if stop.duty is Duty.COOL else -1.0
    learned = {Duty.FAN: KNOWN} | ({} if known is None else {stop.duty: known})
    swing = Swing(learned, stop.duty, stop.furthest_c + way * 0.5, after_stop=stop, peak_c=peak_c)
    after = tick(swing, 0.0)
    assert after.learned[Duty.FAN] is KNOWN
    return after.learned[stop.duty]


def test_a_first_run_counts_wholly_and_was_not_foreseen_wrongly() -> None:
    for known in (None, Learned()):
        first = turned_after_stop(known, watched_stop(Duty.COOL, foreseen_c=0.25))
        assert first == Learned(1, 0.5, 4.0, 600.0)


@pytest.mark.parametrize(
    ("runs", "weight"), [(1, 1 / 2), (2, 1 / 3), (3, WEIGHT), (30, WEIGHT)], ids=str
)
def test_a_later_run_counts_as_one_of_all_but_for_three_tenths_at_least(
    runs: int, weight: float
) -> None:
    stop = watched_stop(Duty.COOL, beer_c=0.75, foreseen_c=0.5, difference_c=8.0, run_s=900.0)
    assert turned_after_stop(replace(KNOWN, runs=runs), stop) == Learned(
        runs + 1,
        pytest.approx(0.5 + weight * 0.25),
        pytest.approx(4.0 + weight * 4.0),
        pytest.approx(600.0 + weight * 300.0),
        0.125,
        pytest.approx(0.75 - weight * 0.75),
        0.0625,
        pytest.approx(0.25 + WEIGHT * (0.25 - 0.25)),
    )


def test_the_error_is_how_far_the_turn_was_from_where_it_was_foreseen() -> None:
    for foreseen_c in (0.0, 1.0):
        stop = watched_stop(Duty.COOL, foreseen_c=foreseen_c)
        assert turned_after_stop(KNOWN, stop).error_c == pytest.approx(0.25 + WEIGHT * 0.25)


@SIDES
def test_a_coast_is_nothing_at_the_least_and_its_bound_at_the_most(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    assert turned_after_stop(None, watched_stop(duty, beer_c=-way * 0.5)).coast_c == 0.0
    assert turned_after_stop(None, watched_stop(duty, beer_c=way * 3.0)).coast_c == 1.0
    assert turned_after_stop(None, watched_stop(duty, beer_c=way * 0.75)).coast_c == 0.75


def test_a_stop_that_teaches_nothing_still_shows_how_wrongly_it_was_foreseen() -> None:
    stop = watched_stop(Duty.COOL, teaches=False, foreseen_c=0.125)
    swing = Swing({Duty.COOL: KNOWN, Duty.FAN: KNOWN}, Duty.COOL, TURNED_C, after_stop=stop)
    after = tick(swing, 0.0)
    assert after.after_stop is None
    error_c = pytest.approx(0.25 + WEIGHT * (0.375 - 0.25))
    assert after.learned == {Duty.COOL: replace(KNOWN, error_c=error_c), Duty.FAN: KNOWN}
    unknown = tick(replace(swing, learned={}), 0.0)
    assert unknown.learned == {Duty.COOL: Learned()}


def test_any_run_mends_a_belief_that_is_too_wrong_to_act_on() -> None:
    error_c = 0.25 + WEIGHT * (0.5 - 0.25)
    stop = watched_stop(Duty.COOL, teaches=False, beer_c=0.75, foreseen_c=0.25)
    assert error_c > FORESIGHT.largest_error_c
    mended = turned_after_stop(KNOWN, stop)
    assert (mended.runs, mended.error_c) == (5, pytest.approx(error_c))
    assert mended.coast_c == pytest.approx(0.5 + WEIGHT * 0.25)
    # So much is nothing against a coast that is known to be long.
    long = replace(KNOWN, coast_c=0.75)
    left = turned_after_stop(long, stop)
    assert left == replace(long, error_c=pytest.approx(error_c))


def test_a_run_as_long_as_the_minimum_run_time_teaches_the_least_swing() -> None:
    held_s = MINIMUM_RUN_S + SHORTEST_RUN_ROOM_S
    held = watched_stop(Duty.COOL, run_s=held_s)
    seen = turned_after_stop(KNOWN, held, peak_c=1.75).least_swing_c
    assert seen == pytest.approx(0.75 + WEIGHT * (1.75 - 0.75))
    faded = pytest.approx(0.75 - WEIGHT * 0.75)
    assert turned_after_stop(KNOWN, held).least_swing_c == faded
    assert turned_after_stop(KNOWN, held, peak_c=-0.5).least_swing_c == faded
    longer = replace(held, run_s=held_s + 1.0)
    assert turned_after_stop(KNOWN, longer, peak_c=1.75).least_swing_c == faded
    warmed = watched_stop(Duty.HEAT, beer_c=-0.5, run_s=30.0)
    seen = turned_after_stop(KNOWN, warmed, peak_c=-1.75).least_swing_c
    assert seen == pytest.approx(0.75 + WEIGHT * (1.75 - 0.75))


# --- cycles --------------------------------------------------------------------------------------


@SIDES
def test_a_cycle_sums_how_far_the_smoothed_beer_was_from_its_target(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    cycle = Cycle(target_c, 100.0, 600.0)
    swing = Swing({}, duty, target_c + 1.0, cycle=cycle)
    after = tick(swing, target_c + 1.0, passed_s=50.0)
    assert after.cycle == Cycle(target_c, 150.0, 650.0)
    assert tick(swing, target_c + 1.0, target=Target(0.5, 4.5)).cycle is None
    assert tick(swing, target_c + 1.0, target=None).cycle is None
    # Still or again on the way from afar, it does not count.
    afar = replace(swing, afar=True)
    assert tick(afar, target_c, duty, duty).cycle is None


@SIDES
def test_the_next_start_takes_three_tenths_of_the_cycles_mean_into_the_middle(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    given = Swing({duty: KNOWN, Duty.FAN: KNOWN}, duty, 3.0, cycle=Cycle(target_c, 60.0, 600.0))
    after = tick(given, target_c, duty)
    centred = replace(KNOWN, centre_c=pytest.approx(0.0625 + WEIGHT * 0.1))
    assert after.learned == {duty: centred, Duty.FAN: KNOWN}
    for off_cs, edge_c in ((9e9, band_c / 2), (-9e9, -band_c / 2)):
        far = tick(replace(given, cycle=Cycle(target_c, off_cs, 600.0)), target_c, duty)
        assert far.learned[duty].centre_c == edge_c
    unknown = tick(replace(given, learned={}), target_c, duty)
    assert unknown.learned == {duty: Learned(centre_c=pytest.approx(WEIGHT * 0.1))}


def test_a_cycle_that_did_not_last_or_was_the_other_sides_moves_no_middle() -> None:
    learned = {Duty.COOL: KNOWN, Duty.HEAT: KNOWN}
    given = Swing(learned, Duty.COOL, 3.0, cycle=Cycle(COOL_C, 60.0, 0.0))
    assert tick(given, COOL_C, Duty.COOL).learned == learned
    given = replace(given, cycle=Cycle(COOL_C, 60.0, 600.0))
    assert tick(given, HEAT_C, Duty.HEAT).learned == learned
    assert tick(replace(given, cycle=None), COOL_C, Duty.COOL).learned == learned


# --- from afar -----------------------------------------------------------------------------------


@SIDES
def test_a_run_more_than_three_bands_from_the_target_comes_from_afar(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    swing = Swing({}, duty, 3.0)
    assert not tick(swing, target_c + way * 3 * band_c, duty, duty).afar
    far = tick(swing, target_c + way * (3 * band_c + 0.0625), duty, duty)
    assert far.afar
    assert tick(far, target_c, duty, duty).afar
    assert tick(far, target_c).afar is False
    assert not tick(far, target_c, duty, duty, target=None).afar
    assert not tick(swing, target_c - way * 9 * band_c, duty, duty).afar


@SIDES
def test_a_start_near_the_target_notes_how_the_beer_drifts(
    duty: Duty, target_c: float, band_c: float, way: float
) -> None:
    def rest(**given: object) -> Rest | None:
        look = Look(NOW_S, 0.0, target_c + way * band_c, None, duty, None, 0.0, FREE)
        look = replace(look, drift_c_per_h=way * 0.25, idle_s=RESTED_S)
        look = replace(look, **given)  # type: ignore[arg-type]
        return learn(Swing(rest=before), GIVEN, look).rest

    before = Rest(NOW_S - 4 * 3600.0, way * 0.75)
    assert rest() == Rest(NOW_S, way * 0.25, way * -0.125)
    assert rest(idle_s=RESTED_S - 1.0) is before
    # Of beer on its way to another target, or along a ramp, it would tell nothing.
    assert rest(beer_c=target_c + way * 2.5 * band_c) is None
    assert rest(ramp_c_per_h=0.5) is None
    assert rest(drift_c_per_h=None) is None
