"""Where calls begin and end: the plain bands, and the bands moved by what was learned."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import pytest
from chamber_bench import unprotected

from fermd.control.bands import Edges, plain_edges
from fermd.control.edges import (
    CARRIED_BANDS,
    CARRIED_S,
    COMES_BACK_C_PER_H,
    LEAST_DRIFT_C_PER_H,
    LEAST_LEFT,
    NO_HANDING_OVER_C,
    SETTLED_C_PER_H,
    Sight,
    edges,
    is_slow,
    left_by_itself,
)
from fermd.control.resting import Rest
from fermd.control.settings import (
    CoolBandSettings,
    Duty,
    ForesightSettings,
    HeatBandSettings,
)
from fermd.control.slow_drift import FULL_BAND_C_PER_H, NARROWEST
from fermd.control.steps import Target
from fermd.control.swing import Learned, Swing, Turn

HEAT, COOL = HeatBandSettings(0.2, 0.4, 0.5), CoolBandSettings(0.3, 0.6, 0.7)
GIVEN = unprotected(heat=HEAT, cool=COOL)
AT_10 = Target.at(10.0)
IDLE = Sight(10_000.0, 10.0, 10.0, None, 0.0, None)
FALLING = replace(IDLE, drift_c_per_h=-FULL_BAND_C_PER_H)
"""Beer that cools by itself with everything off."""
KNOWN = Learned(runs=5, coast_c=0.4, difference_c=8.0, run_s=600.0)
NO_COOL_YET = {Duty.COOL: Learned(runs=1), Duty.HEAT: Learned(runs=1)}


def swing(duty: Duty = Duty.COOL, known: Learned = KNOWN, **given: object) -> Swing:
    return replace(Swing({duty: known}, duty), **given)  # type: ignore[arg-type]


def test_without_foresight_a_call_ends_at_the_target() -> None:
    """What the beer coasts comes on top; with a smaller differential it ends before."""
    assert plain_edges(AT_10, HEAT, COOL) == Edges(9.8, 10.0, 10.3, 10.0)
    narrow = replace(HEAT, differential_c=0.05), replace(COOL, differential_c=0.1)
    assert plain_edges(AT_10, *narrow) == Edges(9.8, pytest.approx(9.85), 10.3, pytest.approx(10.2))


@pytest.mark.parametrize(
    ("last", "heat_from_c", "cool_from_c"),
    [(None, 9.8, 10.3), (Duty.COOL, 9.5, 10.3), (Duty.HEAT, 9.8, 10.7)],
)
def test_the_side_that_did_not_run_last_has_the_wider_band(
    last: Duty | None, heat_from_c: float, cool_from_c: float
) -> None:
    plain = plain_edges(AT_10, HEAT, COOL, last)
    assert (plain.heat_from_c, plain.cool_from_c) == (heat_from_c, cool_from_c)


def test_each_side_has_its_own_target_in_a_free_rise() -> None:
    assert plain_edges(Target(16.0, 22.0), HEAT, COOL) == Edges(15.8, 16.0, 22.3, 22.0)


def test_edges_move_together() -> None:
    assert Edges(9.0, 9.5, 11.0, 10.5, 10.0).moved(0.5) == Edges(9.5, 10.0, 11.5, 11.0, 10.5)
    assert Edges(9.0, 9.5, 11.0, 10.5).moved(0.5) == Edges(9.5, 10.0, 11.5, 11.0)
    still = Edges(9.0, 9.5, 11.0, 10.5)
    assert still.moved(0.0) is still


def test_a_call_for_cooling_ends_early_by_the_coast_while_it_runs() -> None:
    off = edges(swing(), GIVEN, AT_10, IDLE)
    assert (off.cool_from_c, off.cool_until_c) == (pytest.approx(10.3), pytest.approx(9.7))
    on = replace(IDLE, running=Duty.COOL, run_s=600.0, air_c=6.0)
    ending = edges(swing(), GIVEN, AT_10, on)
    # Air half as far away as usual: the coast by the root of it.
    goes_on_c = 0.4 * sqrt(0.5)
    assert ending.cool_until_c == pytest.approx(9.7 + goes_on_c)
    assert ending.coming_c == pytest.approx(10.0 - goes_on_c)
    warm = replace(on, air_c=10.0)
    assert edges(swing(), GIVEN, AT_10, warm).coming_c is None


def test_a_call_for_heat_ends_early_by_its_own_coast() -> None:
    on = replace(IDLE, running=Duty.HEAT, run_s=600.0, air_c=18.0)
    found = edges(swing(Duty.HEAT), GIVEN, AT_10, on)
    assert found.coming_c == pytest.approx(10.4)
    assert found.heat_until_c == pytest.approx(10.2 - 0.4)
    assert found.heat_from_c == pytest.approx(9.8)


def test_a_call_begins_early_by_the_lag_but_never_on_the_other_side_of_the_target() -> None:
    lagging = swing(known=replace(KNOWN, lag_c=0.1))
    assert edges(lagging, GIVEN, AT_10, IDLE).cool_from_c == pytest.approx(10.2)
    slow = swing(known=replace(KNOWN, lag_c=0.6))
    assert edges(slow, GIVEN, AT_10, IDLE).cool_from_c == 10.0


def test_where_the_least_swing_is_wider_a_call_waits_until_the_beer_is_half_of_it_away() -> None:
    strong = swing(known=replace(KNOWN, least_swing_c=1.0))
    assert edges(strong, GIVEN, AT_10, IDLE).cool_from_c == pytest.approx(10.5)
    stronger = swing(known=replace(KNOWN, least_swing_c=4.0))
    assert edges(stronger, GIVEN, AT_10, IDLE).cool_from_c == pytest.approx(10.7)


def test_the_middle_moves_both_edges() -> None:
    low = swing(known=replace(KNOWN, centre_c=-0.1))
    found = edges(low, GIVEN, AT_10, IDLE)
    assert (found.cool_from_c, found.cool_until_c) == (pytest.approx(10.4), pytest.approx(9.8))


@pytest.mark.parametrize("reason", ["afar", "stands_in"])
def test_beer_from_afar_or_in_the_others_stead_is_brought_to_the_target_itself(
    reason: str,
) -> None:
    assert edges(swing(**{reason: True}), GIVEN, AT_10, IDLE).cool_until_c == 10.0


def test_while_the_beer_coasts_no_second_call_begins_before_it_has_arrived() -> None:
    stop = Turn(Duty.COOL, 9_000.0, beer_c=10.1, furthest_c=10.1, foreseen_c=0.4)
    found = edges(swing(after_stop=stop), GIVEN, AT_10, IDLE)
    assert found.cool_from_c == pytest.approx(10.3 + 0.3)
    assert found.coming_c == pytest.approx(9.7)
    arrived = edges(swing(after_stop=stop), GIVEN, AT_10, replace(IDLE, beer_c=9.65))
    assert arrived.cool_from_c == pytest.approx(10.3)
    assert arrived.coming_c is None


def test_a_heater_that_coasts_tells_where_the_beer_is_going() -> None:
    stop = Turn(Duty.HEAT, 9_000.0, beer_c=9.9, furthest_c=9.9, foreseen_c=0.3)
    found = edges(swing(Duty.HEAT, after_stop=stop), GIVEN, AT_10, IDLE)
    assert found.coming_c == pytest.approx(10.2)


@pytest.mark.parametrize(
    ("settings_", "known"),
    [
        (ForesightSettings(foresee=False), KNOWN),
        (ForesightSettings(), replace(KNOWN, error_c=0.31)),
    ],
    ids=["switched off", "too often wrong"],
)
def test_where_nothing_may_be_foreseen_the_plain_bands_decide(
    settings_: ForesightSettings, known: Learned
) -> None:
    given = replace(GIVEN, foresight=settings_)
    found = edges(swing(known=known, afar=True), given, AT_10, replace(IDLE, running=Duty.COOL))
    assert (found.cool_from_c, found.cool_until_c) == (10.3, 10.0)


# --- the side that did not run last --------------------------------------------------------------


def heat_from_c(given: Swing, sight: Sight = IDLE) -> float:
    return edges(given, GIVEN, AT_10, sight).heat_from_c


JUST = Turn(Duty.COOL, IDLE.mono_s - CARRIED_S + 1.0, beer_c=9.9, furthest_c=9.7)
LONG_AGO = replace(JUST, at_mono_s=IDLE.mono_s - CARRIED_S)
LOW = replace(FALLING, beer_c=9.6, air_trend_c_per_h=SETTLED_C_PER_H)
EARLY_C = 10.0 - (0.6 - 0.3) - NO_HANDING_OVER_C
"""Just beyond where a run of cooling was to leave the beer."""


def test_beer_that_has_turned_and_leaves_its_band_again_is_heated_early() -> None:
    assert heat_from_c(swing(), FALLING) == pytest.approx(EARLY_C)


def test_beer_that_still_coasts_from_cooling_is_not_heated() -> None:
    assert heat_from_c(swing(after_stop=JUST), LOW) == 10.0 - CARRIED_BANDS * 0.5
    # Where it was foreseen to come to, and with air that has come back, it is there by itself.
    assert heat_from_c(swing(after_stop=LONG_AGO), LOW) == pytest.approx(EARLY_C)
    # But not while the air still comes back, or nobody knows, ...
    cold = replace(LOW, air_trend_c_per_h=SETTLED_C_PER_H + 0.1)
    assert heat_from_c(swing(after_stop=LONG_AGO), cold) == 9.5
    assert heat_from_c(swing(after_stop=LONG_AGO), replace(LOW, air_trend_c_per_h=None)) == 9.5
    # ... nor while more was foreseen: so much further still.
    more = replace(LONG_AGO, foreseen_c=0.5)
    assert heat_from_c(swing(after_stop=more), LOW) == pytest.approx(9.5 - 0.2)


def test_beer_that_would_come_back_by_itself_is_not_heated() -> None:
    assert heat_from_c(swing(), replace(IDLE, drift_c_per_h=0.05)) == 9.5
    assert heat_from_c(swing(), IDLE) == 9.5


def test_beer_that_would_take_half_a_night_to_come_back_is_fetched() -> None:
    back = replace(IDLE, drift_c_per_h=COMES_BACK_C_PER_H)
    assert heat_from_c(swing(), back) == pytest.approx(EARLY_C)
    sooner = replace(IDLE, drift_c_per_h=COMES_BACK_C_PER_H + 0.001)
    assert heat_from_c(swing(), sooner) == 9.5
    # It did not leave by itself: it is brought to the target, and not swung through it.
    assert not left_by_itself(swing(), back, Duty.HEAT)


def test_the_other_side_too_waits_until_the_beer_is_half_its_least_swing_away() -> None:
    known = {Duty.COOL: KNOWN, Duty.HEAT: replace(KNOWN, least_swing_c=0.8)}
    assert heat_from_c(Swing(known, Duty.COOL), FALLING) == pytest.approx(9.6)


def test_beer_that_ferments_is_cooled_soon_after_the_heater() -> None:
    stop = Turn(Duty.HEAT, IDLE.mono_s - CARRIED_S, beer_c=9.9, furthest_c=10.1)
    sight = replace(
        IDLE,
        beer_c=10.3,
        drift_c_per_h=FULL_BAND_C_PER_H,
        air_trend_c_per_h=-SETTLED_C_PER_H,
    )
    given = swing(Duty.HEAT, after_stop=stop)
    assert edges(given, GIVEN, AT_10, sight).cool_from_c == pytest.approx(10.3)
    hot = replace(sight, air_trend_c_per_h=-SETTLED_C_PER_H - 0.1)
    assert edges(given, GIVEN, AT_10, hot).cool_from_c == pytest.approx(10.7)


def test_the_changeover_band_is_never_narrower_than_what_is_set() -> None:
    tight = replace(GIVEN, heat=replace(HEAT, changeover_band_c=0.25))
    known = {Duty.COOL: KNOWN, Duty.HEAT: replace(KNOWN, least_swing_c=0.6)}
    assert edges(Swing(known, Duty.COOL), tight, AT_10, FALLING).heat_from_c == 9.75


def test_beer_that_has_just_arrived_where_it_was_foreseen_to_come_to_is_there_by_itself() -> None:
    arrived = replace(LONG_AGO, beer_c=10.0, foreseen_c=0.5)
    there = replace(LOW, beer_c=9.5)
    assert heat_from_c(swing(after_stop=arrived), there) == pytest.approx(EARLY_C)


def test_a_side_that_may_not_foresee_keeps_its_changeover_band() -> None:
    given = replace(GIVEN, foresight=ForesightSettings(foresee=False))
    after_cooling = edges(swing(), given, AT_10, IDLE)
    assert (after_cooling.heat_from_c, after_cooling.cool_from_c) == (9.5, 10.3)
    after_heating = edges(swing(Duty.HEAT), given, AT_10, IDLE)
    assert (after_heating.heat_from_c, after_heating.cool_from_c) == (9.8, 10.7)


def test_without_an_air_probe_a_short_run_is_foreseen_to_coast_less() -> None:
    on = replace(IDLE, running=Duty.COOL, run_s=300.0, air_c=None)
    assert edges(swing(), GIVEN, AT_10, on).coming_c == pytest.approx(9.8)


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_what_was_learned_under_wider_bands_is_held_to_those_of_now(way: float) -> None:
    wide = swing(known=replace(KNOWN, centre_c=way * 0.5))
    middle_c = 10.0 - way * 0.15
    found = edges(wide, GIVEN, AT_10, IDLE)
    assert found.cool_from_c == pytest.approx(middle_c + 0.3)
    assert found.cool_until_c == pytest.approx(middle_c - 0.3)


def test_a_call_waits_for_no_more_than_half_a_band_of_negative_lag() -> None:
    early = swing(known=replace(KNOWN, lag_c=-0.1))
    assert edges(early, GIVEN, AT_10, IDLE).cool_from_c == pytest.approx(10.4)
    earlier = swing(known=replace(KNOWN, lag_c=-5.0))
    assert edges(earlier, GIVEN, AT_10, IDLE).cool_from_c == pytest.approx(10.45)


# --- beer that drifts slowly ---------------------------------------------------------------------

SLOW_C_PER_H = FULL_BAND_C_PER_H / 4.0
SHARE = 0.25 ** (1 / 3)


def test_a_side_from_which_the_beer_drifts_slowly_begins_sooner() -> None:
    rising = replace(IDLE, drift_c_per_h=SLOW_C_PER_H)
    assert edges(swing(), GIVEN, AT_10, rising).cool_from_c == pytest.approx(10.0 + SHARE * 0.3)
    falling = replace(IDLE, drift_c_per_h=-SLOW_C_PER_H)
    assert edges(swing(), GIVEN, AT_10, falling).cool_from_c == pytest.approx(10.3)


def test_a_run_that_began_with_a_narrower_band_ends_as_much_sooner() -> None:
    on = replace(IDLE, running=Duty.COOL, air_c=None, run_s=0.0)
    found = edges(swing(narrowed=0.5), GIVEN, AT_10, on)
    assert found.cool_until_c == pytest.approx(10.0 + 0.5 * (0.3 - 0.6))


TURNING = Rest(IDLE.mono_s, 0.1, -0.025)
"""Warms by 0.1 °C/h, turns after four hours, and has gone 0.2 °C by then."""


def test_a_run_goes_half_as_far_beyond_the_target_as_the_beer_will_come_back() -> None:
    found = edges(swing(rest=TURNING), GIVEN, AT_10, IDLE)
    assert found.cool_until_c == pytest.approx(9.9)
    # Not further than its differential allows, though the beer were to come back by more.
    warmer = replace(TURNING, drift_c_per_h=0.4)
    assert edges(swing(rest=warmer), GIVEN, AT_10, IDLE).cool_until_c == pytest.approx(9.7)
    cooler = Rest(IDLE.mono_s, -0.1, 0.025)
    found = edges(swing(Duty.HEAT, rest=cooler), GIVEN, AT_10, IDLE)
    assert found.heat_until_c == pytest.approx(10.1)


def test_a_least_swing_that_is_wider_stays_as_wide() -> None:
    wide = swing(known=replace(KNOWN, least_swing_c=0.5))
    rising = replace(IDLE, drift_c_per_h=SLOW_C_PER_H)
    assert edges(wide, GIVEN, AT_10, rising).cool_from_c == pytest.approx(10.25)


def test_the_other_side_begins_at_three_quarters_of_its_band_at_the_least() -> None:
    slowest = replace(IDLE, drift_c_per_h=-LEAST_DRIFT_C_PER_H)
    low = swing(narrowed=0.25)
    assert heat_from_c(low, slowest) == pytest.approx(10.0 - LEAST_LEFT * 0.2)


def test_the_other_side_begins_beyond_where_the_last_run_was_to_leave_the_beer() -> None:
    for share in (1.0, 0.75):
        beyond_c = share * (0.6 - 0.3) + NO_HANDING_OVER_C
        assert heat_from_c(swing(narrowed=share), FALLING) == pytest.approx(10.0 - beyond_c)


def test_beer_that_all_but_stands_still_has_not_left_by_itself() -> None:
    assert left_by_itself(swing(), replace(IDLE, drift_c_per_h=-LEAST_DRIFT_C_PER_H), Duty.HEAT)
    slower = replace(IDLE, drift_c_per_h=-LEAST_DRIFT_C_PER_H + 0.001)
    assert not left_by_itself(swing(), slower, Duty.HEAT)


def test_beer_has_not_left_by_itself_while_the_air_comes_back_even_long_after_the_stop() -> None:
    assert swing().after_stop is None
    comes_back = replace(FALLING, air_trend_c_per_h=SETTLED_C_PER_H + 0.01)
    assert not left_by_itself(swing(), comes_back, Duty.HEAT)
    assert left_by_itself(swing(), replace(FALLING, air_trend_c_per_h=SETTLED_C_PER_H), Duty.HEAT)
    assert left_by_itself(swing(), replace(FALLING, air_trend_c_per_h=-5.0), Duty.HEAT)


def test_beer_is_not_by_itself_where_the_other_side_is_taking_it() -> None:
    assert left_by_itself(swing(), FALLING, Duty.HEAT)
    assert left_by_itself(swing(), replace(FALLING, running=Duty.HEAT), Duty.HEAT)
    assert not left_by_itself(swing(), replace(FALLING, running=Duty.COOL), Duty.HEAT)


@pytest.mark.parametrize(
    ("beer_c", "drift_c_per_h", "slow"),
    [
        (10.1, SLOW_C_PER_H, True),
        (10.1, FULL_BAND_C_PER_H, False),
        (10.1, -SLOW_C_PER_H, False),
        (10.1, None, False),
        (9.9, -SLOW_C_PER_H, True),
        (10.0, -SLOW_C_PER_H, True),
        (9.9, SLOW_C_PER_H, False),
    ],
)
def test_beer_is_slow_that_drifts_slowly_away_from_its_target(
    beer_c: float, drift_c_per_h: float | None, slow: bool
) -> None:
    sight = replace(IDLE, beer_c=beer_c, drift_c_per_h=drift_c_per_h)
    assert is_slow(swing(), GIVEN, AT_10, sight) is slow


def test_where_a_side_may_not_foresee_no_beer_is_slow() -> None:
    sight = replace(IDLE, beer_c=10.1, drift_c_per_h=SLOW_C_PER_H)
    given = replace(GIVEN, foresight=ForesightSettings(foresee=False))
    assert not is_slow(swing(), given, AT_10, sight)
    assert is_slow(swing(), GIVEN, Target(9.9, 10.1), sight)
    assert not is_slow(swing(), GIVEN, Target(10.1, 10.3), sight)
    assert 0.0 < NARROWEST < SHARE < 1.0


# --- on a ramp -----------------------------------------------------------------------------------


def test_on_a_ramp_calls_go_by_what_the_ramp_taught() -> None:
    on_ramp = {Duty.COOL: replace(KNOWN, lag_c=0.1, coast_c=0.2)}
    given = swing(on_ramp=on_ramp)
    assert edges(given, GIVEN, AT_10, IDLE).cool_from_c == pytest.approx(10.2)
    on = replace(IDLE, running=Duty.COOL, run_s=600.0, air_c=2.0)
    assert edges(given, GIVEN, AT_10, on).coming_c == pytest.approx(9.8)
    assert edges(swing(), GIVEN, AT_10, on).coming_c == pytest.approx(9.6)


def test_on_a_ramp_no_beer_is_slow_where_the_ramp_was_foreseen_wrongly() -> None:
    sight = replace(IDLE, beer_c=10.1, drift_c_per_h=SLOW_C_PER_H)
    wrong = {Duty.COOL: replace(KNOWN, error_c=0.5)}
    assert is_slow(swing(on_ramp={Duty.COOL: KNOWN}), GIVEN, AT_10, sight)
    assert not is_slow(swing(on_ramp=wrong), GIVEN, AT_10, sight)


def test_beer_on_a_ramp_has_arrived_where_it_would_have_come_to_in_a_hold() -> None:
    """Turns are kept as though ramps had not moved the target; the beer is told as it is."""
    stop = Turn(Duty.COOL, 9_000.0, beer_c=8.1, furthest_c=8.1, foreseen_c=0.4)
    found = edges(swing(after_stop=stop, along_c=2.0), GIVEN, AT_10, IDLE)
    assert found.cool_from_c == pytest.approx(10.3 + 0.3)
    assert found.coming_c == pytest.approx(9.7)
    over = Turn(Duty.COOL, IDLE.mono_s - CARRIED_S, beer_c=8.5, furthest_c=8.0, foreseen_c=0.9)
    assert left_by_itself(swing(after_stop=over, along_c=2.0), LOW, Duty.HEAT)
    assert not left_by_itself(swing(after_stop=over, along_c=1.9), LOW, Duty.HEAT)
