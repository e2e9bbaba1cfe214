"""What a person reads when something is refused: the whole sentence, with what is allowed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from calendar_bench import CALENDAR, WEDNESDAY, Chamber, answers, utc_s
from chamber_bench import Bench, air_probe, fan, fridge, settings, unprotected

from fermd.control import chamber
from fermd.control.calendar import parse_calendar_time
from fermd.control.chamber import Inputs
from fermd.control.commands import (
    AcknowledgeAlarm,
    CancelPlan,
    ChangeRest,
    ChangeStepTarget,
    Command,
    ConfirmStep,
    ExtendStep,
    GoToStep,
    OverrideOutput,
    PauseProfile,
    PlanStart,
    ResumeProfile,
    ReturnToPlan,
    SetTarget,
    StartProfile,
    StopProfile,
)
from fermd.control.events import CommandAnswered
from fermd.control.foresight import unreachable
from fermd.control.moment import Moment
from fermd.control.settings import (
    DAY_S,
    HOUR_S,
    PROTECTION_BY_KIND,
    CoolBandSettings,
    Duty,
    FailSafeSettings,
    HeatBandSettings,
    LimitSettings,
    Objection,
    OutputKind,
    crossed,
)
from fermd.control.steps import (
    Change,
    FinalHold,
    FreeRise,
    Hold,
    HoldUntil,
    Jump,
    Profile,
    Ramp,
    Schedule,
    Step,
)

HOLD = Profile("hold", (Hold(12.0, HOUR_S), FinalHold(4.0)))
ICE = Profile("ice", (Hold(4.0, 10.0), FreeRise(-3.0, 4.0, 10.0)))
UP = Profile("up", (Ramp(20.0, 1.0),))
RISE = Profile("rise", (FreeRise(16.0, 22.0, DAY_S),))
TOO_COLD = (
    "profile ice, step 2: -3 °C is below -1.5 °C, the freezing point of the beer and its margin; "
    "warm the step, or set the chamber's freezing_point_c to that of this beer"
)
NO_PROFILE = "no profile is running"


def until(text: str) -> HoldUntil:
    return HoldUntil(12.0, parse_calendar_time(text))


def answered(bench: Bench, command: Command) -> str:
    decision = bench.tick(command)
    (answer,) = [event for event in decision.events if isinstance(event, CommandAnswered)]
    assert not answer.taken
    return answer.why


@pytest.mark.parametrize(
    ("command", "why"),
    [
        (
            SetTarget(99.0),
            "target 99 °C: must be from -1.5 °C (freezing point of the beer and its margin) "
            "to 45 °C",
        ),
        (
            OverrideOutput(Duty.FAN, True, 60.0),
            "the chamber has no output for fan; it has: heat, cool",
        ),
        (
            OverrideOutput(Duty.COOL, True, 0.0),
            "for 0 s: must be above 0 and at most 14400 s",
        ),
        (AcknowledgeAlarm("no-effect", "fridge"), "no such alarm is raised"),
        (StartProfile(ICE), TOO_COLD),
        (PlanStart(ICE, 1.76e9), TOO_COLD),
        (
            StartProfile(Profile("week", (until("fri 18:00"),))),
            "profile week has steps of the calendar, and the site has no calendar",
        ),
        (
            PlanStart(Profile("week", (until("fri 18:00"),)), 1.76e9),
            "profile week has steps of the calendar, and the site has no calendar",
        ),
        (ResumeProfile(), "no profile is paused: start one"),
        (CancelPlan(), "no start is planned"),
        (
            PlanStart(HOLD, 1.7e9),
            "the start is in the past: name a time to come, or start the profile now",
        ),
        (StopProfile(), NO_PROFILE),
        (PauseProfile(), NO_PROFILE),
        (ConfirmStep(), NO_PROFILE),
        (ExtendStep(60.0), NO_PROFILE),
        (GoToStep(1), NO_PROFILE),
        (ChangeStepTarget(12.0), NO_PROFILE),
        (ChangeRest(HOLD), NO_PROFILE),
        (ReturnToPlan(), NO_PROFILE),
    ],
    ids=lambda given: type(given).__name__ if not isinstance(given, str) else "",
)
def test_a_chamber_without_a_profile_refuses_in_a_whole_sentence(
    command: Command, why: str
) -> None:
    bench = Bench(unprotected())
    bench.run(60.0)
    assert answered(bench, command) == why


@pytest.mark.parametrize(
    ("profile", "command", "why"),
    [
        (HOLD, ResumeProfile(), "the profile is running already"),
        (
            HOLD,
            ConfirmStep(),
            "the present step does not wait for anybody; to leave it, skip it",
        ),
        (HOLD, ExtendStep(1e9), "by 1e+09 s: must be at most 3.456e+07 s either way"),
        (
            Profile("end", (FinalHold(4.0),)),
            ExtendStep(60.0),
            "the present step does not end by time: it cannot be extended",
        ),
        (HOLD, GoToStep(3), "step 3: the profile has steps 1 to 2"),
        (HOLD, GoToStep(0), "step 0: the profile has steps 1 to 2"),
        (
            RISE,
            ChangeStepTarget(18.0),
            "the present step has no single target to change: change the rest of the profile, "
            "or set a target by hand",
        ),
        (
            HOLD,
            ChangeStepTarget(-9.0),
            "target -9 °C: must be from -1.5 °C (freezing point of the beer and its margin) "
            "to 45 °C",
        ),
        (HOLD, ChangeRest(ICE), TOO_COLD),
        (
            HOLD,
            ChangeRest(Profile("week", (until("fri 18:00"),))),
            "profile week has steps of the calendar, and the site has no calendar",
        ),
        (
            HOLD,
            ChangeRest(Profile("odd", (FinalHold(4.0), Hold(2.0, DAY_S)))),
            "profile odd, step[1].kind = final-hold: step 2 and all after it are never reached, "
            "because a final-hold has no end: let it be the last one",
        ),
        (HOLD, ReturnToPlan(), "the profile is as it was started: there is nothing to undo"),
    ],
    ids=lambda given: type(given).__name__ if not isinstance(given, str) else "",
)
def test_a_running_profile_refuses_in_a_whole_sentence(
    profile: Profile, command: Command, why: str
) -> None:
    bench = Bench(unprotected())
    bench.run(60.0)
    bench.tick(StartProfile(profile))
    assert answered(bench, command) == why


def test_a_paused_profile_says_that_it_is_paused() -> None:
    bench = Bench(unprotected())
    bench.run(60.0)
    bench.tick(StartProfile(HOLD))
    bench.tick(PauseProfile())
    assert answered(bench, GoToStep(1)) == "the profile is paused"


def test_a_ramp_from_an_unknown_temperature_says_what_to_do_first() -> None:
    assert answered(Bench(unprotected(), vessel_c=None), StartProfile(UP)) == (
        "profile up begins with a ramp, and the beer's temperature is not known: "
        "start it when the vessel probe is read, or set a target first"
    )


def test_a_chamber_without_outputs_says_so() -> None:
    assert answered(Bench(settings(outputs=())), OverrideOutput(Duty.COOL, True, 60.0)) == (
        "the chamber has no output for cool; it has: none"
    )


def test_a_clock_that_is_not_set_says_what_to_wait_for() -> None:
    bench = Chamber()
    now = Moment(bench.mono_s + 10.0, WEDNESDAY, wall_trusted=False)
    inputs = Inputs(commands=(PlanStart(HOLD, WEDNESDAY + HOUR_S),))
    _, decision = chamber.step(bench.state, bench.settings, inputs, now)
    (answer,) = [event for event in decision.events if isinstance(event, CommandAnswered)]
    assert answer.why == (
        "the clock is not known to be set, so no start can be planned: wait for the network time, "
        "or start the profile now"
    )


def test_a_planned_start_that_is_refused_when_it_is_due_names_its_profile() -> None:
    bench = Chamber()
    bench.tick(PlanStart(HOLD, WEDNESDAY + 600.0, "anna"))
    bench.settings = unprotected(calendar=None, limits=LimitSettings(freezing_point_c=8.0))
    bench.run(1200.0)
    assert answers(bench)[-1] == CommandAnswered(
        "planned start of hold",
        "anna",
        False,
        "profile hold, step 2: 4 °C is below 8.7 °C, the freezing point of the beer and its "
        "margin; warm the step, or set the chamber's freezing_point_c to that of this beer",
    )


SEVEN, TEN = parse_calendar_time("07:00"), parse_calendar_time("22:00")
REMEDY = (
    ", so the step would be over at once: name a later time, or make what comes before it shorter"
)


@pytest.mark.parametrize(
    ("steps", "objections"),
    [
        (
            (until("2026-06-30 08:00"), FinalHold(1.0)),
            [Objection("step[1].until", "2026-06-30 08:00", "has passed by the start" + REMEDY)],
        ),
        (
            (Jump(1.0), until("2026-06-30 08:00")),
            [Objection("step[2].until", "2026-06-30 08:00", "has passed by the start" + REMEDY)],
        ),
        (
            (Hold(12.0, 14 * DAY_S), until("2026-07-10 08:00")),
            [
                Objection(
                    "step[2].until",
                    "2026-07-10 08:00",
                    "has passed when the steps before it are over (after 14.0 d at the earliest)"
                    + REMEDY,
                )
            ],
        ),
        (
            (Hold(12.0, DAY_S), until("2026-12-24 08:00"), until("2026-12-20 08:00")),
            [
                Objection(
                    "step[3].until",
                    "2026-12-20 08:00",
                    "has passed when step 2 ends (at 2026-12-24 08:00)" + REMEDY,
                )
            ],
        ),
        (
            (Hold(12.0, DAY_S), until("fri 18:00"), until("2026-06-30 08:00"), Jump(1.0)),
            [
                Objection(
                    "step[3].until",
                    "2026-06-30 08:00",
                    "has passed when step 2 ends (at fri 18:00)" + REMEDY,
                )
            ],
        ),
        (
            (Schedule((Change(TEN, 9.0), Change(SEVEN, 12.0), Change(TEN, 8.0))), Hold(1.0, 9.0)),
            [
                Objection(
                    "step[1].kind",
                    "schedule",
                    "step 2 and all after it are never reached, because a schedule has no end: "
                    "let it be the last one",
                ),
                Objection(
                    "step[1].changes[1].at",
                    "22:00",
                    "never holds, because change 3 is at the same time: leave one out",
                ),
            ],
        ),
        (
            (Jump(1.0), Schedule((Change(SEVEN, 9.0), Change(TEN, 8.0), Change(TEN, 7.0)))),
            [
                Objection(
                    "step[2].changes[2].at",
                    "22:00",
                    "never holds, because change 3 is at the same time: leave one out",
                )
            ],
        ),
    ],
)
def test_what_can_never_come_is_told_with_its_place_and_its_remedy(
    steps: tuple[Step, ...], objections: list[Objection]
) -> None:
    assert list(unreachable(steps, WEDNESDAY, CALENDAR)) == objections


def test_a_date_that_goes_by_within_a_second_of_the_start_has_not_passed_by_the_start() -> None:
    (found,) = unreachable(
        (Hold(12.0, 0.5), until("2026-07-10 08:00")), utc_s("2026-07-10 08:00") - 0.25, CALENDAR
    )
    assert found.why == (
        "has passed when the steps before it are over (after 0.0 d at the earliest)" + REMEDY
    )


FRIDGE = PROTECTION_BY_KIND[OutputKind.COMPRESSOR]


@pytest.mark.parametrize(
    ("given", "objection"),
    [
        (
            {"heat": HeatBandSettings(0.3, 0.8)},
            Objection(
                "heat.differential_c",
                0.8,
                "must be below 0.8 °C, which is heat.band_c + the changeover_band_c of the other "
                "side: a call that ends beyond the other side's band makes heating and cooling "
                "fight each other",
            ),
        ),
        (
            {"cool": CoolBandSettings(0.5, 1.1), "heat": HeatBandSettings(0.6, 0.9)},
            Objection(
                "cool.differential_c",
                1.1,
                "must be below 1.1 °C, which is cool.band_c + the changeover_band_c of the other "
                "side: a call that ends beyond the other side's band makes heating and cooling "
                "fight each other",
            ),
        ),
        (
            {"limits": LimitSettings(air_lowest_c=20.0, air_highest_c=22.0)},
            Objection(
                "limits.air_lowest_c",
                20.0,
                "must be below air_highest_c by more than twice air_differential_c "
                "(air_highest_c is 22 °C)",
            ),
        ),
        (
            {"limits": LimitSettings(air_lowest_c=20.0, air_highest_c=26.0, air_differential_c=3)},
            Objection(
                "limits.air_lowest_c",
                20.0,
                "must be below air_highest_c by more than twice air_differential_c "
                "(air_highest_c is 26 °C)",
            ),
        ),
        (
            {"fail_safe": FailSafeSettings(Duty.COOL, run_s=3600.0, every_s=3600.0)},
            Objection("fail_safe.run_s", 3600.0, "must be below every_s, which is 3600 s"),
        ),
        (
            {"fail_safe": FailSafeSettings(Duty.COOL, run_s=120.0)},
            Objection(
                "fail_safe.run_s",
                120.0,
                "must be at least the minimum run time of fridge, which is 180 s: it would run "
                "longer than is said here",
            ),
        ),
        (
            {"fail_safe": FailSafeSettings(Duty.HEAT), "outputs": (fridge(),)},
            Objection(
                "fail_safe.duty",
                "heat",
                "the chamber has no such output; leave the key out to keep everything off",
            ),
        ),
        (
            {"outputs": (fridge(protection=replace(FRIDGE, longest_run_s=180.0)),)},
            Objection(
                "output.fridge.protection.minimum_run_s",
                180.0,
                "must be below longest_run_s, which is 180 s",
            ),
        ),
        (
            {"outputs": (fridge(protection=replace(FRIDGE, minimum_off_s=179.0)),)},
            Objection(
                "output.fridge.protection.minimum_off_s",
                179.0,
                "must be at least 180 s for a compressor; 300 to 600 s suits a domestic fridge",
            ),
        ),
        (
            {"outputs": (fridge(protection=replace(FRIDGE, minimum_run_s=119.0)),)},
            Objection(
                "output.fridge.protection.minimum_run_s",
                119.0,
                "must be at least 120 s for a compressor, so that its oil comes back",
            ),
        ),
        (
            {"outputs": (fridge(protection=replace(FRIDGE, starts_per_hour=13)),)},
            Objection(
                "output.fridge.protection.starts_per_hour",
                13,
                "must be 1 to 12 for a compressor; 6 is usual",
            ),
        ),
        (
            {"air_probe": air_probe(lowest_c=30.0, highest_c=30.0)},
            Objection("probe.air.lowest_c", 30.0, "must be below highest_c, which is 30 °C"),
        ),
    ],
)
def test_a_contradiction_is_told_with_its_value_and_its_remedy(
    given: dict[str, Any], objection: Objection
) -> None:
    assert crossed(settings(**given)) == [objection]


@pytest.mark.parametrize(
    "given",
    [
        {"limits": LimitSettings(air_lowest_c=20.0, air_highest_c=22.1, air_differential_c=1.0)},
        {"limits": LimitSettings(air_lowest_c=20.0, air_highest_c=21.1, air_differential_c=0.5)},
        {"fail_safe": FailSafeSettings(Duty.COOL, run_s=180.0)},
        {"fail_safe": FailSafeSettings(Duty.FAN, run_s=60.0), "outputs": (fan(), fridge())},
        {"outputs": (fridge(protection=replace(FRIDGE, minimum_off_s=180.0)),)},
        {"outputs": (fridge(protection=replace(FRIDGE, minimum_run_s=120.0)),)},
        {"outputs": (fridge(protection=replace(FRIDGE, starts_per_hour=12)),)},
        {"outputs": (fridge(protection=replace(FRIDGE, starts_per_hour=1)),)},
    ],
)
def test_a_number_on_the_very_edge_of_what_is_allowed_is_taken(given: dict[str, Any]) -> None:
    assert crossed(settings(**given)) == []
