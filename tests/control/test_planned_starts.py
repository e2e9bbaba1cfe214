"""Profiles of the calendar in a chamber, and starts that are planned."""

from __future__ import annotations

import json

import pytest
from calendar_bench import CALENDAR, WEDNESDAY, Chamber, answers, utc_s
from chamber_bench import unprotected

from fermd.control import chamber, memory
from fermd.control.calendar import parse_calendar_time
from fermd.control.chamber import Inputs
from fermd.control.commands import CancelPlan, ExtendStep, PlanStart, SetTarget, StartProfile
from fermd.control.decision import Decision, Mode
from fermd.control.events import (
    CommandAnswered,
    ProfileChange,
    ProfileChanged,
    StepChange,
    StepChanged,
)
from fermd.control.moment import Moment
from fermd.control.progress import OVERDUE_S
from fermd.control.settings import DAY_S, HOUR_S, LimitSettings
from fermd.control.state import first_state
from fermd.control.steps import (
    FinalHold,
    Hold,
    HoldUntil,
    Profile,
    Ramp,
    Target,
)

FRIDAY_EVENING = parse_calendar_time("fri 18:00")


BATCH = Profile("batch", (HoldUntil(12.0, FRIDAY_EVENING), FinalHold(1.0)))


def target_of(decision: Decision) -> Target | None:
    return decision.target


def test_a_chamber_follows_the_calendar_over_a_restart() -> None:
    bench = Chamber()
    bench.tick(StartProfile(BATCH))
    bench.tick(ExtendStep(HOUR_S))
    kept = json.loads(json.dumps(memory.to_plain(bench.state)))
    after = Chamber()
    after.state = memory.from_plain(first_state(after.settings, 5.0), kept, after.mono_s)
    after.wall_utc_s = utc_s("2026-07-03 18:59")
    assert target_of(after.tick()) == Target.at(12.0)
    after.wall_utc_s = utc_s("2026-07-03 19:00")
    assert target_of(after.tick()) == Target.at(1.0)


def test_a_profile_of_the_calendar_needs_one() -> None:
    bench = Chamber(calendar=None)
    for command in (StartProfile(BATCH), PlanStart(BATCH, WEDNESDAY + DAY_S)):
        bench.tick(command)
        assert "the site has no calendar" in answers(bench)[-1].why


HOLD = Profile("hold", (Hold(12.0, HOUR_S), FinalHold(4.0)))


def test_a_planned_start_comes_by_itself_in_place_of_what_runs() -> None:
    bench = Chamber()
    bench.tick(StartProfile(BATCH))
    decision = bench.tick(PlanStart(HOLD, WEDNESDAY + HOUR_S, "anna"))
    assert answers(bench)[-1].taken
    assert decision.planned == PlanStart(HOLD, WEDNESDAY + HOUR_S, "anna")
    bench.run(HOUR_S - 120.0)
    assert [e.profile for e in bench.happened(ProfileChanged)] == ["batch"]
    decision = bench.run(60.0)
    assert decision.planned is None
    assert bench.happened(ProfileChanged)[1:] == [
        ProfileChanged("batch", ProfileChange.STOPPED, "anna"),
        ProfileChanged("hold", ProfileChange.STARTED, "anna"),
    ]


def test_a_planned_start_is_kept_over_a_restart_and_comes_late_rather_than_never() -> None:
    bench = Chamber()
    bench.tick(PlanStart(HOLD, WEDNESDAY + HOUR_S, "anna"))
    kept = json.loads(json.dumps(memory.to_plain(bench.state)))
    after = Chamber()
    after.state = memory.from_plain(first_state(after.settings, 5.0), kept, after.mono_s)
    after.wall_utc_s = WEDNESDAY + DAY_S
    assert after.tick().mode is Mode.PROFILE


@pytest.mark.parametrize(
    ("late_s", "told"),
    [
        (-1.0, None),
        (0.0, []),
        (OVERDUE_S, []),
        (
            OVERDUE_S + 1.0,
            [StepChanged("hold", 0, "hold", "", StepChange.OVERDUE, OVERDUE_S + 1.0, "anna")],
        ),
    ],
)
def test_a_planned_start_that_is_later_than_ten_minutes_says_how_late_it_is(
    late_s: float, told: list[StepChanged] | None
) -> None:
    bench = Chamber()
    bench.tick(PlanStart(HOLD, WEDNESDAY + HOUR_S, "anna"))
    bench.wall_utc_s = WEDNESDAY + HOUR_S + late_s
    decision = bench.tick(after_s=0.0)
    started = [event for event in decision.events if isinstance(event, ProfileChanged)]
    if told is None:
        assert started == []
        return
    assert started == [ProfileChanged("hold", ProfileChange.STARTED, "anna")]
    stepped = [event for event in decision.events if isinstance(event, StepChanged)]
    assert [event.change for event in stepped][:1] == [StepChange.ENTERED]
    assert stepped[1:] == told


def test_a_planned_start_waits_for_a_clock_that_is_set() -> None:
    bench = Chamber()
    bench.tick(PlanStart(HOLD, WEDNESDAY + HOUR_S))
    now = Moment(bench.mono_s + 10.0, WEDNESDAY + DAY_S, wall_trusted=False)
    state, decision = chamber.step(bench.state, bench.settings, Inputs(), now)
    assert decision.planned is not None
    assert state.mode is Mode.OFF


def test_no_start_is_planned_by_a_clock_that_is_not_set() -> None:
    bench = Chamber()
    now = Moment(bench.mono_s + 10.0, WEDNESDAY, wall_trusted=False)
    inputs = Inputs(commands=(PlanStart(HOLD, WEDNESDAY + HOUR_S),))
    _, decision = chamber.step(bench.state, bench.settings, inputs, now)
    (answer,) = [event for event in decision.events if isinstance(event, CommandAnswered)]
    assert "not known to be set" in answer.why


@pytest.mark.parametrize("at_utc_s", [WEDNESDAY - 600.0, float("nan"), float("inf")])
def test_a_start_is_planned_for_a_time_to_come(at_utc_s: float) -> None:
    bench = Chamber()
    bench.tick(PlanStart(HOLD, at_utc_s))
    assert "name a time to come" in answers(bench)[-1].why
    assert bench.state.planned is None


def test_a_planned_start_can_be_taken_back_once() -> None:
    bench = Chamber()
    bench.tick(PlanStart(HOLD, WEDNESDAY + HOUR_S))
    assert bench.tick(CancelPlan()).planned is None
    bench.tick(CancelPlan())
    assert answers(bench)[-1].why == "no start is planned"


def test_a_planned_ramp_waits_for_the_beer_to_be_known() -> None:
    bench = Chamber()
    bench.tick(PlanStart(Profile("up", (Ramp(20.0, 1.0),)), WEDNESDAY + 600.0))
    bench.vessel_c = None
    bench.run(1200.0)
    assert bench.state.planned is not None
    bench.vessel_c = 18.0
    bench.run(60.0)
    assert bench.state.mode is Mode.PROFILE


def test_a_planned_start_that_the_chamber_may_not_have_any_more_is_told_once() -> None:
    bench = Chamber()
    bench.tick(SetTarget(18.0))
    bench.tick(PlanStart(HOLD, WEDNESDAY + 600.0, "anna"))
    bench.settings = unprotected(
        calendar=CALENDAR, limits=LimitSettings(freezing_point_c=0.0, freezing_margin_c=10.0)
    )
    bench.run(1200.0)
    told = [answer for answer in answers(bench) if not answer.taken]
    assert [(answer.command, answer.who) for answer in told] == [("planned start of hold", "anna")]
    assert "step 2: 4 °C is below" in told[0].why
    assert bench.state.mode is Mode.HAND
    assert bench.state.planned is None
