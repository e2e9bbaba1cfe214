"""The words for decisions: everything has some, none hides a missing number."""

from __future__ import annotations

import re
from dataclasses import fields
from datetime import UTC, datetime, timedelta
from typing import Any, get_args

import pytest
from chamber_bench import Bench, fan, fridge, heater, settings
from hypothesis import given
from hypothesis import strategies as st

from fermd.control import commands, steps, wording
from fermd.control.alarms import Alarm, AlarmKind, Severity
from fermd.control.bands import Call
from fermd.control.calendar import utc_text
from fermd.control.command_words import command_words
from fermd.control.commands import (
    OverrideOutput,
    PauseProfile,
    SetTarget,
    StartProfile,
    SwitchOff,
)
from fermd.control.decision import OutputDecision
from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    CommandAnswered,
    Event,
    GapSeen,
    OutageSeen,
    OutputChanged,
    ProfileChange,
    ProfileChanged,
    StepChange,
    StepChanged,
    TargetChanged,
    TrustChanged,
)
from fermd.control.reading import ProbeFault, Trusted, Untrusted
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import (
    PROTECTION_BY_KIND,
    Duty,
    FailSafeSettings,
    LimitSettings,
    OutputKind,
    ProtectionSettings,
)
from fermd.control.steps import FinalHold, FreeRise, Profile, Target
from fermd.control.wording import Unit

C, F = Unit.CELSIUS, Unit.FAHRENHEIT


@pytest.mark.parametrize("rule", Rule)
def test_every_rule_has_words_whatever_numbers_it_comes_with(rule: Rule) -> None:
    whole = Reason(rule, 18.04, 17.5, 130.0, 6.0)
    words = wording.reason(whole, 0.0)
    assert words
    assert not re.search(r"[?{}]|some time", words)
    assert "{" not in wording.reason(Reason(rule), 0.0)


@pytest.mark.parametrize("what", ProbeFault)
def test_every_fault_of_a_probe_has_words(what: ProbeFault) -> None:
    assert wording.fault(what)


@pytest.mark.parametrize("kind", AlarmKind)
def test_every_alarm_has_words_with_and_without_a_subject(kind: AlarmKind) -> None:
    assert wording.alarm(kind.value, "fridge") == f"{wording.alarm(kind.value, '')}: fridge"


def test_the_reason_is_told_with_what_is_left_of_it() -> None:
    why = Reason(Rule.MINIMUM_OFF, until_mono_s=1130.0, number=300.0)
    assert wording.reason(why, 1000.0) == "stays off for another 2 min 10 s (minimum off time)"
    assert wording.reason(Reason(Rule.ABOVE_BAND, 18.31, 18.3), 0.0) == (
        "the beer is at 18.31 °C, above 18.30 °C"
    )


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (-5.0, "0 s"),
        (0.0, "0 s"),
        (0.4, "0 s"),
        (59.6, "1 min"),
        (90.0, "1 min 30 s"),
        (3600.0, "1 h"),
        (3605.0, "1 h"),
        (3660.0, "1 h 1 min"),
        (86400.0, "1 d"),
        (90000.0, "1 d 1 h"),
        (86399.0, "23 h 59 min"),
        (200 * 86400.0, "200 d"),
    ],
)
def test_a_span_is_told_in_its_two_largest_units(seconds: float, words: str) -> None:
    assert wording.span(seconds) == words


@pytest.mark.parametrize(
    ("temp_c", "celsius", "fahrenheit"),
    [
        (0.0, "0.0 °C", "32.0 °F"),
        (100.0, "100.0 °C", "212.0 °F"),
        (-40.0, "-40.0 °C", "-40.0 °F"),
        (18.0, "18.0 °C", "64.4 °F"),
        (-0.04, "0.0 °C", "31.9 °F"),
        (-17.78, "-17.8 °C", "0.0 °F"),
        (-17.8, "-17.8 °C", "0.0 °F"),
    ],
)
def test_a_temperature_is_converted_at_the_edge(
    temp_c: float, celsius: str, fahrenheit: str
) -> None:
    assert wording.temperature(temp_c, C) == celsius
    assert wording.temperature(temp_c, F) == fahrenheit


def test_a_difference_is_not_shifted_by_the_zero_of_fahrenheit() -> None:
    assert wording.difference(0.5, C) == "0.5 °C"
    assert wording.difference(0.5, F) == "0.9 °F"
    assert wording.difference(-0.01, F) == "0.0 °F"


@given(st.floats(-60.0, 130.0), st.sampled_from(Unit), st.integers(0, 2))
def test_minus_zero_is_never_shown(temp_c: float, unit: Unit, digits: int) -> None:
    for words in (
        wording.temperature(temp_c, unit, digits),
        wording.difference(temp_c, unit, digits),
    ):
        assert not re.match(r"-0\.?0* ", words)


def test_a_target_is_one_number_or_two() -> None:
    assert wording.target(None) == "no target"
    assert wording.target(Target.at(18.0)) == "18.0 °C"
    assert wording.target(Target(16.0, 22.0), F) == "60.8 °F to 71.6 °F"


def test_an_old_reading_is_never_shown_as_if_it_were_now() -> None:
    assert wording.reading(Trusted(18.0, 0.0), 100.0) == "18.00 °C"
    never = Untrusted(ProbeFault.STARTING, 0.0)
    assert wording.reading(never, 100.0) == "not known (not enough good readings yet)"
    lost = Untrusted(ProbeFault.STALE, 50.0, 18.0, 10.0)
    assert wording.reading(lost, 100.0) == (
        "not known (no good reading for too long); last 18.00 °C, 1 min 30 s ago"
    )


RUNNING = OutputDecision(
    Duty.COOL, "fridge", "17", True, True, 0.0, (Reason(Rule.ABOVE_BAND, 18.5, 18.3),)
)


@pytest.mark.parametrize(
    ("on", "wanted", "reason", "words"),
    [
        (True, True, Reason(Rule.OVERRIDE, until_mono_s=60.0), "is on: set by hand for another"),
        (
            True,
            False,
            Reason(Rule.MINIMUM_RUN, until_mono_s=60.0),
            "is not called for any more; it",
        ),
        (False, False, Reason(Rule.NO_TARGET), "is off: no target is set"),
        (False, True, Reason(Rule.MINIMUM_OFF, until_mono_s=60.0), "is called for; it stays off"),
        (False, True, Reason(Rule.FREEZING, -1.6, -1.5), "is called for but held off: the beer is"),
    ],
)
def test_an_output_says_what_it_does_and_why(
    on: bool, wanted: bool, reason: Reason, words: str
) -> None:
    decided = OutputDecision(Duty.COOL, "fridge", "17", on, wanted, 0.0, (reason,))
    assert wording.output(decided, 0.0).startswith(f"cooling {words}")
    assert (
        wording.output(RUNNING, 0.0, F) == "cooling is on: the beer is at 65.30 °F, above 64.94 °F"
    )


def sample_events() -> list[Event]:
    why = (Reason(Rule.ABOVE_BAND, 18.5, 18.3),)
    return [
        OutputChanged(Duty.COOL, "fridge", "17", True, why),
        OutputChanged(Duty.FAN, "fan", "22", False, (Reason(Rule.FOLLOWS_CALL),)),
        TargetChanged(18.0, 18.0, "hand", "anna"),
        TargetChanged(16.0, 22.0, "profile"),
        TargetChanged(None, None, "off"),
        *[
            StepChanged("lager", 0, "hold", "primary", change, 90.0, "anna")
            for change in StepChange
        ],
        *[ProfileChanged("lager", change, "anna") for change in ProfileChange],
        *[AlarmChanged("no-effect", "fridge", phase, Severity.CRITICAL) for phase in AlarmPhase],
        TrustChanged("beer", True, None, 18.0),
        TrustChanged("beer", False, ProbeFault.STALE, 18.0),
        TrustChanged("beer", False),
        CommandAnswered("SwitchOff()", "anna", True),
        CommandAnswered("SetTarget(target_c=99.0)", "", False, "too hot"),
        GapSeen(7200.0),
        OutageSeen(7200.0, False, 18.0, 19.5),
        OutageSeen(None, True),
    ]


def test_every_event_has_words() -> None:
    assert {type(event) for event in sample_events()} == set(get_args(Event))
    for event in sample_events():
        for unit in Unit:
            words = wording.event(event, 0.0, unit)
            assert words
            assert not re.search(r"[?{}]|None|some time", words)


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (TargetChanged(None, None, "off", "anna"), "target switched off by anna"),
        (TargetChanged(18.0, 18.0, "hand"), "target 18.0 °C (hand)"),
        (
            StepChanged("lager", 1, "hold", "rest", StepChange.ENDED, 3600.0),
            "step 2 (hold 'rest') ended after 1 h",
        ),
        (
            StepChanged("lager", 0, "jump", "", StepChange.ENTERED, 0.0),
            "step 1 (jump) entered",
        ),
        (TrustChanged("beer", True, None, 18.0), "probe beer is trusted at 18.00 °C"),
        (
            TrustChanged("beer", False, ProbeFault.CHECKSUM, 18.0),
            "probe beer is not trusted: checksum failure, last at 18.00 °C",
        ),
        (CommandAnswered("SwitchOff()", "anna", True), "SwitchOff(), asked by anna and taken"),
        (GapSeen(7200.0), "the loop did not run for 2 h"),
        (
            OutageSeen(7200.0, True, 18.0, 19.5),
            "fermd was not running for 2 h; the beer went from 18.0 °C to 19.5 °C (1.5 °C)",
        ),
        (
            OutageSeen(7200.0, True, 18.0, 18.0, 3600.0),
            "fermd was not running for 2 h; the beer went from 18.0 °C to 18.0 °C (0.0 °C); "
            "1 h of it count for the step",
        ),
        (OutageSeen(None, False, 18.0), "fermd was not running for an unknown time"),
    ],
)
def test_an_event_is_told_in_one_line(event: Event, words: str) -> None:
    assert wording.event(event, 0.0) == words


def sample(annotation: str) -> Any:
    profile = Profile("lager", (FinalHold(4.0),))
    return {
        "Profile": profile,
        "Duty": Duty.COOL,
        "bool": True,
        "float": 60.0,
        "int": 2,
        "str": "x",
    }[annotation]


@pytest.mark.parametrize("kind", get_args(commands.Command), ids=lambda kind: kind.__name__)
def test_every_command_has_words_for_the_record(kind: type[Any]) -> None:
    command = kind(**{field.name: sample(str(field.type)) for field in fields(kind)})
    words = command_words(command)
    assert kind.__name__ not in words
    assert words[0].islower()
    assert (
        wording.event(CommandAnswered(words, "anna", True), 0.0)
        == f"{words}, asked by anna and taken"
    )


def test_every_kind_of_step_is_named_by_a_word() -> None:
    kinds = [step.kind for step in get_args(steps.Step)]
    assert len(set(kinds)) == len(kinds)
    assert all(re.fullmatch(r"[a-z-]+", kind) for kind in kinds)


def test_a_standing_alarm_is_told_with_its_age_and_whether_it_was_seen() -> None:
    def alarm(phase: AlarmPhase, *, holds: bool, raised_s: float | None = 0.0) -> Alarm:
        return Alarm(AlarmKind.NO_EFFECT, "fridge", phase, holds, 0.0, raised_s)

    words = "critical: " + wording.alarm("no-effect", "fridge")
    raised = alarm(AlarmPhase.RAISED, holds=True)
    assert wording.standing_alarm(raised, 120.0) == f"{words}, for 2 min"
    seen = alarm(AlarmPhase.ACKNOWLEDGED, holds=True, raised_s=None)
    assert wording.standing_alarm(seen, 120.0) == f"{words}, acknowledged"
    over = alarm(AlarmPhase.RAISED, holds=False)
    assert wording.standing_alarm(over, 120.0).endswith("over by now but not acknowledged")


def busy_chamber() -> Bench:
    """A chamber in which almost everything happens that a core can give as a reason."""
    return Bench(
        settings(
            outputs=(
                heater(protection=ProtectionSettings(30.0, 30.0, longest_run_s=1800.0)),
                fridge(protection=PROTECTION_BY_KIND[OutputKind.COMPRESSOR]),
                fan(run_on_s=120.0),
            ),
            fail_safe=FailSafeSettings(Duty.COOL, 600.0, 3600.0),
            limits=LimitSettings(air_lowest_c=2.0, air_highest_c=30.0),
        )
    )


def said(bench: Bench) -> set[Rule]:
    """Every sentence about a chamber as it stands holds no gap; returns the rules told of."""
    decision = bench.decision
    assert decision is not None
    sentences = [wording.call(decision, bench.mono_s), wording.mode(decision)]
    sentences += [wording.output(output, bench.mono_s) for output in decision.outputs]
    sentences += [wording.event(event, bench.mono_s) for event in decision.events]
    for output in decision.outputs:
        sentences += [wording.reason(reason, bench.mono_s) for reason in output.reasons]
    for sentence in sentences:
        assert not re.search(r"[?{}]|some time|None|nan", sentence), sentence
    return {reason.rule for output in decision.outputs for reason in output.reasons}


def test_no_reason_that_the_core_really_gives_leaves_a_gap_in_its_words() -> None:
    bench, rules = busy_chamber(), set()

    def lives(for_s: float) -> None:
        end_s = bench.mono_s + for_s
        while bench.mono_s < end_s:
            bench.tick(after_s=30.0)
            rules.update(said(bench))

    for command, vessel_c, air_c, for_s in [
        (SetTarget(10.0), 18.0, 18.0, 4000.0),  # locks after power-up, then cooling
        (SetTarget(17.8), 18.0, 18.0, 60.0),  # the call goes on
        (SetTarget(18.0), 18.0, 18.0, 300.0),  # within the band, minimum off
        (OverrideOutput(Duty.COOL, True, 900.0), 18.0, 18.0, 1800.0),
        (OverrideOutput(Duty.COOL, True, 30.0), 18.0, 18.0, 60.0),  # minimum run
        (SetTarget(22.0), 18.0, 18.0, 60.0),  # heat waits for the fridge
        (SetTarget(10.0), 18.0, 1.0, 900.0),  # air limit
        (SetTarget(22.0), 18.0, 10.0, 3000.0),  # changeover, heat, longest run, rest
        (SetTarget(2.0), -1.6, 5.0, 900.0),  # heat by the band
        (OverrideOutput(Duty.COOL, True, 3600.0), -1.6, 5.0, 1900.0),  # freezing margin
        (SwitchOff(), 12.0, 12.0, 600.0),
        (SetTarget(5.0), 12.0, 13.0, 4 * 3600.0),
        (SetTarget(5.0), None, 13.0, 7200.0),  # fail-safe cycle
        (SetTarget(5.0), 12.0, None, 600.0),  # air unknown
        (StartProfile(Profile("rise", (FreeRise(10.0, 20.0, 1e5),))), 12.0, 12.0, 300.0),
        (PauseProfile(), 12.0, 12.0, 300.0),
        (SetTarget(11.6), 12.0, 10.0, 4 * 3600.0),  # cooling ...
        (SetTarget(11.8), 12.0, 5.0, 60.0),  # ... until the beer coasts the rest
    ]:
        bench.vessel_c, bench.air_c = vessel_c, air_c
        bench.tick(command)
        rules.update(said(bench))
        lives(for_s)
    outside_of_the_tick = {
        Rule.STOPPING,
        Rule.LEASE_EXPIRED,
        Rule.RELAY_FAULT,
        Rule.UNCLEAN_STOP,
    }
    seldom = {Rule.SUPPLY_LIMIT, Rule.NO_EFFECT, Rule.FAIL_SAFE}
    assert rules >= set(Rule) - outside_of_the_tick - seldom


def test_heat_that_the_chamber_has_no_output_for_is_told() -> None:
    bench = Bench(settings(outputs=(fridge(),)), vessel_c=18.0)
    bench.run(60.0)
    bench.tick(SetTarget(25.0))
    assert bench.decision is not None
    words = wording.call(bench.decision, bench.mono_s)
    assert words.endswith("; but the chamber has no output for heating")


@given(st.integers(-62135596800, 253402300799))
def test_an_instant_is_written_as_the_calendar_has_it(utc_s: int) -> None:
    written = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=utc_s)
    assert utc_text(float(utc_s)) == f"{written.isoformat(' ', 'seconds')[:19]} UTC"


def test_an_instant_that_is_none_is_told_as_it_came() -> None:
    assert utc_text(float("inf")) == "inf s POSIX time"


def test_what_is_called_for_is_told_with_its_reason() -> None:
    bench = busy_chamber()
    bench.run(60.0)
    bench.tick(SetTarget(10.0))
    assert bench.decision is not None
    assert bench.decision.call is Call.COOL
    assert wording.call(bench.decision, bench.mono_s, F) == (
        "cooling is called for: the beer is at 64.40 °F, above 50.54 °F"
    )


def test_the_mode_is_told_with_the_profile_that_it_is_about() -> None:
    bench = busy_chamber()
    bench.run(60.0)
    assert bench.decision is not None
    assert wording.mode(bench.decision) == "switched off"
    said_s = []
    for command in (
        StartProfile(Profile("lager", (FinalHold(4.0),))),
        PauseProfile(),
        SetTarget(12.0),
    ):
        said_s.append(wording.mode(bench.tick(command)))
    assert said_s == [
        "profile lager",
        "profile lager, paused",
        "target set by hand (profile lager is paused)",
    ]
    assert wording.mode(bench.tick(commands.StopProfile())) == "target set by hand"
