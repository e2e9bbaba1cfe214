"""Two bands around the target, and an idle zone between in which nothing is called for."""

from __future__ import annotations

import pytest
from chamber_bench import Bench, unprotected
from hypothesis import assume, given
from hypothesis import strategies as st

from fermd.control.bands import Call, call
from fermd.control.commands import SetTarget
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import CoolBandSettings, Duty, HeatBandSettings, crossed
from fermd.control.steps import Target

HEAT, COOL = HeatBandSettings(0.5, 0.3), CoolBandSettings(0.4, 0.6)
AT_18 = Target.at(18.0)


def test_cooling_is_called_for_from_the_upper_edge_of_its_band() -> None:
    assert call(AT_18, 18.39, Call.IDLE, HEAT, COOL).call is Call.IDLE
    called = call(AT_18, 18.4, Call.IDLE, HEAT, COOL)
    assert called.call is Call.COOL
    assert called.reason == Reason(Rule.ABOVE_BAND, 18.4, 18.4)


def test_a_call_for_cooling_ends_a_differential_below_the_edge() -> None:
    called = call(AT_18, 17.81, Call.COOL, HEAT, COOL)
    assert called.call is Call.COOL
    assert called.reason == Reason(Rule.CALL_CONTINUES, 17.81, pytest.approx(17.8))
    assert call(AT_18, 17.8 - 1e-9, Call.COOL, HEAT, COOL).call is Call.IDLE


def test_heat_is_called_for_from_the_lower_edge_of_its_own_band() -> None:
    assert call(AT_18, 17.51, Call.IDLE, HEAT, COOL).call is Call.IDLE
    called = call(AT_18, 17.5, Call.IDLE, HEAT, COOL)
    assert called.call is Call.HEAT
    assert called.reason == Reason(Rule.BELOW_BAND, 17.5, 17.5)


def test_a_call_for_heat_ends_by_its_own_differential() -> None:
    called = call(AT_18, 17.79, Call.HEAT, HEAT, COOL)
    assert called.call is Call.HEAT
    assert called.reason == Reason(Rule.CALL_CONTINUES, 17.79, pytest.approx(17.8))
    assert call(AT_18, 17.8 + 1e-9, Call.HEAT, HEAT, COOL).call is Call.IDLE


def test_between_the_bands_nothing_is_called_for() -> None:
    called = call(AT_18, 18.0, Call.IDLE, HEAT, COOL)
    assert called.call is Call.IDLE
    assert called.reason == Reason(Rule.WITHIN_BAND, 18.0)


def test_in_a_free_rise_neither_is_called_for_between_floor_and_ceiling() -> None:
    rising = Target(16.0, 22.0)
    for beer_c in (15.6, 18.0, 22.3):
        assert call(rising, beer_c, Call.IDLE, HEAT, COOL).call is Call.IDLE
    assert call(rising, 22.4, Call.IDLE, HEAT, COOL).call is Call.COOL
    assert call(rising, 15.5, Call.IDLE, HEAT, COOL).call is Call.HEAT


WIDTHS_C = (st.floats(0.05, 5.0), st.floats(0.05, 9.0))


@given(
    heat=st.builds(HeatBandSettings, *WIDTHS_C),
    cool=st.builds(CoolBandSettings, *WIDTHS_C),
    target_c=st.floats(-1.0, 30.0),
    start=st.sampled_from([Call.HEAT, Call.COOL]),
)
def test_neither_side_ever_hands_the_beer_over_to_the_other(
    heat: HeatBandSettings, cool: CoolBandSettings, target_c: float, start: Call
) -> None:
    """With accepted settings, beer that follows each call meets idle before the other call."""
    settings = unprotected(heat=heat, cool=cool)
    assume(not [objection for objection in crossed(settings) if "differential" in objection.key])
    idle_c = heat.band_c + cool.band_c - max(heat.differential_c, cool.differential_c)
    assume(idle_c > 0.011)
    target = Target.at(target_c)
    beer_c = target_c + (20.0 if start is Call.COOL else -20.0)
    called = start
    move_c = {Call.COOL: -0.01, Call.HEAT: 0.01}
    while called is not Call.IDLE:
        beer_c += move_c[called]
        after = call(target, beer_c, called, heat, cool).call
        assert after in (called, Call.IDLE)
        called = after
    assert call(target, beer_c, Call.IDLE, heat, cool).call is Call.IDLE


def test_a_differential_that_reaches_into_the_other_band_is_refused() -> None:
    wide = unprotected(cool=CoolBandSettings(0.3, 0.6))
    (objection,) = crossed(wide)
    assert objection.key == "cool.differential_c"
    assert "fight" in objection.why
    assert crossed(unprotected(cool=CoolBandSettings(0.3, 0.59))) == []


def test_the_relays_follow_the_vessel_and_not_the_air() -> None:
    bench = Bench(unprotected(), vessel_c=18.0, air_c=25.0)
    bench.tick(SetTarget(18.0))
    bench.run(60.0)
    assert not bench.on(Duty.COOL)
    bench.vessel_c, bench.air_c = 18.5, 10.0
    bench.run(60.0)
    assert bench.on(Duty.COOL)


def test_a_call_goes_through_the_idle_zone_and_comes_back() -> None:
    bench = Bench(unprotected())
    bench.tick(SetTarget(18.0))
    bench.run(30.0)
    for vessel_c in (18.3, 18.2, 18.1, 18.0, 17.9, 17.8, 17.6, 17.8, 17.9, 18.0, 18.1):
        bench.vessel_c = vessel_c
        bench.run(30.0)
    assert bench.switched(Duty.COOL) == [True, False]
    assert bench.switched(Duty.HEAT) == [True, False]


def test_a_target_that_is_changed_in_the_middle_of_a_call_ends_it() -> None:
    bench = Bench(unprotected(), vessel_c=18.0)
    bench.tick(SetTarget(16.0))
    bench.run(60.0)
    assert bench.on(Duty.COOL)
    bench.tick(SetTarget(18.2))
    assert not bench.on(Duty.COOL)
    assert bench.decision is not None
    assert bench.decision.call is Call.IDLE
