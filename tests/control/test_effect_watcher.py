"""Whether an output that is on does anything: who is accused, and who is not.

Over {heat, cool} × {warm-up, hold, target changed, start near the target, overshoot}, with runs
that fail from their start or in their middle.
"""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from chamber_bench import Bench, fridge, heater, settings, unprotected

from fermd.control.alarms import AlarmKind
from fermd.control.commands import AcknowledgeAlarm, OverrideOutput, SetTarget
from fermd.control.effect import Watch, watch
from fermd.control.events import AlarmChanged
from fermd.control.reasons import Reason, Rule
from fermd.control.safety import drives
from fermd.control.settings import (
    HOUR_S,
    Duty,
    EffectSettings,
    ProtectionSettings,
)

EFFECT = EffectSettings(within_s=7200.0, wrong_way_c=0.5)
SIGN = {Duty.HEAT: 1.0, Duty.COOL: -1.0}
BOTH = pytest.mark.parametrize("duty", [Duty.HEAT, Duty.COOL])


def accused_after_s(
    duty: Duty, temps_c: Iterable[float], *, driving: bool = False, every_s: float = 60.0
) -> float | None:
    """How long a run lasts until the watcher ends it; None if it never does."""
    seen: Watch | None = None
    for number, temp_c in enumerate(temps_c):
        mono_s = number * every_s
        seen, reason = watch(seen, EFFECT, duty, True, temp_c, mono_s, driving)
        if reason is not None:
            assert reason.rule is Rule.NO_EFFECT
            return mono_s
    return None


def line(duty: Duty, *moves: tuple[float, float], start_c: float = 15.0) -> list[float]:
    """A course of temperatures, minute by minute: pairs of hours and °C per hour.

    Positive is the way that the output should go: up for heat, down for cooling.
    """
    temps_c = [start_c]
    for hours, c_per_h in moves:
        for _ in range(round(hours * 60)):
            temps_c.append(temps_c[-1] + SIGN[duty] * c_per_h / 60.0)
    return temps_c


@BOTH
def test_a_warm_up_that_gets_somewhere_is_never_accused(duty: Duty) -> None:
    assert accused_after_s(duty, line(duty, (48.0, 0.3))) is None


@BOTH
def test_an_output_that_only_just_holds_the_beer_is_not_accused(duty: Duty) -> None:
    assert accused_after_s(duty, line(duty, (48.0, 0.0))) is None


@BOTH
def test_a_lag_at_the_start_of_a_run_is_not_accused(duty: Duty) -> None:
    """The beer goes on the wrong way for a while before the output gets through to it."""
    assert accused_after_s(duty, line(duty, (1.4, -0.6), (20.0, 0.5))) is None


@BOTH
def test_a_run_has_turned_once_it_has_come_back_by_half_of_the_wrong_way(duty: Duty) -> None:
    before = Watch(15.0, 0.0, 15.0 - SIGN[duty])
    turned_c = before.worst_c + SIGN[duty] * EFFECT.wrong_way_c / 2
    assert watch(before, EFFECT, duty, True, turned_c, 60.0) == (
        Watch(turned_c, 60.0, turned_c),
        None,
    )
    nearly_c = before.worst_c + SIGN[duty] * EFFECT.wrong_way_c * 0.49
    assert watch(before, EFFECT, duty, True, nearly_c, 60.0) == (before, None)


@BOTH
def test_what_turned_and_fails_later_is_found_from_where_it_turned(duty: Duty) -> None:
    found_s = accused_after_s(duty, line(duty, (1.4, -0.6), (0.6, 0.5), (10.0, -0.5)))
    assert found_s == pytest.approx(4 * HOUR_S, abs=120.0)


@BOTH
def test_an_output_that_does_nothing_is_accused_after_its_time(duty: Duty) -> None:
    assert accused_after_s(duty, line(duty, (10.0, -0.5))) == 7200.0


@BOTH
def test_an_output_that_went_wrong_by_just_the_margin_is_accused(duty: Duty) -> None:
    wrong_c = 15.0 - SIGN[duty] * EFFECT.wrong_way_c
    before = Watch(15.0, 0.0, wrong_c)
    assert watch(before, EFFECT, duty, True, wrong_c, 7199.0) == (before, None)
    _, reason = watch(before, EFFECT, duty, True, wrong_c, 7200.0)
    assert reason == Reason(Rule.NO_EFFECT, wrong_c, 15.0, number=7200.0)


@BOTH
def test_an_output_that_does_nothing_slowly_is_accused_once_it_shows(duty: Duty) -> None:
    found_s = accused_after_s(duty, line(duty, (10.0, -0.1)))
    assert found_s == pytest.approx(5 * HOUR_S, abs=60.0)


@BOTH
def test_a_run_that_fails_in_its_middle_is_found_as_surely(duty: Duty) -> None:
    found_s = accused_after_s(duty, line(duty, (6.0, 0.5), (10.0, -0.5)))
    assert found_s == pytest.approx(8 * HOUR_S, abs=60.0)


@BOTH
def test_an_overshoot_and_its_return_within_the_margin_are_not_accused(duty: Duty) -> None:
    assert accused_after_s(duty, line(duty, (2.0, 0.5), (4.0, -0.1), (20.0, 0.0))) is None


@BOTH
def test_a_run_that_starts_near_the_target_is_judged_like_any_other(duty: Duty) -> None:
    assert accused_after_s(duty, line(duty, (0.5, 0.1))) is None
    assert accused_after_s(duty, line(duty, (0.1, 0.1), (10.0, -0.4))) is not None


@BOTH
def test_air_that_drives_the_beer_acquits_the_output_whatever_the_beer_does(duty: Duty) -> None:
    assert accused_after_s(duty, line(duty, (48.0, -0.5)), driving=True) is None


@BOTH
def test_every_run_is_judged_on_its_own(duty: Duty) -> None:
    seen, _ = watch(None, EFFECT, duty, True, 15.0, 0.0)
    assert seen == Watch(15.0, 0.0, 15.0)
    assert watch(seen, EFFECT, duty, False, 15.0, 60.0) == (None, None)


@BOTH
def test_without_a_temperature_the_watcher_waits(duty: Duty) -> None:
    seen = Watch(15.0, 0.0, 15.0)
    assert watch(seen, EFFECT, duty, True, None, 1e6) == (seen, None)
    assert watch(None, EFFECT, duty, True, None, 0.0) == (None, None)


@BOTH
def test_the_finding_says_what_it_stands_on(duty: Duty) -> None:
    now_c = 15.0 - SIGN[duty]
    _, reason = watch(Watch(15.0, 0.0, 15.0), EFFECT, duty, True, now_c, 7200.0)
    assert reason == Reason(Rule.NO_EFFECT, now_c, 15.0, number=7200.0)


def test_a_fan_is_not_judged_by_temperatures() -> None:
    assert watch(None, EFFECT, Duty.FAN, True, 15.0, 0.0) == (None, None)


@pytest.mark.parametrize(
    ("duty", "air_c", "plain"),
    [
        (Duty.COOL, 17.0, True),
        (Duty.COOL, 17.1, False),
        (Duty.COOL, 19.0, False),
        (Duty.COOL, None, False),
        (Duty.HEAT, 19.0, True),
        (Duty.HEAT, 18.9, False),
        (Duty.HEAT, 17.0, False),
    ],
)
def test_air_a_full_degree_from_the_beer_shows_that_an_output_works(
    duty: Duty, air_c: float | None, plain: bool
) -> None:
    assert drives(duty, 18.0, air_c) is plain
    assert not drives(duty, None, air_c)


def drifting(bench: Bench, for_s: float, vessel_c_per_h: float, air_c_per_h: float = 0.0) -> None:
    """Runs a chamber in which nothing that the outputs do has any effect."""
    for _ in range(round(for_s / 60.0)):
        assert bench.vessel_c is not None
        assert bench.air_c is not None
        bench.vessel_c += vessel_c_per_h / 60.0
        bench.air_c += air_c_per_h / 60.0
        bench.tick(after_s=60.0)


def test_a_fridge_without_power_goes_off_with_an_alarm_that_stays_until_it_is_seen() -> None:
    bench = Bench(unprotected(), vessel_c=16.0, air_c=15.8)
    bench.tick(SetTarget(10.0))
    bench.run(60.0)
    assert bench.on(Duty.COOL)
    drifting(bench, 2 * HOUR_S, 0.3, 0.3)
    assert AlarmKind.NO_EFFECT in bench.alarms()
    bench.tick()
    assert not bench.on(Duty.COOL)
    assert bench.rules(Duty.COOL) == [Rule.NO_EFFECT]
    alarm = next(a for a in bench.decision.alarms if a.kind is AlarmKind.NO_EFFECT)  # type: ignore[union-attr]
    assert alarm.subject == "fridge"
    bench.tick(OverrideOutput(Duty.COOL, False, 4 * HOUR_S))
    bench.run(4 * HOUR_S - 100.0, every_s=60.0)
    assert AlarmKind.NO_EFFECT in bench.alarms()
    bench.tick(AcknowledgeAlarm("no-effect", "fridge", "anna"))
    assert AlarmKind.NO_EFFECT not in bench.alarms()


def test_an_output_without_effect_is_tried_again_after_its_rest() -> None:
    bench = Bench(unprotected(), vessel_c=16.0, air_c=15.8)
    bench.tick(SetTarget(10.0))
    drifting(bench, 12 * HOUR_S, 0.3, 0.3)
    assert 4 <= sum(bench.switched(Duty.COOL)) <= 6


def test_a_heater_that_has_fallen_off_the_vessel_is_found_by_the_vessel() -> None:
    bench = Bench(unprotected(), vessel_c=16.0, air_c=16.0)
    bench.tick(SetTarget(20.0))
    drifting(bench, 2.2 * HOUR_S, -0.3, -0.3)
    assert AlarmKind.NO_EFFECT in bench.alarms()


def test_a_weak_fridge_at_the_peak_of_fermentation_is_not_accused() -> None:
    """The beer warms although cooling runs, but the air is cold: the fridge does what it can."""
    bench = Bench(unprotected(), vessel_c=20.0, air_c=8.0)
    bench.tick(SetTarget(18.0))
    drifting(bench, 24 * HOUR_S, 0.15)
    assert bench.on(Duty.COOL) or bench.rules(Duty.COOL) == [Rule.LONGEST_RUN]
    assert AlarmKind.NO_EFFECT not in bench.alarms()


def test_a_fridge_that_fails_in_the_middle_of_a_long_run_is_found() -> None:
    bench = Bench(unprotected(), vessel_c=20.0, air_c=8.0)
    bench.tick(SetTarget(4.0))
    drifting(bench, 3 * HOUR_S, -0.5)
    assert AlarmKind.NO_EFFECT not in bench.alarms()
    drifting(bench, 8 * HOUR_S, 0.1, 2.0)
    assert AlarmKind.NO_EFFECT in bench.alarms()


def test_a_changed_target_does_not_concern_the_watcher() -> None:
    bench = Bench(unprotected(), vessel_c=16.0, air_c=15.8)
    bench.tick(SetTarget(10.0))
    for hour in range(2):
        drifting(bench, HOUR_S, 0.3, 0.3)
        bench.tick(SetTarget(9.0 - hour))
    drifting(bench, 0.2 * HOUR_S, 0.3, 0.3)
    assert AlarmKind.NO_EFFECT in bench.alarms()


def test_a_chamber_without_an_air_probe_is_judged_by_its_beer() -> None:
    bench = Bench(unprotected(air_probe=None), vessel_c=16.0)
    bench.tick(SetTarget(10.0))
    drifting(bench, 2.2 * HOUR_S, 0.3)
    assert AlarmKind.NO_EFFECT in bench.alarms()


def test_the_longest_run_ends_with_an_alarm_and_a_rest() -> None:
    limited = ProtectionSettings(longest_run_s=3600.0, rest_s=1800.0)
    bench = Bench(settings(outputs=(heater(protection=limited), fridge())), vessel_c=10.0)
    bench.tick(SetTarget(20.0))
    bench.run_until(lambda _: bench.on(Duty.HEAT), within_s=1000.0)
    assert bench.run_until(lambda _: not bench.on(Duty.HEAT), within_s=7200.0) == 3600.0
    assert bench.rules(Duty.HEAT) == [Rule.LONGEST_RUN]
    assert AlarmKind.LONGEST_RUN in bench.alarms()
    assert bench.run_until(lambda _: bench.on(Duty.HEAT), within_s=7200.0) == 1800.0
    raised = [e for e in bench.happened(AlarmChanged) if e.alarm == "longest-run"]
    assert [event.subject for event in raised] == ["belt"]
