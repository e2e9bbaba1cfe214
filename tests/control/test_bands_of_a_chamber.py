"""Two bands around the target, and an idle zone between in which nothing is called for."""

from __future__ import annotations

from dataclasses import replace

import pytest
from chamber_bench import Bench, unprotected
from hypothesis import assume, given
from hypothesis import strategies as st

from fermd.control.bands import Call, Called, Edges, call, plain_edges
from fermd.control.commands import SetTarget
from fermd.control.edges import CARRIED_S, Sight, edges
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import CoolBandSettings, Duty, HeatBandSettings, crossed
from fermd.control.steps import Target
from fermd.control.swing import Swing

HEAT, COOL = HeatBandSettings(0.5, 0.3), CoolBandSettings(0.4, 0.6)
EDGES = Edges(heat_from_c=17.5, heat_until_c=17.8, cool_from_c=18.4, cool_until_c=17.8)


def test_cooling_is_called_for_from_the_upper_edge_of_its_band() -> None:
    assert call(EDGES, 18.39, Call.IDLE).call is Call.IDLE
    called = call(EDGES, 18.4, Call.IDLE)
    assert called == Called(Call.COOL, Reason(Rule.ABOVE_BAND, 18.4, 18.4))
    assert call(EDGES, 18.5, Call.COOL).reason == Reason(Rule.ABOVE_BAND, 18.5, 18.4)


def test_a_call_for_cooling_ends_a_differential_below_the_edge() -> None:
    called = call(EDGES, 17.81, Call.COOL)
    assert called == Called(Call.COOL, Reason(Rule.CALL_CONTINUES, 17.81, 17.8))
    assert call(EDGES, 17.8, Call.COOL).call is Call.IDLE


def test_heat_is_called_for_from_the_lower_edge_of_its_own_band() -> None:
    assert call(EDGES, 17.51, Call.IDLE).call is Call.IDLE
    called = call(EDGES, 17.5, Call.IDLE)
    assert called == Called(Call.HEAT, Reason(Rule.BELOW_BAND, 17.5, 17.5))
    assert call(EDGES, 17.4, Call.HEAT).reason == Reason(Rule.BELOW_BAND, 17.4, 17.5)


def test_a_call_for_heat_ends_by_its_own_differential() -> None:
    called = call(EDGES, 17.79, Call.HEAT)
    assert called == Called(Call.HEAT, Reason(Rule.CALL_CONTINUES, 17.79, 17.8))
    assert call(EDGES, 17.8, Call.HEAT).call is Call.IDLE


def test_between_the_bands_nothing_is_called_for() -> None:
    called = call(EDGES, 18.0, Call.IDLE)
    assert called == Called(Call.IDLE, Reason(Rule.WITHIN_BAND, 18.0))


def test_beer_that_coasts_is_told_with_where_it_is_going() -> None:
    called = call(replace(EDGES, coming_c=17.7), 18.0, Call.IDLE)
    assert called == Called(Call.IDLE, Reason(Rule.COASTS, 18.0, 17.7))


def test_no_call_begins_where_it_would_end() -> None:
    """A coast that is foreseen to be longer than the bands are wide ends a call at its start."""
    cold = replace(EDGES, cool_until_c=18.6)
    assert call(cold, 18.5, Call.IDLE).call is Call.IDLE
    assert call(cold, 18.5, Call.COOL).call is Call.IDLE
    assert call(cold, 18.6, Call.COOL).call is Call.IDLE
    assert call(cold, 18.61, Call.IDLE).call is Call.COOL
    warm = replace(EDGES, heat_until_c=17.3)
    assert call(warm, 17.4, Call.HEAT).call is Call.IDLE
    assert call(warm, 17.3, Call.IDLE).call is Call.IDLE
    assert call(warm, 17.29, Call.IDLE).call is Call.HEAT


WIDTHS_C = (st.floats(0.05, 5.0), st.floats(0.05, 9.0), st.floats(0.05, 5.0))


@pytest.mark.slow
@given(
    heat=st.builds(HeatBandSettings, *WIDTHS_C),
    cool=st.builds(CoolBandSettings, *WIDTHS_C),
    target_c=st.floats(-1.0, 30.0),
    start=st.sampled_from([Call.HEAT, Call.COOL]),
    foreseen=st.booleans(),
    drift_c_per_h=st.sampled_from([None, 0.0, 0.02, -0.02, 0.3, -0.3]),
)
def test_neither_side_ever_hands_the_beer_over_to_the_other(
    heat: HeatBandSettings,
    cool: CoolBandSettings,
    target_c: float,
    start: Call,
    foreseen: bool,
    drift_c_per_h: float | None,
) -> None:
    """With accepted settings, beer that follows each call meets idle before the other call."""
    chamber = unprotected(heat=heat, cool=cool)
    assume(not [objection for objection in crossed(chamber) if "differential" in objection.key])
    room_c = min(
        heat.band_c + cool.after_the_other_c - heat.differential_c,
        cool.band_c + heat.after_the_other_c - cool.differential_c,
    )
    assume(room_c > 0.011)
    target = Target.at(target_c)
    duty = Duty.COOL if start is Call.COOL else Duty.HEAT
    if foreseen:
        sight = Sight(0.0, target_c, None, None, 0.0, drift_c_per_h)
        lines = edges(Swing(last=duty), chamber, target, sight)
    else:
        lines = plain_edges(target, heat, cool, duty)
    beer_c = target_c + (20.0 if start is Call.COOL else -20.0)
    called = start
    move_c = {Call.COOL: -0.01, Call.HEAT: 0.01}
    while called is not Call.IDLE:
        beer_c += move_c[called]
        after = call(lines, beer_c, called).call
        assert after in (called, Call.IDLE)
        called = after
    assert call(lines, beer_c, Call.IDLE).call is Call.IDLE


def test_a_differential_that_reaches_into_the_other_band_is_refused() -> None:
    wide = unprotected(cool=CoolBandSettings(0.3, 0.8))
    (objection,) = crossed(wide)
    assert objection.key == "cool.differential_c"
    assert "fight" in objection.why
    assert crossed(unprotected(cool=CoolBandSettings(0.3, 0.79))) == []


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
    for vessel_c in (18.3, 18.2, 18.1, 18.0, 17.9, 17.7, 17.4, 17.8, 17.9, 18.0, 18.1):
        bench.vessel_c = vessel_c
        # Long enough for what the fridge has stored to be given off.
        bench.run(CARRIED_S / 2)
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
