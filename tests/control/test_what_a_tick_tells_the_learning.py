"""A tick of a chamber hands its readings, its outputs and its times on to what learns of them."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import pytest
from chamber_bench import Bench, air_probe, fan, fridge, heater, unprotected, vessel_probe

from fermd.control.bands import Call
from fermd.control.commands import SetTarget, StartProfile
from fermd.control.edges import CARRIED_S
from fermd.control.learning import SMOOTHED_S
from fermd.control.placing import Means, Placing, observe
from fermd.control.protection import History
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty
from fermd.control.steps import FinalHold, Profile, Ramp
from fermd.control.swing import Cycle, Learned, Swing, Turn

QUICK = {"median_of": 1, "good_run": 1}
KNOWN = Learned(runs=5, coast_c=0.4, difference_c=8.0, run_s=600.0)
TAPED = Placing((0.2, 0.0, 0.0, 0.0, 0.1, 0.1, 0.5), error_of_share=0.01)
"""A probe that sees a fifth of the air."""


def at_10(*, air_c: float | None = 4.0, swing: Swing | None = None, **given: object) -> Bench:
    """A chamber at its target with probes that are believed at once."""
    quick = {"vessel_probe": vessel_probe(**QUICK), "air_probe": air_probe(**QUICK)}
    if air_c is None:
        quick["air_probe"] = None
    bench = Bench(unprotected(**quick | given), vessel_c=10.0, air_c=air_c).knows_its_past()
    bench.state = replace(bench.state, swing=swing or Swing())
    bench.tick(SetTarget(10.0))
    bench.run(60.0)
    return bench


def reason(bench: Bench) -> Reason:
    assert bench.decision is not None
    return bench.decision.call_reason


def test_a_run_is_watched_from_its_start_to_its_stop() -> None:
    bench = at_10()
    bench.vessel_c = 10.5
    bench.tick()
    smooth_c = 10.0 + 10.0 / (10.0 + SMOOTHED_S) * 0.5
    start = Turn(Duty.COOL, bench.mono_s, 10.5, pytest.approx(smooth_c), teaches=False)
    assert bench.state.swing.after_start == start
    assert bench.state.swing.cycle == Cycle(10.0, pytest.approx(10.0 * (smooth_c - 10.0)), 10.0)
    bench.run(30.0)
    bench.vessel_c = 9.9
    bench.tick()
    assert not bench.on(Duty.COOL)
    assert bench.state.swing.last is Duty.COOL
    assert bench.state.swing.after_stop == Turn(
        Duty.COOL,
        bench.mono_s,
        9.9,
        pytest.approx(bench.state.swing.smooth_c),
        pytest.approx(bench.settings.foresight.first_share * 5.9),
        pytest.approx(5.9),
        40.0,
        teaches=True,
    )


def test_a_fan_is_neither_heat_nor_cooling() -> None:
    bench = at_10(outputs=(fan(run_on_s=300.0), heater(), fridge()))
    bench.vessel_c = 10.5
    bench.run(600.0)
    bench.vessel_c = 9.9
    bench.tick()
    assert (bench.on(Duty.FAN), bench.on(Duty.COOL)) == (True, False)
    assert bench.state.swing.after_stop is not None
    assert bench.state.swing.after_stop.duty is Duty.COOL
    since_s = bench.state.swing.after_stop.at_mono_s
    bench.run(60.0)
    assert bench.on(Duty.FAN)
    assert bench.state.swing.after_stop.at_mono_s == since_s


def test_a_call_ends_early_by_how_long_its_output_has_run() -> None:
    bench = at_10(air_c=None, swing=Swing({Duty.COOL: KNOWN}, Duty.COOL))
    bench.vessel_c = 10.5
    bench.tick()
    bench.vessel_c = 10.35
    bench.run(290.0)
    assert bench.on(Duty.COOL)
    bench.vessel_c = 10.15
    bench.tick()
    assert reason(bench) == Reason(Rule.COASTS, 10.15, pytest.approx(10.15 - 0.2))


def test_a_call_ends_early_by_how_cold_the_air_is() -> None:
    bench = at_10(swing=Swing({Duty.COOL: KNOWN}, Duty.COOL))
    bench.vessel_c = 10.5
    bench.tick()
    bench.vessel_c, bench.air_c = 10.15, 6.15
    bench.tick()
    # Half as far from the beer as after other runs: the coast by the root of it.
    assert reason(bench) == Reason(Rule.COASTS, 10.15, pytest.approx(10.15 - 0.4 * sqrt(0.5)))


def test_an_output_that_was_found_on_has_run_for_no_known_time() -> None:
    bench = at_10(air_c=None, swing=Swing({Duty.COOL: replace(KNOWN, run_s=1.0)}, Duty.COOL))
    found_on = {**bench.state.histories, Duty.COOL: History(on=True)}
    bench.state = replace(bench.state, histories=found_on, call=Call.COOL)
    bench.vessel_c = 10.1
    bench.tick()
    assert reason(bench) == Reason(Rule.CALL_CONTINUES, 10.1, 10.0)


def test_the_bands_go_by_where_the_beer_is_and_tell_it_as_the_probe_reads() -> None:
    bench = at_10()
    bench.state = replace(bench.state, placing=replace(TAPED, beer_c=10.875))
    bench.vessel_c = 9.5
    bench.tick()
    # (9.5 - 0.2 × 4) / 0.8 is 10.875: the cold wall hides that the beer is too warm. The probe
    # reads as much less than 10.3 where the beer is at its band.
    assert bench.on(Duty.COOL)
    beside_c = 10.875 - 9.5
    assert reason(bench) == Reason(Rule.ABOVE_BAND, 9.5, pytest.approx(10.3 - beside_c, abs=0.002))
    assert bench.state.swing.after_start is not None
    assert bench.state.swing.after_start.beer_c == pytest.approx(10.875, abs=0.002)


def test_the_bands_believe_a_degree_more_than_the_probe_shows() -> None:
    bench = at_10()
    bench.state = replace(bench.state, placing=replace(TAPED, beer_c=14.0))
    bench.vessel_c = 9.5
    bench.tick()
    assert bench.state.swing.after_start is not None
    assert bench.state.swing.after_start.beer_c == pytest.approx(10.875 + 1.0)


@pytest.mark.parametrize(("read_c", "runs"), [(9.0, Duty.HEAT), (11.0, Duty.COOL), (10.0, None)])
def test_the_fit_sees_each_ticks_readings_what_runs_and_its_time(
    read_c: float, runs: Duty | None
) -> None:
    bench = at_10()
    bench.vessel_c = read_c
    bench.run(60.0)
    assert [duty for duty in (Duty.HEAT, Duty.COOL) if bench.on(duty)] == [runs] * bool(runs)
    window = bench.state.placing.window
    assert window is not None
    before = replace(
        bench.state.placing,
        numbers=TAPED.numbers,
        error_of_share=0.01,
        beer_c=9.5,
        window=replace(window, cooled=False),
    )
    bench.state = replace(bench.state, placing=before)
    bench.vessel_c, bench.air_c = 9.1, 5.0
    bench.tick(after_s=30.0)
    expected = observe(
        before,
        9.1,
        5.0,
        30.0,
        bench.mono_s,
        heating=runs is Duty.HEAT,
        cooling=runs is Duty.COOL,
    )
    assert bench.state.placing == expected


@pytest.mark.parametrize(("warms_c_per_h", "heats"), [(0.1, False), (-0.1, True)])
def test_beer_that_comes_back_by_itself_is_not_heated(warms_c_per_h: float, heats: bool) -> None:
    well = Placing((0.0, 0.0, 0.0, 0.0, 0.0, warms_c_per_h, 0.0), error_of_share=0.01)
    bench = at_10(air_c=10.0, swing=Swing({Duty.HEAT: KNOWN}, Duty.COOL))
    bench.state = replace(bench.state, placing=well)
    bench.vessel_c = 9.52
    # Beer that is slow is judged by readings that were steadied.
    bench.run(60.0)
    assert bench.on(Duty.HEAT) is heats


def test_slow_beer_that_was_taken_for_another_is_judged_by_what_is_read_now() -> None:
    well = Placing((0.0, 0.0, 0.0, 0.0, 0.0, -0.1, 0.0), error_of_share=0.01)
    bench = at_10(air_c=10.0, swing=Swing({Duty.HEAT: KNOWN}, Duty.COOL))
    taken_for = replace(bench.state.swing, steady_c=9.0)
    bench.state = replace(bench.state, placing=well, swing=taken_for)
    bench.tick()
    assert bench.state.call is Call.IDLE


FALLING = Placing((0.0, 0.0, 0.0, 0.0, 0.0, -0.1, 0.0), error_of_share=0.01)
"""Beer in a well that cools by itself."""
STILL_AIR = ((9.5, 9.0, 0.0, 9.0, 0.0), (9.5, 9.0, 0.0, 9.0, 0.0))
RISING_AIR = ((9.5, 4.0, 0.0, 4.0, 0.0), (9.5, 9.0, 0.0, 9.0, 0.0))


def fell(means: tuple[Means, ...]) -> Bench:
    """A chamber whose beer is just below its early edge, almost 20 min after a run of cooling."""
    bench = at_10(air_c=9.0, swing=Swing({Duty.HEAT: KNOWN}, Duty.COOL))
    stop = Turn(Duty.COOL, bench.mono_s - CARRIED_S + 15.0, 9.6, 9.52)
    swing = replace(bench.state.swing, after_stop=stop, smooth_c=9.52)
    placing = replace(FALLING, air_c=9.0, means=means)
    bench.state = replace(bench.state, swing=swing, placing=placing)
    bench.vessel_c = 9.52
    return bench


def test_beer_that_fell_is_not_heated_before_the_cold_of_the_last_run_is_gone() -> None:
    bench = fell(STILL_AIR)
    bench.tick()
    assert not bench.on(Duty.HEAT)
    bench.tick()
    assert bench.on(Duty.HEAT)


def test_beer_is_not_heated_while_the_air_shows_that_stored_cold_is_given_off() -> None:
    bench = fell(RISING_AIR)
    bench.run(60.0)
    assert not bench.on(Duty.HEAT)


def test_profile_and_deviation_go_by_where_the_beer_is() -> None:
    bench = at_10()
    bench.state = replace(bench.state, placing=replace(TAPED, beer_c=10.875))
    bench.vessel_c = 9.5
    bench.tick(StartProfile(Profile("down", (Ramp(4.0, 24.0), FinalHold(4.0)))))
    assert bench.state.progress is not None
    assert bench.state.progress.entry_c == pytest.approx(10.875, abs=0.002)
