"""What of a profile can never come to its turn is refused before it starts."""

from __future__ import annotations

from math import inf

import pytest
from calendar_bench import CALENDAR, WEDNESDAY, Batch, Chamber, answers, utc_s
from hypothesis import given
from hypothesis import strategies as st

from fermd.control import chamber
from fermd.control.calendar import parse_calendar_time
from fermd.control.chamber import Inputs
from fermd.control.commands import ChangeRest, PlanStart, StartProfile
from fermd.control.decision import Mode
from fermd.control.events import CommandAnswered, StepChange
from fermd.control.foresight import PAST_S, start_objection, stretches, unreachable
from fermd.control.moment import Moment
from fermd.control.settings import DAY_S, HOUR_S, Objection
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
    Soak,
    Step,
    WaitForPerson,
)


def until(text: str, target_c: float = 12.0) -> HoldUntil:
    return HoldUntil(target_c, parse_calendar_time(text))


def found(*steps: Step, start_utc_s: float = WEDNESDAY) -> tuple[Objection, ...]:
    return unreachable(steps, start_utc_s, CALENDAR)


def test_steps_follow_each_other_by_their_lengths_rates_and_dates() -> None:
    steps = (Hold(8.0, DAY_S), Ramp(11.0, 1.5), until("fri 18:00"), FinalHold(1.0))
    laid = list(stretches(steps, WEDNESDAY, 20.0, CALENDAR))
    ends = [one.ends_utc_s - WEDNESDAY for one in laid]
    # From 8 to 11 °C at 1.5 °C a day is two days: Saturday; the next Friday is six days on.
    assert ends == [DAY_S, 3 * DAY_S, utc_s("2026-07-10 18:00") - WEDNESDAY, inf]
    assert all(one.begin_is_sure and one.end_is_sure for one in laid)
    assert [one.begins_utc_s for one in laid[1:]] == [one.ends_utc_s for one in laid[:-1]]


def test_from_what_the_beer_or_a_person_decides_on_nothing_is_sure_but_dates() -> None:
    steps = (
        Jump(4.0),
        Soak(4.0, DAY_S),
        FreeRise(18.0, 21.0, DAY_S),
        WaitForPerson(18.0, "hops"),
        until("2026-07-20 08:00"),
        FinalHold(1.0),
    )
    laid = list(stretches(steps, WEDNESDAY, 20.0, CALENDAR))
    assert [one.ends_utc_s - WEDNESDAY for one in laid[:4]] == [0.0, DAY_S, DAY_S, DAY_S]
    assert [one.end_is_sure for one in laid] == [False, False, False, False, True, True]
    expected = list(stretches(steps, WEDNESDAY, 20.0, CALENDAR, {0: HOUR_S, 1: HOUR_S}))
    assert expected[1].ends_utc_s == WEDNESDAY + DAY_S + 2 * HOUR_S
    (alone,) = stretches((Soak(4.0, DAY_S),), WEDNESDAY, 20.0, CALENDAR)
    assert not alone.end_is_sure
    weekday = list(stretches((Jump(4.0), until("fri 18:00")), WEDNESDAY, 20.0, CALENDAR))
    assert not weekday[1].end_is_sure


def test_a_ramp_that_comes_first_takes_its_time_from_where_the_beer_is() -> None:
    steps = (Ramp(11.0, 1.5), FinalHold(11.0))
    assert next(stretches(steps, 0.0, 8.0, None)).ends_utc_s == 2 * DAY_S
    assert not next(stretches(steps, 0.0, None, None)).end_is_sure


def test_without_a_calendar_its_steps_have_no_length() -> None:
    (one, _) = stretches((until("fri 18:00"), FinalHold(1.0)), 0.0, None, None)
    assert (one.ends_utc_s, one.end_is_sure) == (0.0, False)
    assert unreachable((until("2020-01-01 08:00"),), WEDNESDAY, None) == ()


@pytest.mark.parametrize(
    "last", [FinalHold(12.0), Schedule((Change(parse_calendar_time("07:00"), 12.0),))]
)
def test_what_comes_after_a_step_without_end_is_never_reached(last: Step) -> None:
    (why,) = found(Hold(12.0, DAY_S), last, until("fri 18:00"))
    assert (why.key, why.value) == ("step[2].kind", last.kind)
    assert "step 3 and all after it are never reached" in why.why
    assert found(Hold(12.0, DAY_S), last) == ()


def test_a_profile_that_is_not_over_before_the_date_of_its_step_is_refused() -> None:
    (why,) = found(Hold(12.0, 14 * DAY_S), until("2026-07-10 08:00"), FinalHold(1.0))
    assert (why.key, why.value) == ("step[2].until", "2026-07-10 08:00")
    assert "the steps before it are over (after 14.0 d at the earliest)" in why.why
    assert found(Hold(12.0, 8 * DAY_S), until("2026-07-10 08:00"), FinalHold(1.0)) == ()


def test_a_date_that_is_before_that_of_the_step_ahead_of_it_is_refused() -> None:
    (why,) = found(until("2026-12-24 08:00"), until("2026-12-20 08:00"), FinalHold(1.0))
    assert why.key == "step[2].until"
    assert "has passed when step 1 ends (at 2026-12-24 08:00)" in why.why


def test_a_date_that_has_passed_by_the_start_is_refused() -> None:
    (why,) = found(until("2026-06-30 08:00"), FinalHold(1.0))
    assert "has passed by the start" in why.why
    (why,) = found(WaitForPerson(18.0, "hops"), until("2026-06-30 08:00"), FinalHold(1.0))
    assert "has passed by the start" in why.why


def test_a_weekday_and_a_time_of_day_always_come_again() -> None:
    assert found(until("fri 18:00"), until("fri 18:00"), until("18:00"), FinalHold(1.0)) == ()


def test_of_two_changes_at_the_same_time_the_first_never_holds() -> None:
    seven, ten = parse_calendar_time("07:00"), parse_calendar_time("22:00")
    (why,) = found(Schedule((Change(seven, 12.0), Change(ten, 10.0), Change(seven, 14.0))))
    assert (why.key, why.value) == ("step[1].changes[1].at", "07:00")
    assert "change 3 is at the same time" in why.why
    # So it is: the profile's own engine keeps the later one.
    batch = Batch(Schedule((Change(seven, 12.0), Change(seven, 14.0))))
    batch.lives(10.0)
    assert batch.target_c == 14.0


@given(
    holds=st.lists(st.floats(60.0, 20 * DAY_S), max_size=4),
    day=st.integers(1, 31),
    hour=st.integers(0, 23),
)
def test_a_dated_step_is_over_at_once_just_when_it_is_objected_to(
    holds: list[float], day: int, hour: int
) -> None:
    """Held against the step engine: what was objected to is a step that ends as it begins."""
    steps = [*(Hold(12.0, for_s) for for_s in holds), until(f"2026-07-{day:02d} {hour:02d}:00")]
    batch = Batch(*steps, FinalHold(1.0))
    batch.lives(1e-3)
    for for_s in holds:
        batch.lives(for_s)
    # The step was entered a moment ago; if its date was still to come it is not over.
    assert batch.told == [] or batch.told[-1].change is StepChange.ENTERED
    over_at_once = batch.progress.index == len(holds) + 1
    assert bool(found(*steps, FinalHold(1.0))) == over_at_once


def test_a_start_is_not_in_the_past_if_it_is_only_as_late_as_a_slow_hand() -> None:
    assert start_objection(WEDNESDAY - PAST_S, WEDNESDAY) is None
    assert start_objection(WEDNESDAY + 400 * DAY_S, WEDNESDAY) is None
    assert "in the past" in (start_objection(WEDNESDAY - PAST_S - 1.0, WEDNESDAY) or "")


GONE = Profile("late", (Hold(12.0, 14 * DAY_S), until("2026-07-10 08:00"), FinalHold(1.0)))


def test_a_chamber_takes_no_profile_with_a_step_that_can_never_come() -> None:
    bench = Chamber()
    for command in (StartProfile(GONE), PlanStart(GONE, WEDNESDAY + HOUR_S)):
        bench.tick(command)
        answer = answers(bench)[-1]
        assert not answer.taken
        assert "profile late, step[2].until = 2026-07-10 08:00: has passed when" in answer.why
    assert bench.state.mode is Mode.OFF
    assert bench.state.planned is None


def test_a_planned_start_is_held_against_its_own_time_and_not_the_present() -> None:
    profile = Profile("dated", (until("2026-07-10 08:00"), FinalHold(1.0)))
    bench = Chamber()
    bench.tick(PlanStart(profile, utc_s("2026-07-10 09:00")))
    assert "has passed by the start" in answers(bench)[-1].why
    bench.tick(PlanStart(profile, utc_s("2026-07-10 07:00")))
    assert answers(bench)[-1].taken


def test_a_planned_start_that_comes_late_is_taken_although_a_date_has_gone_meanwhile() -> None:
    bench = Chamber()
    profile = Profile("dated", (until("2026-07-10 08:00"), FinalHold(1.0)))
    bench.tick(PlanStart(profile, WEDNESDAY + HOUR_S))
    assert bench.state.planned is not None
    bench.wall_utc_s = utc_s("2026-07-12 08:00")
    bench.tick()
    assert bench.state.mode is Mode.PROFILE


def test_the_rest_of_a_running_profile_is_not_changed_to_what_can_never_come() -> None:
    bench = Chamber()
    bench.tick(StartProfile(Profile("hold", (Hold(12.0, DAY_S), FinalHold(1.0)))))
    bench.tick(ChangeRest(Profile("rest", (until("2026-06-30 08:00"), FinalHold(1.0)))))
    assert "has passed by the start" in answers(bench)[-1].why


def test_while_the_clock_is_not_set_dates_are_not_judged_but_endless_steps_are() -> None:
    bench = Chamber()
    endless = Profile("endless", (FinalHold(12.0), Hold(1.0, DAY_S)))
    running, _ = chamber.step(
        bench.state,
        bench.settings,
        Inputs(commands=(StartProfile(Profile("hold", (Hold(12.0, DAY_S),))),)),
        Moment(bench.mono_s),
    )
    for state, command, taken in (
        (bench.state, StartProfile(GONE), True),
        (bench.state, StartProfile(endless), False),
        (running, ChangeRest(GONE), True),
        (running, ChangeRest(endless), False),
    ):
        now = Moment(bench.mono_s + 10.0, WEDNESDAY, wall_trusted=False)
        inputs = Inputs(commands=(command,))
        _, decision = chamber.step(state, bench.settings, inputs, now)
        (answer,) = [event for event in decision.events if isinstance(event, CommandAnswered)]
        assert answer.taken is taken
