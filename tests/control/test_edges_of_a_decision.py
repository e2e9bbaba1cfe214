"""A decision tells where calls begin and end: the very edges that it went by itself."""

from __future__ import annotations

from dataclasses import replace

import pytest
from chamber_bench import Bench, unprotected

from fermd.control.bands import Call, plain_edges
from fermd.control.commands import SetTarget
from fermd.control.decision import Decision
from fermd.control.placing import Placing
from fermd.control.reading import Trusted
from fermd.control.reasons import Rule
from fermd.control.settings import Duty
from fermd.control.steps import Target
from fermd.control.swing import Learned, Swing

AT_10 = Target.at(10.0)
KNOWN = Learned(runs=5, coast_c=0.4, difference_c=8.0, run_s=600.0)


def held_at_10(air_c: float = 10.0) -> Bench:
    bench = Bench(unprotected(), vessel_c=10.0, air_c=air_c).knows_its_past()
    bench.run(60.0)
    bench.tick(SetTarget(10.0, "anna"))
    return bench


def read_c(decision: Decision) -> float:
    assert isinstance(decision.vessel, Trusted)
    return decision.vessel.temp_c


def test_as_long_as_nothing_is_learned_the_plain_bands_are_told() -> None:
    bench = held_at_10()
    assert bench.tick().edges == plain_edges(AT_10, bench.settings.heat, bench.settings.cool)


def test_a_call_begins_and_ends_at_the_edges_that_are_told() -> None:
    bench = held_at_10(air_c=2.0)
    bench.state = replace(bench.state, swing=Swing({Duty.COOL: KNOWN}, Duty.COOL))
    decision = bench.tick()
    while decision.call is Call.IDLE:
        assert decision.edges is not None
        assert read_c(decision) < decision.edges.cool_from_c
        bench.vessel_c += 0.02
        decision = bench.tick()
    assert decision.edges is not None
    assert decision.call_reason.rule is Rule.ABOVE_BAND
    assert decision.call_reason.limit_c == decision.edges.cool_from_c
    for _ in range(60):
        bench.vessel_c -= 0.02
        decision = bench.tick()
        assert decision.edges is not None
        ends = read_c(decision) <= decision.edges.cool_until_c
        assert ends == (decision.call is not Call.COOL)
        if ends:
            break
    assert decision.call is Call.IDLE
    # It ends while the beer is above its target, as far as it is going to coast.
    plain = plain_edges(AT_10, bench.settings.heat, bench.settings.cool, Duty.COOL)
    assert decision.edges.cool_until_c > plain.cool_until_c


def test_edges_are_told_as_the_vessel_probe_reads_them() -> None:
    """A probe that sees the air reads less than the beer has beside a cold one."""
    bench = Bench(unprotected(), vessel_c=10.0, air_c=0.0).knows_its_past()
    bench.run(60.0)
    share = Placing((0.2, *[0.0] * 6), error_of_share=0.01)
    bench.state = replace(bench.state, placing=share)
    decision = bench.tick(SetTarget(10.0, "anna"))
    plain = plain_edges(AT_10, bench.settings.heat, bench.settings.cool)
    assert decision.edges is not None
    assert decision.edges.heat_from_c < plain.heat_from_c
    moved_c = decision.edges.heat_from_c - plain.heat_from_c
    assert decision.edges.cool_from_c - plain.cool_from_c == pytest.approx(moved_c)


def test_without_a_trusted_reading_no_band_decides() -> None:
    bench = held_at_10()
    bench.vessel_c = None
    decision = bench.run(600.0)
    assert decision.target == AT_10
    assert decision.edges is None
