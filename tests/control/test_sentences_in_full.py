"""The sentences that people read, each to its last word, in °C and in °F."""

from __future__ import annotations

from calendar import monthrange
from datetime import UTC, datetime

import pytest
from chamber_bench import Bench, fridge, heater, settings

from fermd.control import wording
from fermd.control.alarms import Alarm, AlarmKind
from fermd.control.calendar import utc_text
from fermd.control.command_words import command_words
from fermd.control.commands import (
    AcknowledgeAlarm,
    CancelPlan,
    ChangeRest,
    ChangeStepTarget,
    Command,
    ExtendStep,
    GoToStep,
    OverrideOutput,
    PlanStart,
    SetTarget,
    StartProfile,
)
from fermd.control.decision import OutputDecision
from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    CommandAnswered,
    Event,
    OutageSeen,
    OutputChanged,
    ProfileChange,
    ProfileChanged,
    Severity,
    StepChange,
    StepChanged,
    TargetChanged,
    TrustChanged,
)
from fermd.control.reading import ProbeFault, Trusted, Untrusted
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty, FailSafeSettings
from fermd.control.steps import FinalHold, Profile, Target
from fermd.control.wording import Unit

F = Unit.FAHRENHEIT
LAGER = Profile("lager", (FinalHold(4.0),))


@pytest.mark.parametrize(
    ("why", "celsius", "fahrenheit"),
    [
        (
            Reason(Rule.ABOVE_BAND, 20.0, 10.0),
            "the beer is at 20.00 °C, above 10.00 °C",
            "the beer is at 68.00 °F, above 50.00 °F",
        ),
        (Reason(Rule.ABOVE_BAND), "the beer is at ?, above ?", "the beer is at ?, above ?"),
        (
            Reason(Rule.MINIMUM_OFF),
            "stays off for another some time (minimum off time)",
            "stays off for another some time (minimum off time)",
        ),
        (
            Reason(Rule.STARTS_PER_HOUR, until_mono_s=160.0, number=6.0),
            "stays off for another 1 min (at most 6 starts per hour)",
            "stays off for another 1 min (at most 6 starts per hour)",
        ),
        (
            Reason(Rule.SUPPLY_LIMIT),
            "waits for its supply circuit, which has ? A left",
            "waits for its supply circuit, which has ? A left",
        ),
        (
            Reason(Rule.LONGEST_RUN, until_mono_s=1900.0, number=7200.0),
            "has run for 2 h (longest run) and rests for 30 min",
            "has run for 2 h (longest run) and rests for 30 min",
        ),
        (
            Reason(Rule.LONGEST_RUN),
            "has run for ? (longest run) and rests for some time",
            "has run for ? (longest run) and rests for some time",
        ),
    ],
)
def test_a_reason_is_told_with_its_numbers_or_with_a_gap(
    why: Reason, celsius: str, fahrenheit: str
) -> None:
    assert wording.reason(why, 100.0) == celsius
    assert wording.reason(why, 100.0, F) == fahrenheit


@pytest.mark.parametrize(
    ("duty", "on", "wanted", "why", "words"),
    [
        (
            Duty.HEAT,
            True,
            True,
            Reason(Rule.BELOW_BAND, 10.0, 11.0),
            "heating is on: the beer is at 50.00 °F, below 51.80 °F",
        ),
        (
            Duty.COOL,
            True,
            False,
            Reason(Rule.MINIMUM_RUN, until_mono_s=160.0),
            "cooling is not called for any more; it stays on for another 1 min (minimum run time)",
        ),
        (
            Duty.FAN,
            False,
            False,
            Reason(Rule.FOLLOWS_CALL),
            "the fan is off: follows heating and cooling",
        ),
        (
            Duty.COOL,
            False,
            True,
            Reason(Rule.RESTING, until_mono_s=160.0),
            "cooling is called for; it rests for another 1 min",
        ),
        (
            Duty.COOL,
            False,
            True,
            Reason(Rule.AIR_UNKNOWN),
            "cooling is called for but held off: the air probe cannot be trusted, so the air "
            "limits cannot be kept",
        ),
    ],
)
def test_an_output_is_told_with_its_first_reason(
    duty: Duty, on: bool, wanted: bool, why: Reason, words: str
) -> None:
    reasons = (why, Reason(Rule.STOPPING))
    decided = OutputDecision(duty, "output", "17", on, wanted, 0.0, reasons)
    assert wording.output(decided, 100.0, F) == words


def test_what_is_called_for_is_told_even_if_nothing_can_do_it() -> None:
    for outputs, target_c, words in (
        (
            (fridge(),),
            25.0,
            "heat is called for: the beer is at 64.40 °F, below 76.46 °F; but the chamber has no "
            "output for heating",
        ),
        (
            (heater(),),
            10.0,
            "cooling is called for: the beer is at 64.40 °F, above 50.54 °F; but the chamber has "
            "no output for cooling",
        ),
        (
            (heater(), fridge()),
            25.0,
            "heat is called for: the beer is at 64.40 °F, below 76.46 °F",
        ),
        (
            (),
            18.0,
            "nothing is called for: the beer is within its band at 64.40 °F",
        ),
    ):
        bench = Bench(settings(outputs=outputs))
        bench.run(60.0)
        decision = bench.tick(SetTarget(target_c))
        assert wording.call(decision, bench.mono_s, F) == words


def test_a_call_of_the_fail_safe_is_told_with_what_is_left_of_it() -> None:
    chosen = FailSafeSettings(Duty.COOL, run_s=600.0, every_s=3600.0)
    bench = Bench(settings(fail_safe=chosen))
    bench.run(60.0)
    bench.vessel_c = None
    decision = bench.run(50.0)
    assert wording.call(decision, bench.mono_s + 60.0) == (
        "cooling is called for: fail-safe: running by the clock, this part for another 9 min"
    )


def test_temperatures_are_told_in_the_readers_scale_wherever_they_stand() -> None:
    assert wording.target(Target.at(10.0), F) == "50.0 °F"
    assert wording.target(Target(10.0, 20.0)) == "10.0 °C to 20.0 °C"
    assert wording.temperature(10.04, F, 2) == "50.07 °F"
    assert wording.difference(10.04, F, 2) == "18.07 °F"
    assert wording.reading(Trusted(10.04, 0.0), 5.0, F) == "50.07 °F"
    lost = Untrusted(ProbeFault.STALE, 50.0, 10.0, 10.0)
    assert wording.reading(lost, 70.0, F) == (
        "not known (no good reading for too long); last 50.00 °F, 1 min ago"
    )
    for half in (Untrusted(ProbeFault.STALE, 1.0, 10.0), Untrusted(ProbeFault.STALE, 1.0, None, 1)):
        assert wording.reading(half, 70.0) == "not known (no good reading for too long)"


@pytest.mark.parametrize(
    ("phase", "holds", "raised_s", "words"),
    [
        (AlarmPhase.RAISED, True, 40.0, ", for 1 min"),
        (AlarmPhase.RAISED, True, None, ""),
        (AlarmPhase.RAISED, False, 40.0, ", for 1 min, over by now but not acknowledged"),
        (AlarmPhase.ACKNOWLEDGED, True, 40.0, ", for 1 min, acknowledged"),
        (AlarmPhase.ACKNOWLEDGED, False, 40.0, ", for 1 min, acknowledged, over by now"),
    ],
)
def test_a_standing_alarm_is_told_to_its_last_word(
    phase: AlarmPhase, holds: bool, raised_s: float | None, words: str
) -> None:
    alarm = Alarm(AlarmKind.LONGEST_RUN, "fridge", phase, holds, 0.0, raised_s)
    assert wording.standing_alarm(alarm, 100.0) == (
        f"warning: an output has run its longest allowed time: fridge{words}"
    )


COLD = (Reason(Rule.BELOW_BAND, 10.0, 11.0), Reason(Rule.STOPPING))


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (
            OutputChanged(Duty.HEAT, "belt", "27", True, COLD),
            "heating (belt) on: the beer is at 50.00 °F, below 51.80 °F",
        ),
        (
            OutputChanged(Duty.FAN, "fan", "22", False, (Reason(Rule.RUN_ON, until_mono_s=160.0),)),
            "the fan (fan) off: running on for another 1 min",
        ),
        (
            TargetChanged(10.0, 20.0, "profile", "anna"),
            "target 50.0 °F to 68.0 °F (profile) by anna",
        ),
        (TargetChanged(None, 20.0, "off"), "target switched off"),
        (TargetChanged(20.0, None, "off"), "target switched off"),
        (
            StepChanged("lager", 2, "soak", "rest", StepChange.SKIPPED, 3600.0, "anna"),
            "step 3 (soak 'rest') skipped after 1 h by anna",
        ),
        (
            StepChanged("lager", 0, "hold-until", "", StepChange.OVERDUE, 3600.0),
            "step 1 (hold-until) overdue by 1 h",
        ),
        (
            StepChanged("lager", 0, "hold", "", StepChange.EXTENDED, 3600.0),
            "step 1 (hold) extended",
        ),
        (ProfileChanged("lager", ProfileChange.STARTED, "anna"), "profile lager started by anna"),
        (
            AlarmChanged(
                "longest-run", "fridge", AlarmPhase.ACKNOWLEDGED, Severity.WARNING, who="anna"
            ),
            "alarm acknowledged by anna: an output has run its longest allowed time: fridge",
        ),
        (
            AlarmChanged("clock-stepped", "", AlarmPhase.RAISED, Severity.NOTICE),
            "alarm raised: the clock was stepped",
        ),
        (TrustChanged("beer", True, None, 10.0), "probe beer is trusted at 50.00 °F"),
        (TrustChanged("beer", True), "probe beer is trusted"),
        (
            TrustChanged("beer", False, ProbeFault.JUMP, 10.0),
            "probe beer is not trusted: impossible jump, last at 50.00 °F",
        ),
        (TrustChanged("beer", False), "probe beer is not trusted"),
        (CommandAnswered("skip the step", "anna", True), "skip the step, asked by anna and taken"),
        (
            CommandAnswered("skip the step", "", False, "too late"),
            "skip the step, refused: too late",
        ),
        (
            OutageSeen(3600.0, True, 10.0, 20.0, 1.0),
            "fermd was not running for 1 h; the beer went from 50.0 °F to 68.0 °F (18.0 °F); "
            "1 s of it count for the step",
        ),
        (OutageSeen(3600.0, True, 10.0, None, 0.9), "fermd was not running for 1 h"),
        (OutageSeen(3600.0, True, None, 10.0), "fermd was not running for 1 h"),
        (OutageSeen(None, True), "fermd was not running for an unknown time"),
    ],
)
def test_what_happened_is_told_to_its_last_word(event: Event, words: str) -> None:
    assert wording.event(event, 100.0, F) == words


def test_an_instant_is_written_rightly_on_the_days_on_which_calendars_go_wrong() -> None:
    years = (1, 4, 100, 400, 1600, 1700, 1900, 1970, 1999, 2000, 2001, 2099, 2100, 2399, 2400, 9999)
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    for year in years:
        for month in range(1, 13):
            first = datetime(year, month, 1, tzinfo=UTC)
            last = datetime(year, month, monthrange(year, month)[1], 23, 59, 59, tzinfo=UTC)
            for day in (first, last):
                assert utc_text((day - epoch).total_seconds()) == (
                    f"{day.isoformat(' ', 'seconds')[:19]} UTC"
                )


@pytest.mark.parametrize(
    ("command", "words"),
    [
        (SetTarget(12.5), "set the target to 12.5 °C"),
        (ChangeStepTarget(12.5), "change the step's target to 12.5 °C"),
        (StartProfile(LAGER), "start the profile lager"),
        (PlanStart(LAGER, 0.0), "start the profile lager at 1970-01-01 00:00:00 UTC"),
        (ChangeRest(LAGER), "go on with the steps of lager"),
        (GoToStep(3), "go to step 3"),
        (ExtendStep(3600.0), "make the step 1 h longer"),
        (ExtendStep(0.0), "make the step 0 s longer"),
        (ExtendStep(-60.0), "make the step 1 min shorter"),
        (ExtendStep(float("inf")), "make the step inf s longer"),
        (OverrideOutput(Duty.HEAT, True, 60.0), "heat on for 1 min"),
        (OverrideOutput(Duty.COOL, False, float("nan")), "cool off for nan s"),
        (AcknowledgeAlarm("no-effect", "fridge"), "acknowledge the alarm no-effect (fridge)"),
        (AcknowledgeAlarm("outage", ""), "acknowledge the alarm outage"),
        (CancelPlan(), "cancel the planned start"),
    ],
)
def test_a_command_is_told_to_its_last_word(command: Command, words: str) -> None:
    assert command_words(command) == words
