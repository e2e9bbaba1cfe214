"""What of the beer and the probes is worth an alarm, and when it is over."""

from __future__ import annotations

from dataclasses import replace

from chamber_bench import Bench, settings, unprotected, vessel_probe

from fermd.control.alarms import AlarmKind
from fermd.control.commands import SetTarget, StartProfile, SwitchOff
from fermd.control.reading import ProbeFault, Trusted
from fermd.control.settings import HOUR_S, AttentionSettings, LimitSettings, ProbeSettings
from fermd.control.steps import FreeRise, Profile

ATTENTION = AttentionSettings(off_target_c=2.0, off_target_for_s=4 * HOUR_S)


def off_target(vessel_c: float, target_c: float = 15.0) -> Bench:
    bench = Bench(unprotected(attention=ATTENTION), vessel_c=vessel_c, air_c=vessel_c)
    bench.tick(SetTarget(target_c))
    bench.run(30.0)
    return bench


def test_beer_that_stays_too_warm_is_an_alarm_after_its_time() -> None:
    bench = off_target(17.5)
    bench.run(4 * HOUR_S - 60.0, every_s=60.0)
    assert AlarmKind.BEER_TOO_WARM not in bench.alarms()
    bench.run(120.0)
    assert AlarmKind.BEER_TOO_WARM in bench.alarms()
    bench.vessel_c = 16.9
    bench.run(700.0)
    assert AlarmKind.BEER_TOO_WARM not in bench.alarms()


def test_beer_that_stays_too_cold_is_an_alarm_of_its_own() -> None:
    bench = off_target(12.5)
    bench.run(4.1 * HOUR_S, every_s=60.0)
    assert AlarmKind.BEER_TOO_COLD in bench.alarms()
    assert AlarmKind.BEER_TOO_WARM not in bench.alarms()


def test_beer_that_comes_nearer_all_the_time_is_no_alarm_however_far_it_is() -> None:
    bench = off_target(25.0, target_c=2.0)
    for _ in range(18):
        bench.run(HOUR_S, every_s=60.0)
        assert bench.vessel_c is not None
        bench.vessel_c -= 1.0
        assert AlarmKind.BEER_TOO_WARM not in bench.alarms()


def test_beer_that_stops_coming_nearer_is_an_alarm() -> None:
    bench = off_target(20.0)
    for _ in range(4):
        bench.run(HOUR_S, every_s=60.0)
        assert bench.vessel_c is not None
        bench.vessel_c -= 0.02
    bench.run(1.1 * HOUR_S, every_s=60.0)
    assert AlarmKind.BEER_TOO_WARM in bench.alarms()


def test_a_deviation_on_the_other_side_is_counted_anew() -> None:
    bench = off_target(17.5)
    bench.run(3 * HOUR_S, every_s=60.0)
    bench.vessel_c = 12.5
    bench.run(3 * HOUR_S, every_s=60.0)
    assert not bench.alarms() & {AlarmKind.BEER_TOO_WARM, AlarmKind.BEER_TOO_COLD}
    bench.run(1.1 * HOUR_S, every_s=60.0)
    assert AlarmKind.BEER_TOO_COLD in bench.alarms()


def test_in_a_free_rise_only_what_is_beyond_floor_or_ceiling_is_off() -> None:
    bench = Bench(unprotected(attention=ATTENTION), vessel_c=18.0, air_c=18.0)
    bench.run(30.0)
    bench.tick(StartProfile(Profile("rise", (FreeRise(14.0, 24.0, 1e6),))))
    bench.run(10 * HOUR_S, every_s=60.0)
    assert bench.alarms() == set()
    assert bench.state.deviation is None


def test_without_a_target_or_a_reading_nothing_is_off_target() -> None:
    bench = off_target(20.0)
    assert bench.state.deviation is not None
    bench.tick(SwitchOff())
    assert bench.state.deviation is None
    bench = off_target(20.0)
    bench.vessel_c = None
    bench.run(60.0)
    assert bench.state.deviation is None


def test_a_probe_that_fails_one_read_in_five_is_worth_a_look() -> None:
    bench = Bench(unprotected())
    bench.fault = ProbeFault.CHECKSUM
    for number in range(400):
        bench.vessel_c = None if number % 4 == 0 else 18.0
        bench.tick()
    assert bench.alarms() == {AlarmKind.PROBE_UNSTEADY}
    bench.vessel_c = 18.0
    bench.run(5000.0)
    assert bench.alarms() == set()


def test_a_watching_probe_that_is_lost_is_a_notice_and_changes_nothing_else() -> None:
    keg = ProbeSettings(name="keg", bad_run=1, frozen_s=0.0, highest_c=15.0)
    bench = Bench(unprotected(watching_probes=(keg,)), vessel_c=14.0)
    bench.run(100.0)
    assert bench.decision is not None
    assert [name for name, _ in bench.decision.watching] == ["keg"]
    # Beer at 18 °C is nothing to a vessel probe, and out of this one's range.
    bench.vessel_c = 18.0
    bench.tick(SetTarget(18.0))
    bench.run(400.0)
    assert bench.alarms() - {AlarmKind.PROBE_UNSTEADY} == {AlarmKind.WATCHING_PROBE_LOST}
    assert bench.decision.vessel == Trusted(18.0, bench.mono_s)


def test_beer_at_its_freezing_margin_rings_only_clearly_below_it() -> None:
    limits = LimitSettings(freezing_point_c=-2.0, freezing_margin_c=0.5)
    given = settings(limits=limits, vessel_probe=vessel_probe())
    bench = Bench(given, vessel_c=-1.65, air_c=0.0)
    bench.run(200.0)
    assert AlarmKind.NEAR_FREEZING not in bench.alarms()
    bench.vessel_c = -1.75
    bench.run(200.0)
    assert AlarmKind.NEAR_FREEZING in bench.alarms()
    assert replace(limits, freezing_margin_c=1.0).coldest_beer_c == -1.0
