"""A running profile that a person changes, and the outages that it lives through."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from chamber_bench import Bench, unprotected

from fermd.control import chamber, memory
from fermd.control.commands import (
    ChangeRest,
    ChangeStepTarget,
    Command,
    ExtendStep,
    GoToStep,
    PauseProfile,
    ReturnToPlan,
    SkipStep,
    StartProfile,
)
from fermd.control.decision import Mode
from fermd.control.edits import change_target, go_to, return_to_plan
from fermd.control.events import CommandAnswered, StepChange, StepChanged
from fermd.control.outages import HOLD_WITHIN_C, credit
from fermd.control.progress import Progress, begin, target
from fermd.control.settings import HOUR_S
from fermd.control.state import first_state
from fermd.control.steps import (
    FinalHold,
    FreeRise,
    Hold,
    Jump,
    Profile,
    Ramp,
    Soak,
    Step,
    Target,
    WaitForPerson,
)

PLAN = Profile("plan", (Hold(12.0, HOUR_S), Hold(16.0, HOUR_S), FinalHold(4.0)))
OTHER = Profile("other", (Hold(20.0, HOUR_S), FinalHold(2.0)))


def at_work(profile: Profile = PLAN) -> Bench:
    bench = Bench(unprotected())
    bench.run(60.0)
    bench.tick(StartProfile(profile))
    return bench


def asks(bench: Bench, command: Command) -> CommandAnswered:
    bench.tick(command, after_s=0.0)
    answer = bench.happened(CommandAnswered)[-1]
    assert isinstance(answer, CommandAnswered)
    return answer


def stands(bench: Bench) -> tuple[int, float, Target | None]:
    assert bench.decision is not None
    assert bench.decision.outlook is not None
    shown = bench.decision.outlook
    return shown.index + 1, shown.elapsed_s, bench.decision.target


def test_a_person_goes_to_any_step_forward_or_back() -> None:
    bench = at_work()
    bench.run(600.0)
    assert asks(bench, GoToStep(3, "anna")).taken
    assert stands(bench) == (3, 0.0, Target.at(4.0))
    assert asks(bench, GoToStep(1, "anna")).taken
    assert stands(bench) == (1, 0.0, Target.at(12.0))
    changes = [(e.index, e.change, e.who) for e in bench.happened(StepChanged)][1:]
    assert changes == [
        (0, StepChange.SKIPPED, "anna"),
        (2, StepChange.ENTERED, "anna"),
        (2, StepChange.SKIPPED, "anna"),
        (0, StepChange.ENTERED, "anna"),
    ]


@pytest.mark.parametrize("step", [0, 4, -1])
def test_a_step_that_the_profile_has_not_is_refused(step: int) -> None:
    answer = asks(at_work(), GoToStep(step))
    assert answer.why == f"step {step}: the profile has steps 1 to 3"


def test_a_ramp_that_is_gone_to_starts_from_the_beer_or_else_from_the_target() -> None:
    ramp = Profile("ramp", (Hold(12.0, HOUR_S), Ramp(4.0, 24.0)))
    for vessel_c, start_c in ((18.0, 18.0), (None, 12.0)):
        bench = at_work(ramp)
        bench.vessel_c = vessel_c
        bench.run(60.0)
        asks(bench, GoToStep(2))
        assert stands(bench)[2] == Target.at(start_c)


def test_the_present_step_takes_another_target_and_goes_on() -> None:
    bench = at_work()
    bench.run(600.0)
    before_s = stands(bench)[1]
    assert asks(bench, ChangeStepTarget(14.0, "anna")).taken
    assert stands(bench) == (1, before_s, Target.at(14.0))
    bench.run(HOUR_S)
    assert stands(bench)[2] == Target.at(16.0)


@pytest.mark.parametrize(
    "step",
    [
        Hold(12.0, 60.0),
        Soak(12.0, 60.0),
        Ramp(12.0, 1.0),
        Jump(12.0),
        WaitForPerson(12.0, "look"),
        FinalHold(12.0),
    ],
)
def test_every_step_with_one_target_can_be_changed(step: Step) -> None:
    progress, _ = begin(Profile("one", (step,)), 12.0)
    changed = change_target(progress, 15.0)
    assert changed is not None
    after = changed[0].step
    key = "to_c" if isinstance(step, Ramp | Jump) else "target_c"
    assert after == replace(step, **{key: 15.0})
    assert changed[0].plan == progress.profile


def test_a_step_with_two_targets_has_no_single_one_to_change() -> None:
    bench = at_work(Profile("rise", (FreeRise(16.0, 22.0, HOUR_S),)))
    assert "no single target to change" in asks(bench, ChangeStepTarget(18.0)).why


@pytest.mark.parametrize("target_c", [-5.0, 50.0, float("nan")])
def test_a_step_takes_no_target_that_the_chamber_may_not_have(target_c: float) -> None:
    bench = at_work()
    assert "must be from" in asks(bench, ChangeStepTarget(target_c)).why
    assert stands(bench)[2] == Target.at(12.0)


def test_other_steps_may_follow_the_present_one() -> None:
    bench = at_work()
    assert asks(bench, ChangeRest(OTHER, "anna")).taken
    assert stands(bench)[2] == Target.at(12.0)
    bench.run(HOUR_S)
    assert stands(bench)[::2] == (2, Target.at(20.0))
    bench.run(HOUR_S)
    assert stands(bench)[::2] == (3, Target.at(2.0))


def test_a_rest_that_is_too_cold_is_refused() -> None:
    icy = Profile("icy", (Hold(-5.0, 60.0),))
    assert "profile icy, step 1: -5 °C is below" in asks(at_work(), ChangeRest(icy)).why


def test_every_change_can_be_undone_and_what_is_past_stays_past() -> None:
    bench = at_work()
    asks(bench, ChangeStepTarget(14.0))
    asks(bench, ExtendStep(600.0))
    asks(bench, ChangeRest(OTHER))
    bench.run(1800.0)
    before_s = stands(bench)[1]
    assert asks(bench, ReturnToPlan("anna")).taken
    assert stands(bench) == (1, before_s, Target.at(12.0))
    bench.run(1800.0)
    assert stands(bench)[::2] == (2, Target.at(16.0))
    assert asks(bench, ReturnToPlan()).why.startswith("the profile is as it was started")


def test_a_return_from_beyond_the_plan_ends_at_its_last_step_from_its_start() -> None:
    long = Profile("long", tuple(Hold(float(number), 60.0) for number in range(1, 6)))
    bench = at_work(Profile("short", (Hold(12.0, HOUR_S), FinalHold(4.0))))
    asks(bench, ChangeRest(long))
    for _ in range(4):
        asks(bench, SkipStep())
    bench.run(30.0)
    assert asks(bench, ReturnToPlan()).taken
    assert stands(bench) == (2, 0.0, Target.at(4.0))


def test_a_change_is_told_of_with_the_time_that_its_step_had_run() -> None:
    progress = Progress(PLAN, 1, 60.0, 12.0, extra_s=30.0)
    changed = change_target(progress, 14.0)
    assert changed is not None
    assert changed[1] == (StepChanged("plan", 1, "hold", "", StepChange.CHANGED, 60.0),)
    assert changed[0] == Progress(
        Profile("plan", (PLAN.steps[0], Hold(14.0, HOUR_S), PLAN.steps[2])),
        1,
        60.0,
        12.0,
        extra_s=30.0,
        plan=PLAN,
    )
    undone = return_to_plan(changed[0])
    assert undone is not None
    assert undone == (
        Progress(PLAN, 1, 60.0, 12.0),
        (StepChanged("plan", 1, "hold", "", StepChange.CHANGED, 60.0),),
    )


def test_a_change_of_a_changed_profile_keeps_the_plan_that_it_was_started_with() -> None:
    changed = change_target(Progress(OTHER, 0, 60.0, 12.0, plan=PLAN), 14.0)
    assert changed is not None
    assert changed[0].plan == PLAN


def test_a_step_that_is_gone_to_begins_anew_and_forgets_an_extension() -> None:
    gone = go_to(Progress(PLAN, 1, 60.0, 12.0, extra_s=30.0, plan=OTHER), 0, 18.5)
    assert gone == (
        Progress(PLAN, 0, 0.0, 18.5, plan=OTHER),
        (
            StepChanged("plan", 1, "hold", "", StepChange.SKIPPED, 60.0),
            StepChanged("plan", 0, "hold", "", StepChange.ENTERED, 0.0),
        ),
    )
    assert go_to(Progress(PLAN, 1, 60.0, 12.0), 2, None) is not None
    assert go_to(Progress(PLAN, 1, 60.0, 12.0), 3, None) is None
    assert go_to(Progress(PLAN, 1, 60.0, 12.0), -1, None) is None


@pytest.mark.parametrize(("to_c", "entry_c"), [(20.0, 16.0), (17.0, 16.0), (10.0, 18.0)])
def test_a_ramp_that_takes_another_end_goes_on_from_where_it_is(
    to_c: float, entry_c: float
) -> None:
    """From 16 °C upwards by 1 °C an hour, and an hour has passed."""
    slope = Profile("slope", (Ramp(30.0, 24.0),))
    changed = change_target(Progress(slope, 0, HOUR_S, 16.0), to_c)
    assert changed is not None
    assert changed[0].entry_c == entry_c
    assert target(changed[0]) == Target.at(17.0)


def test_a_ramp_put_back_to_its_plan_goes_on_from_where_the_target_has_come_to() -> None:
    slope = Profile("slope", (Ramp(30.0, 24.0),))
    changed = change_target(Progress(slope, 0, HOUR_S, 16.0), 10.0)
    assert changed is not None
    turned = replace(changed[0], elapsed_s=3 * HOUR_S)
    assert target(turned) == Target.at(15.0)
    undone = return_to_plan(turned)
    assert undone is not None
    assert undone[0] == Progress(slope, 0, 3 * HOUR_S, 12.0)
    assert target(undone[0]) == Target.at(15.0)
    # Of another step than the present one nothing has run: it begins where it was entered.
    beyond = Progress(Profile("long", (*slope.steps, Hold(9.0, 60.0))), 1, 30.0, 12.5, plan=slope)
    undone = return_to_plan(beyond)
    assert undone is not None
    assert undone[0] == Progress(slope, 0, 0.0, 12.5)


def test_whoever_changes_a_step_the_rest_or_all_back_is_told() -> None:
    bench = at_work()
    for command in (
        ChangeStepTarget(14.0, "anna"),
        ChangeRest(OTHER, "ben"),
        ReturnToPlan("carl"),
    ):
        assert asks(bench, command).taken
    told = [(e.index, e.change, e.who) for e in bench.happened(StepChanged)][1:]
    assert told == [(0, StepChange.CHANGED, who) for who in ("anna", "ben", "carl")]


def test_what_the_calendar_had_said_is_asked_anew_after_a_return_to_the_plan() -> None:
    changed = Progress(
        OTHER, 0, 60.0, 12.0, due_utc_s=1e9, from_utc_s=9e8, scheduled_c=8.0, plan=PLAN
    )
    undone = return_to_plan(changed)
    assert undone is not None
    assert undone[0] == Progress(PLAN, 0, 60.0, 12.0, from_utc_s=9e8)


def test_an_extension_alone_can_be_undone_too() -> None:
    progress, _ = begin(PLAN, 18.0)
    longer = Progress(PLAN, 0, 10.0, 18.0, extra_s=60.0)
    undone = return_to_plan(longer)
    assert undone is not None
    assert undone[0] == Progress(PLAN, 0, 10.0, 18.0)
    assert return_to_plan(progress) is None


@pytest.mark.parametrize(
    "command", [GoToStep(1), ChangeStepTarget(14.0), ChangeRest(OTHER), ReturnToPlan()], ids=repr
)
def test_a_profile_that_does_not_run_is_not_changed(command: Command) -> None:
    bench = at_work()
    bench.tick(PauseProfile())
    assert asks(bench, command).why == "the profile is paused"


def test_a_changed_profile_comes_back_changed_and_can_still_be_undone_after_a_restart() -> None:
    bench = at_work()
    asks(bench, ChangeStepTarget(14.0))
    kept = json.loads(json.dumps(memory.to_plain(bench.state)))
    bench.state = memory.from_plain(first_state(bench.settings, bench.mono_s), kept, bench.mono_s)
    bench.tick()
    assert stands(bench)[2] == Target.at(14.0)
    asks(bench, ReturnToPlan())
    assert stands(bench)[2] == Target.at(12.0)


def test_a_ramp_put_back_to_the_plan_goes_on_from_where_the_target_is() -> None:
    bench = at_work(Profile("slope", (Ramp(10.0, 24.0), FinalHold(10.0))))
    bench.run(2 * HOUR_S)
    assert asks(bench, ChangeStepTarget(20.0)).taken
    bench.run(HOUR_S)
    here = bench.state.progress
    assert here is not None
    assert asks(bench, ReturnToPlan()).taken
    back = bench.state.progress
    assert back is not None
    assert target(back).cool_c == pytest.approx(target(here).cool_c, abs=0.02)
    assert back.elapsed_s == here.elapsed_s


def counted_s(step: Step, before_c: float, after_c: float, **given: Any) -> float:
    """What counts of an outage of an hour."""
    progress = Progress(Profile("one", (step,)), 0, 100.0, 18.0, **given)
    after, counted = credit(progress, HOUR_S, before_c, after_c)
    assert after.elapsed_s == 100.0 + counted
    assert target(after) == target(progress)
    return counted


HELD = Hold(12.0, 10 * HOUR_S)


def test_an_outage_with_the_beer_at_its_temperature_counts_in_full() -> None:
    assert counted_s(HELD, 12.0, 12.0) == HOUR_S
    assert counted_s(HELD, 12.0 - HOLD_WITHIN_C, 12.0 + HOLD_WITHIN_C) == HOUR_S


def test_an_outage_with_the_beer_elsewhere_counts_for_nothing() -> None:
    assert counted_s(HELD, 14.0, 14.0) == 0.0
    assert counted_s(HELD, 14.0, 18.0) == 0.0


@pytest.mark.parametrize(("before_c", "after_c"), [(12.0, 14.0), (14.0, 12.0), (10.0, 12.0)])
def test_of_an_outage_in_which_the_beer_drifted_away_the_even_share_counts(
    before_c: float, after_c: float
) -> None:
    assert counted_s(HELD, before_c, after_c) == HOUR_S / 2


def test_a_soak_counts_by_its_own_tolerance_once_it_has_been_reached() -> None:
    soak = Soak(12.0, 10 * HOUR_S, 0.5)
    assert counted_s(soak, 12.0, 13.0, reached=True) == HOUR_S / 2
    assert counted_s(soak, 12.0, 12.0) == 0.0


def test_a_free_rise_counts_between_floor_and_ceiling() -> None:
    rise = FreeRise(16.0, 22.0, 10 * HOUR_S)
    assert counted_s(rise, 18.0, 21.0) == HOUR_S
    assert counted_s(rise, 15.0, 23.0) == HOUR_S
    assert counted_s(rise, 14.0, 15.0) == counted_s(rise, 23.0, 24.0) == 0.0


def test_beer_that_stood_still_on_the_edge_of_its_temperature_was_there() -> None:
    assert counted_s(HELD, 12.0 + HOLD_WITHIN_C, 12.0 + HOLD_WITHIN_C) == HOUR_S
    assert counted_s(HELD, 12.0 - HOLD_WITHIN_C, 12.0 - HOLD_WITHIN_C) == HOUR_S


def test_no_more_counts_than_the_step_still_needs() -> None:
    # 100 s of the hour have run already.
    assert counted_s(Hold(12.0, HOUR_S), 12.0, 12.0) == HOUR_S - 100.0
    assert counted_s(Hold(12.0, HOUR_S), 12.0, 12.0, extra_s=50.0) == HOUR_S - 50.0
    assert counted_s(Hold(12.0, 100.0), 12.0, 12.0) == 0.0


@pytest.mark.parametrize("step", [Ramp(12.0, 1.0), Jump(12.0), WaitForPerson(12.0, "look")])
def test_a_ramp_and_a_wait_go_on_from_where_they_were(step: Step) -> None:
    assert counted_s(step, 12.0, 12.0) == 0.0


def test_a_chamber_counts_an_outage_for_its_profile_only_while_that_runs() -> None:
    bench = at_work()
    state, counted = chamber.credit_outage(bench.state, 600.0, 12.0, 12.0)
    assert counted == 600.0
    assert state.progress is not None
    assert bench.state.progress is not None
    assert state.progress.elapsed_s == bench.state.progress.elapsed_s + 600.0
    bench.tick(PauseProfile())
    assert bench.state.mode is Mode.PAUSED
    assert chamber.credit_outage(bench.state, 600.0, 12.0, 12.0) == (bench.state, 0.0)
    idle = Bench(unprotected())
    assert chamber.credit_outage(idle.state, 600.0, 12.0, 12.0) == (idle.state, 0.0)


def test_an_outage_longer_than_what_was_left_of_a_hold_ends_it_at_the_next_tick() -> None:
    bench = at_work()
    bench.state, _ = chamber.credit_outage(bench.state, 5 * HOUR_S, 12.0, 12.0)
    bench.tick()
    assert stands(bench)[0] == 2
    assert stands(bench)[1] <= 10.0
