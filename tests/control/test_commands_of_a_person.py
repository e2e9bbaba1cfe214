"""What a person may ask: taken, or refused in words that say what is allowed."""

from __future__ import annotations

import pytest
from chamber_bench import Bench, fan, fridge, settings, unprotected

from fermd.control import commands
from fermd.control.alarms import AlarmKind
from fermd.control.command_words import command_words
from fermd.control.commands import (
    LONGEST_OVERRIDE_S,
    AcknowledgeAlarm,
    Command,
    ConfirmStep,
    EndOverride,
    ExtendStep,
    OverrideOutput,
    PauseProfile,
    PlanStart,
    ResumeProfile,
    SetTarget,
    SkipStep,
    StartProfile,
    StopProfile,
    SwitchOff,
)
from fermd.control.decision import Mode
from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    CommandAnswered,
    ProfileChange,
    ProfileChanged,
)
from fermd.control.profile_orders import LONGEST_STEP_S
from fermd.control.reasons import Rule
from fermd.control.refusal import HIGHEST_TARGET_C
from fermd.control.settings import Duty, ProtectionSettings
from fermd.control.state import Override
from fermd.control.steps import FinalHold, FreeRise, Hold, Profile, Ramp, Target, WaitForPerson

HOLD = Profile("hold", (Hold(12.0, 3600.0), FinalHold(4.0)))


def ready(vessel_c: float | None = 18.0) -> Bench:
    bench = Bench(unprotected(), vessel_c=vessel_c)
    bench.run(60.0)
    return bench


def answer(bench: Bench, command: Command) -> CommandAnswered:
    decision = bench.tick(command)
    (answered,) = [event for event in decision.events if isinstance(event, CommandAnswered)]
    return answered


def refused(bench: Bench, command: Command) -> str:
    before = (bench.state.mode, bench.state.hand, bench.state.overrides, bench.state.progress)
    answered = answer(bench, command)
    assert not answered.taken
    assert answered.who == command.who
    after = (bench.state.mode, bench.state.hand, bench.state.overrides)
    assert after == before[:3]
    assert (bench.state.progress is None) == (before[3] is None)
    return answered.why


@pytest.mark.parametrize("target_c", [-1.6, 45.1, -300.0, float("nan"), float("inf")])
def test_a_target_that_is_too_cold_or_too_hot_is_refused(target_c: float) -> None:
    why = refused(ready(), SetTarget(target_c, "anna"))
    assert "must be from -1.5 °C" in why
    assert "to 45 °C" in why


@pytest.mark.parametrize("target_c", [-1.5, 18.0, HIGHEST_TARGET_C])
def test_a_target_within_the_limits_is_taken(target_c: float) -> None:
    bench = ready()
    assert answer(bench, SetTarget(target_c, "anna")).taken
    assert bench.decision is not None
    assert bench.decision.target == Target.at(target_c)
    assert bench.decision.mode is Mode.HAND


def test_a_profile_colder_than_the_freezing_margin_is_refused_with_the_step_and_a_remedy() -> None:
    icy = Profile("ice", (Hold(4.0, 10.0), FreeRise(-3.0, 4.0, 10.0)))
    why = refused(ready(), StartProfile(icy))
    assert "profile ice, step 2: -3 °C is below -1.5 °C" in why
    assert "freezing_point_c" in why


def test_a_ramp_from_an_unknown_temperature_is_refused() -> None:
    why = refused(ready(vessel_c=None), StartProfile(Profile("up", (Ramp(20.0, 1.0),))))
    assert "begins with a ramp" in why
    assert "set a target first" in why


def test_a_ramp_starts_from_the_beer_if_it_is_known() -> None:
    bench = ready()
    assert answer(bench, StartProfile(Profile("up", (Ramp(20.0, 1.0),)))).taken
    assert bench.state.progress is not None
    assert bench.state.progress.entry_c == 18.0


def test_a_ramp_starts_from_the_target_if_the_beer_is_not_known() -> None:
    bench = ready(vessel_c=None)
    bench.tick(SetTarget(16.0))
    assert answer(bench, StartProfile(Profile("up", (Ramp(20.0, 1.0),)))).taken
    assert bench.decision is not None
    assert bench.decision.target is not None
    assert bench.decision.target.heat_c == pytest.approx(16.0, abs=0.001)


def test_a_profile_that_begins_with_a_hold_may_start_before_the_probe_is_read() -> None:
    bench = ready(vessel_c=None)
    assert answer(bench, StartProfile(HOLD)).taken
    assert bench.decision is not None
    assert bench.decision.target == Target.at(12.0)


WITHOUT_PROFILE: list[Command] = [
    PauseProfile(),
    SkipStep(),
    ConfirmStep(),
    ExtendStep(60.0),
    StopProfile(),
]


@pytest.mark.parametrize("command", WITHOUT_PROFILE, ids=lambda command: type(command).__name__)
def test_without_a_profile_there_is_nothing_to_steer(command: Command) -> None:
    assert refused(ready(), command) == "no profile is running"


@pytest.mark.parametrize(
    "command", [PauseProfile(), SkipStep(), ConfirmStep(), ExtendStep(60.0)], ids=repr
)
def test_a_paused_profile_is_not_steered(command: Command) -> None:
    bench = ready()
    bench.tick(StartProfile(HOLD))
    bench.tick(PauseProfile())
    assert refused(bench, command) == "the profile is paused"


def test_what_is_not_paused_cannot_be_resumed() -> None:
    bench = ready()
    assert refused(bench, ResumeProfile()) == "no profile is paused: start one"
    bench.tick(StartProfile(HOLD))
    assert refused(bench, ResumeProfile()) == "the profile is running already"


def test_a_step_that_waits_for_nobody_is_skipped_and_not_confirmed() -> None:
    bench = ready()
    bench.tick(StartProfile(HOLD))
    assert "does not wait for anybody" in refused(bench, ConfirmStep())


def test_a_step_without_an_end_in_time_cannot_be_extended() -> None:
    bench = ready()
    bench.tick(StartProfile(Profile("end", (FinalHold(4.0),))))
    assert "does not end by time" in refused(bench, ExtendStep(60.0))


@pytest.mark.parametrize("by_s", [float("nan"), float("inf"), -float("inf"), 401 * 86400.0])
def test_a_step_is_extended_by_a_number_of_seconds(by_s: float) -> None:
    bench = ready()
    bench.tick(StartProfile(HOLD))
    assert "must be at most" in refused(bench, ExtendStep(by_s))
    assert bench.state.progress is not None
    assert bench.state.progress.index == 0


def test_an_output_that_the_chamber_has_not_is_refused_with_those_that_it_has() -> None:
    assert refused(ready(), OverrideOutput(Duty.FAN, True, 60.0)) == (
        "the chamber has no output for fan; it has: heat, cool"
    )
    bare = Bench(settings(outputs=()))
    assert "it has: none" in refused(bare, OverrideOutput(Duty.COOL, True, 60.0))


@pytest.mark.parametrize("for_s", [0.0, -5.0, LONGEST_OVERRIDE_S + 1.0, float("nan")])
def test_an_override_is_for_a_limited_time(for_s: float) -> None:
    why = refused(ready(), OverrideOutput(Duty.COOL, True, for_s))
    assert "must be above 0 and at most 14400 s" in why


def test_the_coldest_beer_that_is_allowed_may_be_a_target_and_a_step() -> None:
    bench = ready()
    coldest_c = bench.settings.limits.coldest_beer_c
    assert answer(bench, SetTarget(coldest_c)).taken
    assert answer(bench, StartProfile(Profile("ice", (Hold(coldest_c, 60.0),)))).taken


def test_a_profile_that_comes_to_its_end_by_itself_was_ended_by_nobody_and_is_gone() -> None:
    bench = ready()
    bench.tick(StartProfile(Profile("short", (Hold(12.0, 5.0),)), "anna"), after_s=0.0)
    bench.tick()
    assert bench.happened(ProfileChanged)[-1] == ProfileChanged("short", ProfileChange.FINISHED, "")
    assert (bench.state.progress, bench.state.hand) == (None, Target.at(12.0))


def test_a_profile_that_is_paused_already_is_not_paused_again_by_another_target() -> None:
    bench = ready()
    bench.tick(StartProfile(HOLD))
    bench.tick(SetTarget(15.0))
    decision = bench.tick(SetTarget(14.0))
    assert not [event for event in decision.events if isinstance(event, ProfileChanged)]


def test_an_override_may_be_as_short_as_one_likes() -> None:
    assert answer(ready(), OverrideOutput(Duty.COOL, True, 0.5)).taken


def test_an_override_for_the_longest_time_is_taken_and_remembers_who_it_was() -> None:
    bench = ready()
    assert answer(bench, OverrideOutput(Duty.COOL, True, LONGEST_OVERRIDE_S, "anna")).taken
    assert bench.state.overrides == {
        Duty.COOL: Override(True, bench.mono_s + LONGEST_OVERRIDE_S, "anna")
    }


def test_a_step_is_made_longer_or_shorter_by_the_longest_that_one_may_be() -> None:
    bench = ready()
    bench.tick(StartProfile(HOLD))
    assert answer(bench, ExtendStep(LONGEST_STEP_S)).taken
    assert answer(bench, ExtendStep(-LONGEST_STEP_S)).taken
    assert not answer(bench, ExtendStep(LONGEST_STEP_S + 1.0)).taken


@pytest.mark.parametrize("command", [PauseProfile("anna"), SetTarget(15.0, "anna")], ids=repr)
def test_what_pauses_a_profile_is_told_with_who_did_it(command: Command) -> None:
    bench = ready()
    bench.tick(StartProfile(HOLD, "ben"))
    bench.tick(command)
    assert bench.happened(ProfileChanged)[-1] == ProfileChanged(
        "hold", ProfileChange.PAUSED, "anna"
    )


def test_a_profile_that_is_switched_off_resumed_replaced_and_stopped_tells_who_did_each() -> None:
    bench = ready()
    other = Profile("other", (FinalHold(4.0),))
    for command in (
        StartProfile(HOLD, "anna"),
        SwitchOff("ben"),
        ResumeProfile("carl"),
        StartProfile(other, "dora"),
        StopProfile("emil"),
    ):
        bench.tick(command)
    assert bench.happened(ProfileChanged) == [
        ProfileChanged("hold", ProfileChange.STARTED, "anna"),
        ProfileChanged("hold", ProfileChange.PAUSED, "ben"),
        ProfileChanged("hold", ProfileChange.RESUMED, "carl"),
        ProfileChanged("hold", ProfileChange.STOPPED, "dora"),
        ProfileChanged("other", ProfileChange.STARTED, "dora"),
        ProfileChanged("other", ProfileChange.STOPPED, "emil"),
    ]


def test_a_last_step_that_is_skipped_or_confirmed_finishes_the_profile_by_that_person() -> None:
    for step, command in (
        (Hold(12.0, 60.0), SkipStep("anna")),
        (WaitForPerson(12.0, "bottle"), ConfirmStep("anna")),
    ):
        bench = ready()
        bench.tick(StartProfile(Profile("short", (step,))))
        bench.tick(command)
        assert bench.happened(ProfileChanged)[-1] == ProfileChanged(
            "short", ProfileChange.FINISHED, "anna"
        )
        assert bench.state.hand == Target.at(12.0)
        assert bench.state.mode is Mode.HAND


def test_a_profile_that_is_stopped_while_paused_by_hand_leaves_the_target_of_the_hand() -> None:
    bench = ready()
    bench.tick(StartProfile(HOLD))
    bench.tick(SetTarget(15.0))
    bench.tick(StopProfile())
    assert (bench.state.mode, bench.state.hand) == (Mode.HAND, Target.at(15.0))
    assert bench.state.progress is None


def test_a_free_rise_that_is_skipped_hands_on_the_beer_as_it_is() -> None:
    bench = ready()
    bench.tick(StartProfile(Profile("rise", (FreeRise(16.0, 22.0, 3600.0), Ramp(24.0, 1.0)))))
    bench.tick(SkipStep(), after_s=0.0)
    assert bench.decision is not None
    assert bench.decision.target == Target.at(18.0)


def test_a_chamber_that_is_switched_off_forgets_the_target_of_the_hand() -> None:
    bench = ready()
    bench.tick(SetTarget(15.0))
    bench.tick(SwitchOff())
    assert (bench.state.mode, bench.state.hand) == (Mode.OFF, None)


def test_a_profile_that_starts_or_resumes_takes_over_from_the_hand() -> None:
    bench = ready()
    bench.tick(SetTarget(15.0))
    bench.tick(StartProfile(HOLD))
    assert (bench.state.mode, bench.state.hand) == (Mode.PROFILE, None)
    bench.tick(PauseProfile())
    assert bench.state.hand == Target.at(12.0)
    bench.tick(ResumeProfile())
    assert (bench.state.mode, bench.state.hand) == (Mode.PROFILE, None)


def test_a_free_rise_before_the_probe_is_read_starts_from_its_floor() -> None:
    bench = ready(vessel_c=None)
    bench.tick(StartProfile(Profile("rise", (FreeRise(16.0, 22.0, 3600.0),))))
    assert bench.state.progress is not None
    assert bench.state.progress.entry_c == 16.0


def test_an_override_calls_for_an_output_until_its_time_is_over() -> None:
    bench = ready()
    bench.tick(OverrideOutput(Duty.COOL, True, 600.0))
    assert bench.on(Duty.COOL)
    assert bench.rules(Duty.COOL) == [Rule.OVERRIDE]
    assert bench.output(Duty.COOL).reasons[0].until_mono_s == bench.mono_s + 600.0
    assert bench.run_until(lambda _: not bench.on(Duty.COOL), within_s=700.0) == 600.0
    assert bench.state.overrides == {}


def test_an_override_keeps_an_output_off() -> None:
    bench = ready()
    bench.tick(SetTarget(10.0))
    assert bench.on(Duty.COOL)
    bench.tick(OverrideOutput(Duty.COOL, False, 600.0))
    assert not bench.on(Duty.COOL)
    bench.tick(EndOverride())
    assert bench.on(Duty.COOL)


def test_one_override_that_is_over_leaves_the_other() -> None:
    bench = Bench(unprotected(outputs=(fan(), fridge()))).knows_its_past()
    bench.run(60.0)
    bench.tick(OverrideOutput(Duty.FAN, True, 100.0))
    bench.tick(OverrideOutput(Duty.COOL, False, 3600.0))
    bench.run(200.0)
    assert set(bench.state.overrides) == {Duty.COOL}
    assert not bench.on(Duty.FAN)


def test_an_override_does_not_get_round_the_minimum_off_time() -> None:
    protection = ProtectionSettings(300.0, 120.0, 6, 300.0)
    bench = Bench(settings(outputs=(fridge(protection=protection),))).knows_its_past()
    bench.run(60.0)
    bench.tick(OverrideOutput(Duty.COOL, True, 3600.0))
    bench.run(200.0)
    bench.tick(OverrideOutput(Duty.COOL, False, 3600.0))
    assert not bench.on(Duty.COOL)
    bench.tick(OverrideOutput(Duty.COOL, True, 3600.0))
    assert bench.rules(Duty.COOL)[0] is Rule.MINIMUM_OFF
    assert bench.run_until(lambda _: bench.on(Duty.COOL), within_s=400.0) == 290.0


def test_an_override_does_not_get_round_the_minimum_run_time_or_the_changeover() -> None:
    bench = Bench(settings()).knows_its_past()
    bench.run(60.0)
    bench.tick(OverrideOutput(Duty.COOL, True, 3600.0))
    bench.tick(OverrideOutput(Duty.COOL, False, 3600.0), OverrideOutput(Duty.HEAT, True, 3600.0))
    assert bench.on(Duty.COOL)
    assert bench.rules(Duty.COOL) == [Rule.MINIMUM_RUN]
    assert bench.rules(Duty.HEAT) == [Rule.OTHER_RUNNING]
    bench.run_until(lambda _: not bench.on(Duty.COOL), within_s=400.0)
    assert bench.rules(Duty.HEAT)[0] is Rule.CHANGEOVER
    assert bench.run_until(lambda _: bench.on(Duty.HEAT), within_s=900.0) == 600.0


def test_heat_and_cooling_by_hand_at_once_run_one_at_a_time() -> None:
    bench = ready()
    bench.tick(OverrideOutput(Duty.COOL, True, 3600.0), OverrideOutput(Duty.HEAT, True, 3600.0))
    assert bench.on(Duty.HEAT) != bench.on(Duty.COOL)


def test_an_acknowledged_alarm_says_by_whom() -> None:
    bench = ready()
    bench.vessel_c = None
    bench.run(200.0)
    assert answer(bench, AcknowledgeAlarm("vessel-probe-lost", "beer", "anna")).taken
    event = bench.happened(AlarmChanged)[-1]
    assert (event.phase, event.who) == (AlarmPhase.ACKNOWLEDGED, "anna")
    assert bench.decision is not None
    assert bench.decision.alarms[0].phase is AlarmPhase.ACKNOWLEDGED


def test_an_alarm_that_is_not_raised_cannot_be_acknowledged() -> None:
    bench = ready()
    why = refused(bench, AcknowledgeAlarm(AlarmKind.NO_EFFECT.value, "fridge"))
    assert why == "no such alarm is raised"


def test_every_command_is_answered_once_and_told_with_its_numbers_but_not_its_person() -> None:
    bench = ready()
    given = [SetTarget(12.5, "anna"), SetTarget(99.0, "ben"), SwitchOff("anna")]
    decision = bench.tick(*given)
    answers = [event for event in decision.events if isinstance(event, CommandAnswered)]
    assert [(a.command, a.who, a.taken) for a in answers] == [
        ("set the target to 12.5 °C", "anna", True),
        ("set the target to 99 °C", "ben", False),
        ("switch the chamber off", "anna", True),
    ]
    assert command_words(StartProfile(HOLD)) == "start the profile hold"
    assert command_words(ExtendStep(-7_776_000.0)) == "make the step 90 d shorter"
    assert command_words(PlanStart(HOLD, 1_772_820_000.0)) == (
        "start the profile hold at 2026-03-06 18:00:00 UTC"
    )
    assert command_words(OverrideOutput(Duty.COOL, True, 60.0)) == "cool on for 1 min"


def test_every_command_says_who_asked() -> None:
    for kind in commands.Command.__args__:
        assert kind.__dataclass_fields__["who"].default == "unknown"
