"""What takes an output off whatever is called for: no reading, air limits, the freezing margin."""

from __future__ import annotations

import pytest
from chamber_bench import (
    UNPROTECTED,
    Bench,
    air_probe,
    fan,
    fridge,
    heater,
    settings,
    unprotected,
    vessel_probe,
)

from fermd.control.alarms import AlarmKind
from fermd.control.bands import Call
from fermd.control.commands import OverrideOutput, SetTarget
from fermd.control.events import AlarmChanged, AlarmPhase, TrustChanged
from fermd.control.reading import STARTING_PATIENCE_S, ProbeFault
from fermd.control.reasons import Rule
from fermd.control.settings import (
    ChamberSettings,
    Duty,
    FailSafeSettings,
    ForesightSettings,
    LimitSettings,
    ProtectionSettings,
)


def cooling(given: ChamberSettings, *, vessel_c: float = 20.0, air_c: float = 18.0) -> Bench:
    bench = Bench(given, vessel_c=vessel_c, air_c=air_c)
    bench.tick(SetTarget(10.0))
    bench.run_until(lambda _: bench.on(Duty.COOL), within_s=3600.0)
    return bench


def heating(given: ChamberSettings, *, vessel_c: float = 12.0, air_c: float = 18.0) -> Bench:
    bench = Bench(given, vessel_c=vessel_c, air_c=air_c)
    bench.tick(SetTarget(20.0))
    bench.run_until(lambda _: bench.on(Duty.HEAT), within_s=3600.0)
    return bench


def test_everything_is_off_from_the_tick_in_which_the_vessel_probe_is_lost() -> None:
    bench = cooling(unprotected())
    bench.vessel_c = None
    bench.run(40.0)
    assert bench.on(Duty.COOL)
    bench.tick()
    assert not bench.on(Duty.COOL)
    assert bench.rules(Duty.COOL) == [Rule.FAIL_SAFE]
    assert bench.decision is not None
    assert bench.decision.call is Call.IDLE
    lost = bench.happened(TrustChanged)[-1]
    assert (lost.trusted, lost.fault, lost.temp_c) == (False, ProbeFault.NO_ANSWER, 20.0)


def test_safety_wants_a_compressor_off_within_its_minimum_run_time_when_the_probe_is_lost() -> None:
    bench = cooling(settings())
    bench.vessel_c = None
    bench.run(50.0)
    assert not bench.on(Duty.COOL)


def test_the_loss_of_the_vessel_probe_is_an_alarm_after_a_minute() -> None:
    bench = cooling(unprotected())
    bench.vessel_c = None
    bench.run(50.0)
    bench.run(50.0)
    assert AlarmKind.VESSEL_PROBE_LOST not in bench.alarms()
    bench.tick()
    assert AlarmKind.VESSEL_PROBE_LOST in bench.alarms()
    bench.vessel_c = 20.0
    bench.run(200.0)
    assert AlarmKind.VESSEL_PROBE_LOST not in bench.alarms()
    phases = [e.phase for e in bench.happened(AlarmChanged) if e.subject == "beer"]
    assert phases == [AlarmPhase.RAISED, AlarmPhase.CLEARED]


def test_cooling_goes_on_once_the_probe_is_trusted_again() -> None:
    bench = cooling(unprotected())
    bench.vessel_c = None
    bench.run(600.0)
    bench.vessel_c = 20.0
    bench.run(20.0)
    assert not bench.on(Duty.COOL)
    bench.tick()
    assert bench.on(Duty.COOL)


def test_probe_threads_that_are_stuck_end_in_fail_safe_at_the_stale_limit() -> None:
    bench = cooling(unprotected(vessel_probe=vessel_probe(stale_s=60.0)))
    bench.silent = True
    bench.run(60.0)
    assert bench.on(Duty.COOL)
    bench.tick()
    assert not bench.on(Duty.COOL)


FAIL_SAFE_COOLING = FailSafeSettings(Duty.COOL, run_s=600.0, every_s=3600.0)


def test_a_declared_fail_safe_runs_by_the_clock_and_nothing_else_does() -> None:
    bench = cooling(unprotected(fail_safe=FAIL_SAFE_COOLING))
    bench.vessel_c = None
    bench.run(50.0)
    ran_s, began_s = 0.0, bench.mono_s
    for _ in range(3 * 360):
        into_s = (bench.mono_s - began_s) % 3600.0
        assert bench.on(Duty.COOL) == (into_s < 600.0)
        assert not bench.on(Duty.HEAT)
        assert bench.rules(Duty.COOL) == [Rule.FAIL_SAFE_CYCLE]
        ran_s += 10.0 if bench.on(Duty.COOL) else 0.0
        bench.tick()
    assert ran_s == 3 * 600.0
    assert bench.rules(Duty.HEAT) == [Rule.OPPOSITE_CALLED]


def test_a_fail_safe_of_heat_keeps_a_garage_from_freezing_the_beer() -> None:
    given = unprotected(fail_safe=FailSafeSettings(Duty.HEAT, run_s=600.0, every_s=3600.0))
    bench = Bench(given, vessel_c=None)
    bench.run(60.0)
    assert bench.on(Duty.HEAT)
    assert not bench.on(Duty.COOL)


def test_the_fail_safe_cycle_says_until_when_each_part_of_it_lasts() -> None:
    bench = cooling(unprotected(fail_safe=FAIL_SAFE_COOLING))
    bench.vessel_c = None
    bench.run(50.0)
    assert bench.decision is not None
    assert bench.decision.call_reason.until_mono_s == bench.mono_s + 600.0
    bench.run(200.0)
    assert bench.decision.call_reason.until_mono_s == bench.mono_s + 400.0
    bench.run(400.0)
    assert bench.decision.call_reason.until_mono_s == bench.mono_s + 3000.0
    bench.run(1000.0)
    assert bench.decision.call_reason.until_mono_s == bench.mono_s + 2000.0


def test_protection_holds_in_fail_safe_too() -> None:
    often = FailSafeSettings(Duty.COOL, run_s=60.0, every_s=600.0)
    slow = fridge(protection=ProtectionSettings(300.0, 180.0, 2, 300.0))
    bench = cooling(settings(outputs=(slow,), fail_safe=often))
    bench.vessel_c = None
    bench.run(2 * 3600.0)
    assert sum(bench.switched(Duty.COOL)) <= 5


def test_nobody_runs_the_fail_safe_output_longer_by_hand() -> None:
    bench = cooling(unprotected(fail_safe=FAIL_SAFE_COOLING))
    bench.vessel_c = None
    bench.run(50.0)
    bench.tick(OverrideOutput(Duty.COOL, True, 3600.0))
    bench.run(620.0)
    assert not bench.on(Duty.COOL)


def test_what_was_switched_off_by_hand_stays_off_in_fail_safe() -> None:
    bench = cooling(unprotected(fail_safe=FAIL_SAFE_COOLING))
    bench.tick(OverrideOutput(Duty.COOL, False, 3600.0))
    bench.vessel_c = None
    bench.run(100.0)
    assert not bench.on(Duty.COOL)
    assert bench.rules(Duty.COOL) == [Rule.OVERRIDE]


LIMITS = LimitSettings(air_lowest_c=2.0, air_highest_c=30.0, air_differential_c=1.0)


@pytest.mark.parametrize(
    ("duty", "inside_c", "limit_c", "back_c"),
    [(Duty.COOL, 2.1, 2.0, 3.1), (Duty.HEAT, 29.9, 30.0, 28.9)],
)
def test_the_air_limit_holds_in_the_same_tick_and_lets_go_after_a_differential(
    duty: Duty, inside_c: float, limit_c: float, back_c: float
) -> None:
    given = unprotected(limits=LIMITS, air_probe=air_probe(median_of=1))
    bench = cooling(given) if duty is Duty.COOL else heating(given)
    bench.air_c = inside_c
    bench.tick()
    assert bench.on(duty)
    bench.air_c = limit_c
    bench.tick()
    assert not bench.on(duty)
    reason = bench.output(duty).reasons[0]
    assert (reason.rule, reason.value_c, reason.limit_c) == (Rule.AIR_LIMIT, limit_c, limit_c)
    bench.air_c = inside_c
    bench.tick()
    assert not bench.on(duty)
    bench.air_c = back_c
    bench.tick()
    assert bench.on(duty)


@pytest.mark.parametrize("duty", [Duty.HEAT, Duty.COOL])
def test_without_the_air_probe_nothing_runs_unless_the_brewer_chose_so(duty: Duty) -> None:
    for carry_on in (False, True):
        given = unprotected(limits=LimitSettings(carry_on_without_air=carry_on))
        bench = cooling(given) if duty is Duty.COOL else heating(given)
        bench.air_c = None
        bench.run(120.0)
        assert bench.on(duty) is carry_on
        assert AlarmKind.AIR_PROBE_LOST in bench.alarms()
        if not carry_on:
            assert bench.rules(duty) == [Rule.AIR_UNKNOWN]


def test_a_chamber_without_an_air_probe_runs_by_its_vessel_alone() -> None:
    bench = cooling(unprotected(air_probe=None))
    assert bench.decision is not None
    assert bench.decision.air is None
    assert bench.alarms() == set()


def test_beer_is_not_cooled_to_its_freezing_margin_even_by_hand() -> None:
    limits = LimitSettings(freezing_point_c=-2.0, freezing_margin_c=0.5)
    bench = Bench(unprotected(limits=limits, vessel_probe=vessel_probe(median_of=1)), vessel_c=0.0)
    bench.run(50.0)
    bench.tick(OverrideOutput(Duty.COOL, True, 3600.0))
    assert bench.on(Duty.COOL)
    # Within the differential, but not back from the limit yet: what runs runs on.
    bench.vessel_c = -1.4
    bench.tick()
    assert bench.on(Duty.COOL)
    bench.vessel_c = -1.5
    bench.tick()
    assert not bench.on(Duty.COOL)
    reason = bench.output(Duty.COOL).reasons[0]
    assert (reason.rule, reason.value_c, reason.limit_c) == (Rule.FREEZING, -1.5, -1.5)
    bench.vessel_c = -1.31
    bench.tick()
    assert not bench.on(Duty.COOL)
    bench.vessel_c = -1.29
    bench.tick()
    assert bench.on(Duty.COOL)


def test_beer_below_its_freezing_margin_is_an_alarm_and_is_warmed() -> None:
    bench = Bench(unprotected(), vessel_c=-1.8, air_c=-1.8)
    bench.tick(SetTarget(-1.0))
    bench.run(120.0)
    assert bench.on(Duty.HEAT)
    assert AlarmKind.NEAR_FREEZING in bench.alarms()


FAN = fan(run_on_s=120.0)


def test_a_fan_runs_with_cooling_and_runs_on_after_it() -> None:
    bench = cooling(unprotected(outputs=(FAN, fridge(protection=UNPROTECTED))))
    assert bench.on(Duty.FAN)
    assert bench.rules(Duty.FAN) == [Rule.FOLLOWS_CALL]
    bench.vessel_c = 9.0
    bench.run_until(lambda _: not bench.on(Duty.COOL), within_s=100.0)
    assert bench.on(Duty.FAN)
    assert bench.output(Duty.FAN).reasons[0].until_mono_s == bench.mono_s + 120.0
    assert bench.run_until(lambda _: not bench.on(Duty.FAN), within_s=300.0) == 120.0
    assert bench.rules(Duty.FAN) == [Rule.FOLLOWS_CALL]


def test_a_fan_runs_with_heat_too_and_goes_off_with_it_if_it_has_no_run_on() -> None:
    bench = heating(unprotected(outputs=(heater(protection=UNPROTECTED), fan())))
    assert bench.on(Duty.FAN)
    bench.vessel_c = 21.0
    bench.run_until(lambda _: not bench.on(Duty.HEAT), within_s=100.0)
    assert not bench.on(Duty.FAN)


def test_a_fan_does_not_run_on_from_a_run_that_nobody_saw() -> None:
    bench = Bench(settings(outputs=(FAN, fridge())))
    bench.tick()
    assert not bench.on(Duty.FAN)


def test_a_restart_does_not_begin_with_a_blind_run() -> None:
    """The probe has only not given enough readings yet; a silent one is run blind later."""
    safe = FailSafeSettings(Duty.HEAT, run_s=600.0, every_s=3600.0)
    blind = unprotected(fail_safe=safe, air_probe=None)
    bench = Bench(blind)
    bench.silent = True
    bench.run(STARTING_PATIENCE_S - 10.0)
    assert not bench.on(Duty.HEAT)
    bench.run(60.0)
    assert bench.on(Duty.HEAT)


def test_a_run_that_the_airs_limit_has_ended_is_not_taken_up_again_within_the_band() -> None:
    """Half a swing later it would take the beer twice as far, with one start more."""
    plain = ForesightSettings(foresee=False)
    bench = Bench(unprotected(limits=LIMITS, foresight=plain), vessel_c=18.1, air_c=17.0)
    bench.tick(SetTarget(18.0))
    bench.run(60.0)
    bench.vessel_c = 18.5
    bench.run(60.0)
    assert bench.on(Duty.COOL)
    bench.vessel_c, bench.air_c = 18.1, LIMITS.air_lowest_c - 0.1
    bench.run(60.0)
    assert not bench.on(Duty.COOL)
    # The air comes back, the beer is within its band: the call is over, ...
    bench.air_c = 17.0
    bench.run(2400.0)
    assert not bench.on(Duty.COOL)
    # ... and begins anew at the band's edge.
    bench.vessel_c = 18.5
    bench.run(60.0)
    assert bench.on(Duty.COOL)
    assert bench.switched(Duty.COOL) == [True, False, True]


def test_far_from_the_target_a_run_goes_on_when_the_air_allows() -> None:
    bench = Bench(unprotected(limits=LIMITS), vessel_c=20.0, air_c=17.0)
    bench.tick(SetTarget(18.0))
    bench.run(60.0)
    assert bench.on(Duty.COOL)
    bench.air_c = LIMITS.air_lowest_c - 0.1
    bench.run(60.0)
    assert not bench.on(Duty.COOL)
    bench.air_c = 17.0
    bench.run(60.0)
    assert bench.on(Duty.COOL)
