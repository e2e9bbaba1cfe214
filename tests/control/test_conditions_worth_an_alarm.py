"""What of the beer and the probes is worth an alarm, and when it is over."""

from __future__ import annotations

from dataclasses import replace

import pytest
from chamber_bench import Bench, settings, unprotected, vessel_probe

from fermd.control.alarms import Alarm, AlarmKind, Condition
from fermd.control.commands import PauseProfile, SetTarget, StartProfile, SwitchOff
from fermd.control.conditions import (
    NEARER_C,
    UNSTEADY_SHARE,
    follow_deviation,
    present,
)
from fermd.control.moment import Moment
from fermd.control.reading import STARTING_PATIENCE_S, ProbeFault, Trusted, Untrusted
from fermd.control.reasons import Rule
from fermd.control.safety import FREEZING_DIFFERENTIAL_C
from fermd.control.settings import HOUR_S, AttentionSettings, Duty, LimitSettings, ProbeSettings
from fermd.control.state import ChamberState, Deviation
from fermd.control.steps import FreeRise, Profile, Target, WaitForPerson

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


def alarm_of(bench: Bench, kind: AlarmKind) -> Alarm:
    assert bench.decision is not None
    (alarm,) = [alarm for alarm in bench.decision.alarms if alarm.kind is kind]
    return alarm


def test_an_alarm_about_beer_tells_how_far_it_is_and_what_was_allowed() -> None:
    bench = off_target(17.5)
    bench.run(4.1 * HOUR_S, every_s=60.0)
    alarm = alarm_of(bench, AlarmKind.BEER_TOO_WARM)
    assert (alarm.subject, alarm.value, alarm.limit) == ("", 2.5, 2.0)
    bench = off_target(-1.75, target_c=-1.5)
    bench.run(200.0)
    alarm = alarm_of(bench, AlarmKind.NEAR_FREEZING)
    limits = bench.settings.limits
    assert (alarm.subject, alarm.value, alarm.limit) == ("", -1.75, limits.freezing_point_c)


def test_an_alarm_about_a_probe_tells_its_name_and_the_last_that_it_showed() -> None:
    keg = ProbeSettings(name="keg", bad_run=1, frozen_s=0.0)
    bench = Bench(unprotected(watching_probes=(keg,)), vessel_c=14.0, air_c=11.0)
    bench.run(100.0)
    bench.vessel_c = bench.air_c = None
    bench.run(600.0)
    assert bench.decision is not None
    assert {
        (alarm.kind, alarm.subject, alarm.value, alarm.limit)
        for alarm in bench.decision.alarms
        if alarm.kind is not AlarmKind.PROBE_UNSTEADY
    } == {
        (AlarmKind.VESSEL_PROBE_LOST, "beer", 14.0, None),
        (AlarmKind.AIR_PROBE_LOST, "air", 11.0, None),
        (AlarmKind.WATCHING_PROBE_LOST, "keg", 14.0, None),
    }


def test_an_unsteady_probe_is_told_by_its_name_and_the_share_of_reads_that_fail() -> None:
    bench = Bench(unprotected())
    unsteady = replace(bench.state.healths["beer"], bad_share=UNSTEADY_SHARE)
    steady = replace(unsteady, bad_share=UNSTEADY_SHARE - 0.001)
    found = present(
        bench.state,
        bench.settings,
        {"beer": unsteady, "air": steady},
        Trusted(18.0, 0.0),
        Trusted(18.0, 0.0),
        {},
        Moment(0.0),
    )
    kind = AlarmKind.PROBE_UNSTEADY
    assert found == {(kind, "beer"): Condition(kind, "beer", UNSTEADY_SHARE, UNSTEADY_SHARE)}


def test_a_wait_for_a_person_is_told_by_the_name_of_its_step_or_else_by_what_it_asks() -> None:
    for step, subject in (
        (WaitForPerson(18.0, "add the hops", "dry hop"), "dry hop"),
        (WaitForPerson(18.0, "add the hops"), "add the hops"),
    ):
        bench = Bench(unprotected())
        bench.run(30.0)
        bench.tick(StartProfile(Profile("wait", (step,))))
        assert alarm_of(bench, AlarmKind.WAITING_FOR_PERSON).subject == subject
        bench.tick(PauseProfile())
        bench.tick()
        assert AlarmKind.WAITING_FOR_PERSON not in bench.alarms()


def kinds_at(state: ChamberState, mono_s: float, vessel_c: float = 18.0) -> set[AlarmKind]:
    seen = Trusted(vessel_c, mono_s)
    given = unprotected(attention=ATTENTION)
    return {kind for kind, _ in present(state, given, {}, seen, seen, {}, Moment(mono_s))}


def test_what_is_worth_an_alarm_begins_and_ends_on_the_very_second() -> None:
    fresh = Bench(unprotected(attention=ATTENTION)).state
    history = replace(fresh.histories[Duty.COOL], rest_until_mono_s=100.0)
    rests = replace(
        fresh,
        histories={**fresh.histories, Duty.COOL: history},
        resting={Duty.COOL: Rule.NO_EFFECT},
    )
    assert kinds_at(rests, 99.9) == {AlarmKind.NO_EFFECT}
    assert kinds_at(rests, 100.0) == set()
    warm = replace(fresh, deviation=Deviation(True, 2.5, 0.0))
    assert kinds_at(warm, ATTENTION.off_target_for_s - 0.1) == set()
    assert kinds_at(warm, ATTENTION.off_target_for_s) == {AlarmKind.BEER_TOO_WARM}
    edge_c = LimitSettings().coldest_beer_c - FREEZING_DIFFERENTIAL_C
    assert kinds_at(fresh, 0.0, edge_c) == set()
    assert kinds_at(fresh, 0.0, edge_c - 0.001) == {AlarmKind.NEAR_FREEZING}


def starting(since_mono_s: float) -> Untrusted:
    return Untrusted(ProbeFault.STARTING, since_mono_s)


@pytest.mark.parametrize(
    ("vessel", "air", "kinds"),
    [
        (starting(0.1), starting(0.1), set()),
        (starting(0.0), starting(0.1), {AlarmKind.VESSEL_PROBE_LOST}),
        (starting(0.1), starting(0.0), {AlarmKind.AIR_PROBE_LOST}),
        (
            Untrusted(ProbeFault.CHECKSUM, 299.0),
            Untrusted(ProbeFault.CHECKSUM, 299.0),
            {AlarmKind.VESSEL_PROBE_LOST, AlarmKind.AIR_PROBE_LOST},
        ),
    ],
)
def test_a_probe_has_five_minutes_to_give_its_first_readings(
    vessel: Untrusted, air: Untrusted, kinds: set[AlarmKind]
) -> None:
    bench = Bench(unprotected())
    now = Moment(STARTING_PATIENCE_S)
    found = present(bench.state, bench.settings, {}, vessel, air, {}, now)
    assert {kind for kind, _ in found} == kinds


def deviates(off_c: float, before: Deviation | None) -> Deviation | None:
    """How a chamber with a target of 15 °C remembers beer so far above it (below: negative)."""
    bench = Bench(unprotected(attention=ATTENTION))
    state = replace(bench.state, deviation=before)
    after = follow_deviation(state, bench.settings, Target.at(15.0), 15.0 + off_c, 700.0)
    return after.deviation


def test_beer_is_off_its_target_only_beyond_what_is_allowed() -> None:
    assert deviates(2.0, None) is None
    assert deviates(-2.0, None) is None
    assert deviates(2.5, None) == Deviation(True, 2.5, 700.0)
    assert deviates(-2.5, None) == Deviation(False, 2.5, 700.0)
    assert deviates(1.0, Deviation(True, 2.5, 0.0)) is None


def test_beer_has_come_nearer_once_it_is_a_tenth_of_a_degree_nearer() -> None:
    before = Deviation(True, 4.0, 0.0)
    assert deviates(3.95, before) == before
    assert deviates(5.0, before) == before
    assert deviates(2.5, Deviation(True, 2.5 + NEARER_C, 0.0)) == Deviation(True, 2.5, 700.0)


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
