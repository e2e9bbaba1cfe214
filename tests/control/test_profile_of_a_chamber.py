"""A profile at work in a chamber: with the relays, through gaps, clock steps and restarts."""

from __future__ import annotations

import json
from dataclasses import replace

from chamber_bench import Bench, unprotected

from fermd.control import chamber, memory
from fermd.control.alarms import AlarmKind
from fermd.control.chamber import Inputs
from fermd.control.commands import (
    ConfirmStep,
    ExtendStep,
    PauseProfile,
    ResumeProfile,
    SetTarget,
    SkipStep,
    StartProfile,
    StopProfile,
    SwitchOff,
)
from fermd.control.decision import Mode
from fermd.control.events import (
    GapSeen,
    ProfileChange,
    ProfileChanged,
    StepChange,
    StepChanged,
    TargetChanged,
)
from fermd.control.moment import Moment
from fermd.control.settings import DAY_S, HOUR_S, Duty
from fermd.control.state import first_state
from fermd.control.steps import (
    FinalHold,
    FreeRise,
    Hold,
    Jump,
    Profile,
    Ramp,
    Target,
    WaitForPerson,
)

TWO_HOLDS = Profile("two holds", (Hold(12.0, 3600.0, "first"), FinalHold(4.0, "second")))


def at_work(profile: Profile, *, vessel_c: float = 18.0) -> Bench:
    bench = Bench(unprotected(), vessel_c=vessel_c)
    bench.run(60.0)
    bench.tick(StartProfile(profile, "anna"), after_s=0.0)
    return bench


def elapsed_s(bench: Bench) -> float:
    assert bench.decision is not None
    assert bench.decision.outlook is not None
    return bench.decision.outlook.elapsed_s


def target_of(bench: Bench) -> Target | None:
    assert bench.decision is not None
    return bench.decision.target


def test_a_profile_sets_the_target_that_the_relays_follow() -> None:
    bench = at_work(TWO_HOLDS)
    assert target_of(bench) == Target.at(12.0)
    assert bench.on(Duty.COOL)
    bench.run(3600.0)
    assert target_of(bench) == Target.at(4.0)
    kinds = [(e.index, e.change) for e in bench.happened(StepChanged)]
    assert kinds == [(0, StepChange.ENTERED), (0, StepChange.ENDED), (1, StepChange.ENTERED)]


def test_who_started_a_profile_is_told() -> None:
    bench = at_work(TWO_HOLDS)
    assert bench.happened(ProfileChanged) == [
        ProfileChanged("two holds", ProfileChange.STARTED, "anna")
    ]


def test_a_pause_holds_the_target_and_stops_the_clock() -> None:
    bench = at_work(Profile("ramp", (Ramp(24.0, 24.0),)))
    bench.run(3600.0)
    bench.tick(PauseProfile("anna"), after_s=0.0)
    held = target_of(bench)
    bench.run(7200.0)
    assert bench.decision is not None
    assert bench.decision.mode is Mode.PAUSED
    assert target_of(bench) == held == Target.at(19.0)
    bench.tick(ResumeProfile("anna"), after_s=0.0)
    assert elapsed_s(bench) == 3600.0
    assert target_of(bench) == held
    bench.run(1800.0)
    assert target_of(bench) == Target.at(19.5)


def test_a_target_set_by_hand_pauses_the_profile_which_can_be_resumed() -> None:
    bench = at_work(TWO_HOLDS)
    bench.run(600.0)
    bench.tick(SetTarget(15.0, "anna"))
    assert target_of(bench) == Target.at(15.0)
    bench.run(600.0)
    bench.tick(ResumeProfile("anna"), after_s=0.0)
    assert target_of(bench) == Target.at(12.0)
    assert elapsed_s(bench) == 600.0
    changes = [event.change for event in bench.happened(ProfileChanged)]
    assert changes == [ProfileChange.STARTED, ProfileChange.PAUSED, ProfileChange.RESUMED]


def test_a_chamber_that_is_switched_off_calls_for_nothing_and_keeps_its_profile() -> None:
    bench = at_work(TWO_HOLDS)
    bench.run(600.0)
    bench.tick(SwitchOff("anna"))
    assert target_of(bench) is None
    assert not bench.on(Duty.COOL)
    bench.run(600.0)
    bench.tick(ResumeProfile(), after_s=0.0)
    assert elapsed_s(bench) == 600.0


def test_a_profile_that_is_stopped_leaves_its_target_to_the_hand() -> None:
    bench = at_work(TWO_HOLDS)
    bench.tick(StopProfile("anna"))
    assert bench.decision is not None
    assert bench.decision.mode is Mode.HAND
    assert bench.decision.outlook is None
    assert target_of(bench) == Target.at(12.0)


def test_a_free_rise_that_is_stopped_leaves_its_ceiling_which_asks_nothing_of_the_fridge() -> None:
    bench = at_work(Profile("rise", (FreeRise(17.0, 22.0, DAY_S),)))
    assert not bench.on(Duty.COOL)
    assert not bench.on(Duty.HEAT)
    bench.tick(StopProfile())
    assert target_of(bench) == Target.at(22.0)


def test_a_profile_that_is_stopped_while_switched_off_leaves_the_chamber_off() -> None:
    bench = at_work(TWO_HOLDS)
    bench.tick(SwitchOff())
    bench.tick(StopProfile())
    assert bench.decision is not None
    assert bench.decision.mode is Mode.OFF
    assert bench.decision.outlook is None


def test_a_profile_that_has_come_to_its_end_leaves_its_last_target_to_the_hand() -> None:
    bench = at_work(Profile("short", (Hold(12.0, 60.0),)))
    bench.run(60.0)
    assert bench.decision is not None
    assert bench.decision.mode is Mode.HAND
    assert target_of(bench) == Target.at(12.0)
    assert bench.happened(ProfileChanged)[-1].change is ProfileChange.FINISHED


def test_a_new_profile_takes_the_place_of_the_one_before() -> None:
    bench = at_work(TWO_HOLDS)
    bench.tick(StartProfile(Profile("other", (FinalHold(20.0),)), "anna"))
    changes = [(e.profile, e.change) for e in bench.happened(ProfileChanged)]
    assert changes[1:] == [("two holds", ProfileChange.STOPPED), ("other", ProfileChange.STARTED)]


def test_a_step_that_waits_is_an_alarm_until_the_word_is_given() -> None:
    bench = at_work(Profile("wait", (WaitForPerson(18.0, "dry hop", "hops"), FinalHold(4.0))))
    assert bench.alarms() == {AlarmKind.WAITING_FOR_PERSON}
    bench.tick(ConfirmStep("anna"))
    assert bench.alarms() == set()
    confirmed = bench.happened(StepChanged)[1]
    assert (confirmed.change, confirmed.who) == (StepChange.CONFIRMED, "anna")
    assert target_of(bench) == Target.at(4.0)


def test_a_wait_without_a_name_is_told_by_what_is_to_be_done() -> None:
    bench = at_work(Profile("wait", (WaitForPerson(18.0, "dry hop"),)))
    assert bench.decision is not None
    assert [alarm.subject for alarm in bench.decision.alarms] == ["dry hop"]
    bench.tick(PauseProfile())
    assert bench.alarms() == set()


def test_who_skipped_or_extended_a_step_is_told() -> None:
    bench = at_work(TWO_HOLDS)
    bench.tick(ExtendStep(600.0, "anna"))
    bench.tick(SkipStep("ben"))
    told = [(e.change, e.who) for e in bench.happened(StepChanged)][1:]
    assert told[:2] == [(StepChange.EXTENDED, "anna"), (StepChange.SKIPPED, "ben")]


def test_a_crash_ends_when_the_beer_is_cold() -> None:
    bench = at_work(Profile("crash", (Jump(2.0, 0.5), FinalHold(2.0))))
    bench.run(3600.0)
    assert bench.decision is not None
    assert bench.decision.outlook is not None
    assert bench.decision.outlook.index == 0
    bench.vessel_c = 2.5
    bench.run(30.0)
    assert bench.decision.outlook is not None
    assert bench.decision.outlook.index == 1


def test_time_in_which_nobody_was_in_charge_does_not_count_for_a_step() -> None:
    bench = at_work(TWO_HOLDS)
    bench.run(600.0)
    bench.tick(after_s=7200.0)
    assert elapsed_s(bench) == 600.0
    assert bench.happened(GapSeen) == [GapSeen(7200.0)]
    bench.run(100.0)
    assert elapsed_s(bench) == 700.0


def test_a_slow_tick_is_still_control() -> None:
    bench = at_work(TWO_HOLDS)
    bench.tick(after_s=chamber.LONGEST_TICK_S)
    assert elapsed_s(bench) == chamber.LONGEST_TICK_S
    assert bench.happened(GapSeen) == []


def test_a_wall_clock_that_is_stepped_does_not_touch_a_steps_clock() -> None:
    bench = at_work(TWO_HOLDS)
    for stepped_s in (0.0, 86400.0, -1e9, 5e8):
        before_s = elapsed_s(bench)
        bench.wall_utc_s += stepped_s
        bench.run(60.0)
        assert elapsed_s(bench) == before_s + 60.0


def test_a_ramp_tells_its_start_and_its_end_and_not_every_tick() -> None:
    bench = at_work(Profile("ramp", (Ramp(19.0, 24.0), FinalHold(19.0))))
    bench.run(2 * HOUR_S)
    targets = [(e.heat_c, e.source) for e in bench.happened(TargetChanged)]
    assert targets == [(18.0, "profile"), (19.0, "profile")]


def test_a_step_at_the_same_target_tells_no_new_one() -> None:
    bench = at_work(Profile("same", (Hold(12.0, 60.0), Hold(12.0, 60.0), FinalHold(10.0))))
    bench.run(200.0)
    assert [event.heat_c for event in bench.happened(TargetChanged)] == [12.0, 10.0]


def restarted(bench: Bench, out_s: float) -> Bench:
    """A new process on a board that has restarted too, going on from what was remembered."""
    kept = json.loads(json.dumps(memory.to_plain(bench.state)))
    after = Bench(bench.settings, vessel_c=bench.vessel_c, air_c=bench.air_c)
    after.mono_s, after.wall_utc_s = 7.0, bench.wall_utc_s + out_s
    fresh = first_state(bench.settings, after.mono_s)
    after.state = memory.from_plain(fresh, kept, after.mono_s)
    after.tick()
    return after


def test_a_profile_goes_on_where_it_was_after_a_power_cut() -> None:
    bench = at_work(TWO_HOLDS)
    bench.run(1800.0)
    for _ in range(3):
        bench = restarted(bench, out_s=5 * HOUR_S)
        assert target_of(bench) == Target.at(12.0)
    assert elapsed_s(bench) == 1800.0
    left_s = 0.0
    while target_of(bench) == Target.at(12.0):
        bench.tick()
        left_s += 10.0
    assert left_s == 1800.0
    assert [e.change for e in bench.happened(StepChanged)] == [StepChange.ENDED, StepChange.ENTERED]


def test_a_target_set_by_hand_is_kept_over_a_restart_and_the_paused_profile_with_it() -> None:
    bench = at_work(TWO_HOLDS)
    bench.run(600.0)
    bench.tick(SetTarget(15.0))
    bench = restarted(bench, out_s=60.0)
    assert target_of(bench) == Target.at(15.0)
    bench.tick(ResumeProfile(), after_s=0.0)
    assert elapsed_s(bench) == 600.0


def test_the_core_is_told_the_time_and_never_asks_for_it() -> None:
    """The same state and inputs give the same decision."""
    bench = at_work(TWO_HOLDS)
    inputs, now = Inputs(), Moment(bench.mono_s + 10.0, 0.0)
    first = chamber.step(bench.state, bench.settings, inputs, now)
    assert chamber.step(bench.state, bench.settings, inputs, now) == first
    assert chamber.step(replace(bench.state), bench.settings, inputs, now) == first
