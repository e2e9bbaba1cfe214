"""How fast a ramp moves the target, and what a tick makes of it: sight, learning, bands."""

from __future__ import annotations

from dataclasses import replace

import pytest
from chamber_bench import Bench, air_probe, unprotected, vessel_probe

from fermd.control import profile_run
from fermd.control.commands import PauseProfile, SetTarget, StartProfile, SwitchOff
from fermd.control.decision import Mode
from fermd.control.edges import Sight
from fermd.control.moment import Moment
from fermd.control.placing import Placing
from fermd.control.progress import Progress
from fermd.control.protection import History
from fermd.control.reading import Trusted
from fermd.control.settings import Duty
from fermd.control.steps import FinalHold, Hold, Jump, Profile, Ramp, Step
from fermd.control.swing import Learned, Swing
from fermd.control.view import View, sighted

QUICK = {"median_of": 1, "good_run": 1}
KNOWN = Learned(5, 0.4, 8.0, 600.0, 0.1, 0.2, 0.05, 0.02)
GUESS = Learned(1, 0.4, 8.0, 600.0)
TAPED = Placing((0.2, 0.0, 0.0, 0.0, 0.1, 0.1, 0.5), error_of_share=0.01)
"""A probe that sees a fifth of the air."""
WARMING = Placing((0.0, 0.0, 0.0, 0.0, 0.0, 0.1, 0.0), error_of_share=0.01)
"""Beer in a well that warms by itself."""


def at_10(*steps: Step) -> Bench:
    bench = Bench(
        unprotected(vessel_probe=vessel_probe(**QUICK), air_probe=air_probe(**QUICK)),
        vessel_c=10.0,
        air_c=10.0,
    ).knows_its_past()
    bench.tick(SetTarget(10.0))
    bench.run(60.0)
    if steps:
        bench.tick(StartProfile(Profile("plan", steps)))
    return bench


@pytest.mark.parametrize(
    ("step", "c_per_h"),
    [
        (Ramp(16.0, 24.0), 1.0),
        (Ramp(4.0, 24.0), -1.0),
        (Ramp(16.0, 2.4), 0.1),
        (Jump(16.0), 0.0),
        (Hold(16.0, 3600.0), 0.0),
    ],
    ids=["up", "down", "slowly", "jump", "hold"],
)
def test_a_ramp_moves_the_target_by_its_rate_and_no_other_step_does(
    step: Step, c_per_h: float
) -> None:
    bench = at_10(step, FinalHold(16.0))
    bench.run(60.0)
    assert profile_run.ramp_c_per_h(bench.state) == pytest.approx(c_per_h)


@pytest.mark.parametrize("command", [PauseProfile(), SetTarget(12.0), SwitchOff()], ids=repr)
def test_a_ramp_that_is_held_up_moves_nothing(
    command: PauseProfile | SetTarget | SwitchOff,
) -> None:
    bench = at_10(Ramp(16.0, 24.0), FinalHold(16.0))
    assert profile_run.ramp_c_per_h(bench.state) == pytest.approx(1.0)
    bench.tick(command)
    assert bench.state.progress is not None
    assert profile_run.ramp_c_per_h(bench.state) == 0.0


def test_where_there_is_no_profile_or_none_any_more_there_is_no_ramp() -> None:
    bench = at_10()
    assert profile_run.ramp_c_per_h(bench.state) == 0.0
    lost = replace(bench.state, mode=Mode.PROFILE, progress=None)
    assert profile_run.ramp_c_per_h(lost) == 0.0
    over = Progress(Profile("plan", (Ramp(16.0, 24.0),)), 1, 0.0, 16.0)
    assert profile_run.ramp_c_per_h(replace(lost, progress=over)) == 0.0


# --- what is seen --------------------------------------------------------------------------------


def seen(bench: Bench, placing: Placing, beer_c: float | None = 10.0) -> Sight | None:
    view = View({}, Trusted(10.0, bench.mono_s), None, 10.0, 8.0, beer_c, placing)
    return sighted(bench.state, view, Moment(bench.mono_s, bench.wall_utc_s, True))


WARM = ((10.0, 8.0, 0.0, 8.0, 0.0), (10.0, 8.5, 0.0, 8.5, 0.0))
"""Two windows of 5 min with air that warms by 6 °C/h."""


@pytest.mark.parametrize(
    ("steps", "c_per_h"),
    [((), 0.0), ((Ramp(16.0, 24.0),), 1.0), ((Ramp(4.0, 24.0),), -1.0)],
    ids=["hold", "up", "down"],
)
def test_drift_and_trend_are_seen_beyond_what_the_ramp_moves(
    steps: tuple[Step, ...], c_per_h: float
) -> None:
    bench = at_10(*steps)
    sight = seen(bench, replace(TAPED, air_c=8.0, means=WARM))
    # Beer that follows the air by a tenth an hour, and warms by itself by 0.1 / 0.8 °C/h.
    drift_c_per_h = 0.1 * (8.0 - 10.0) + 0.125
    assert sight == Sight(
        bench.mono_s,
        10.0,
        8.0,
        None,
        0.0,
        pytest.approx(drift_c_per_h - c_per_h),
        pytest.approx(6.0 - c_per_h),
        pytest.approx(c_per_h),
    )


def test_drift_and_trend_that_are_not_known_are_not_known_on_a_ramp_either() -> None:
    sight = seen(at_10(Ramp(16.0, 24.0)), Placing())
    assert sight is not None
    assert (sight.drift_c_per_h, sight.air_trend_c_per_h) == (None, None)
    assert sight.ramp_c_per_h == pytest.approx(1.0)


def test_without_a_beer_to_see_there_is_no_sight() -> None:
    assert seen(at_10(Ramp(16.0, 24.0)), TAPED, None) is None


def test_what_runs_is_seen_with_how_long_it_has() -> None:
    bench = at_10()
    on = History(on=True, started_mono_s=bench.mono_s - 30.0)
    bench.state = replace(bench.state, histories={**bench.state.histories, Duty.HEAT: on})
    sight = seen(bench, TAPED)
    assert sight is not None
    assert (sight.running, sight.run_s) == (Duty.HEAT, 30.0)


# --- what a tick makes of it ---------------------------------------------------------------------


def test_a_tick_tells_the_learning_how_far_the_ramp_has_led() -> None:
    bench = at_10(Ramp(16.0, 24.0), FinalHold(16.0))
    along_c = bench.state.swing.along_c
    bench.run(360.0)
    assert bench.state.swing.along_c == pytest.approx(along_c + 0.1)
    assert bench.state.swing.on_ramp == {}
    bench.tick(SetTarget(10.0))
    assert bench.state.swing.on_ramp is None
    assert bench.state.swing.along_c == pytest.approx(along_c + 0.1, abs=0.003)


def test_without_a_reading_no_ramp_is_followed() -> None:
    bench = at_10(Ramp(16.0, 24.0), FinalHold(16.0))
    bench.vessel_c = None
    bench.run(600.0)
    assert profile_run.ramp_c_per_h(bench.state) == pytest.approx(1.0)
    assert bench.state.swing == Swing(last=bench.state.swing.last)


@pytest.mark.parametrize(
    ("step", "cooled"),
    [(FinalHold(10.0), True), (Ramp(16.0, 4.8), False)],
    ids=["hold", "ramp"],
)
def test_beer_that_warms_more_slowly_than_its_target_is_not_slow_to_leave_it(
    step: Step, cooled: bool
) -> None:
    """By 0.1 °C/h, as against 0.2: its band is the whole one, and not three fifths of it."""
    bench = at_10(step)
    swing = Swing({Duty.COOL: replace(KNOWN, lag_c=0.0, centre_c=0.0)}, Duty.COOL)
    bench.state = replace(bench.state, placing=WARMING, swing=swing)
    bench.vessel_c = 10.22
    bench.run(120.0)
    assert bench.on(Duty.COOL) is cooled


@pytest.mark.parametrize("came", [True, False], ids=["seen through", "not any more"])
def test_what_was_learned_by_other_readings_is_forgotten_once(came: bool) -> None:
    bench = at_10()
    bench.air_c = 4.0
    bench.tick()
    swing = Swing({Duty.COOL: KNOWN}, Duty.COOL)
    placing = TAPED if came else replace(TAPED, error_of_share=1.0, beer_c=10.01)
    bench.state = replace(bench.state, swing=swing, placing=replace(placing, air_c=4.0))
    bench.tick()
    assert (bench.state.placing.beer_c is not None) is came
    assert bench.state.swing.learned == {Duty.COOL: GUESS}
    bench.state = replace(bench.state, swing=swing)
    bench.tick()
    assert bench.state.swing.learned[Duty.COOL].runs == 5
