"""The steps of a profile: what each asks of the beer, and what ends it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fermd.control.events import StepChange, StepChanged
from fermd.control.progress import (
    Outlook,
    Progress,
    advance,
    begin,
    confirm,
    extend,
    outlook,
    planned_s,
    remaining_after_s,
    skip,
    target,
    told,
)
from fermd.control.settings import DAY_S, HOUR_S
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
    coldest_target_c,
)

LAGER = Profile(
    "lager",
    (
        Hold(10.0, 5 * DAY_S, "primary"),
        Ramp(16.0, 3.0, "rise"),
        Soak(16.0, 2 * DAY_S, 0.5, "diacetyl rest"),
        WaitForPerson(16.0, "taste for butter", "tasting"),
        Jump(1.0, 0.5, "crash"),
        FinalHold(1.0, "lagering"),
    ),
    "Bottom-fermented",
)


class Batch:
    """A profile on the bench."""

    def __init__(self, *steps: Step, start_c: float = 18.0) -> None:
        self.progress, self.events = begin(Profile("batch", steps), start_c)

    def lives(self, for_s: float, beer_c: float | None = 18.0) -> list[StepChange]:
        self.progress, events = advance(self.progress, beer_c, for_s)
        return [event.change for event in events if isinstance(event, StepChanged)]

    @property
    def target(self) -> Target:
        return target(self.progress)


STEP_ENDS = [StepChange.ENDED, StepChange.ENTERED]


def test_a_hold_lasts_its_time_whatever_the_beer_does() -> None:
    batch = Batch(Hold(18.0, 100.0), FinalHold(4.0))
    assert batch.target == Target.at(18.0)
    assert batch.lives(99.0, None) == []
    assert batch.lives(1.0, 30.0) == STEP_ENDS
    assert batch.target == Target.at(4.0)


def test_what_is_left_of_a_tick_when_a_step_ends_is_the_next_ones() -> None:
    batch = Batch(Hold(18.0, 15.0), Hold(17.0, 15.0), Hold(16.0, 100.0))
    assert batch.lives(40.0) == STEP_ENDS * 2
    assert (batch.progress.index, batch.progress.elapsed_s) == (2, 10.0)


def test_a_ramp_moves_the_target_at_its_rate_and_no_further() -> None:
    batch = Batch(Ramp(20.0, 2.0), FinalHold(20.0), start_c=18.0)
    assert batch.target == Target.at(18.0)
    batch.lives(DAY_S / 2)
    assert batch.target.heat_c == pytest.approx(19.0)
    assert batch.lives(DAY_S / 2 - 1.0) == []
    assert batch.lives(1.0) == STEP_ENDS
    assert batch.target == Target.at(20.0)


def test_a_ramp_downwards_goes_down() -> None:
    batch = Batch(Ramp(10.0, 24.0), start_c=18.0)
    batch.lives(HOUR_S)
    assert batch.target.cool_c == pytest.approx(17.0)


def test_a_ramp_starts_from_the_target_that_the_step_before_left() -> None:
    batch = Batch(Jump(12.0), Ramp(14.0, 48.0), FinalHold(14.0), start_c=20.0)
    batch.lives(10.0, 12.0)
    assert batch.target == Target.at(12.0)
    batch.lives(HOUR_S / 2, 12.0)
    assert batch.target.cool_c == pytest.approx(13.0)


def test_a_ramp_to_where_the_target_is_already_is_over_at_once() -> None:
    batch = Batch(Ramp(18.0, 1.0), FinalHold(18.0), start_c=18.0)
    assert batch.lives(0.0) == STEP_ENDS


def test_the_clock_of_a_soak_runs_only_while_the_beer_is_within_tolerance() -> None:
    batch = Batch(Soak(16.0, 100.0, 0.5), FinalHold(16.0))
    assert batch.lives(1000.0, 15.4) == []
    assert batch.lives(1000.0, None) == []
    assert batch.progress.elapsed_s == 0.0
    assert batch.lives(60.0, 15.5) == [StepChange.REACHED]
    assert batch.lives(1000.0, 16.6) == []
    assert batch.lives(39.0, 16.5) == []
    assert batch.lives(1.0, 16.0) == STEP_ENDS


def test_a_soak_that_is_shortened_below_what_it_has_run_is_over_wherever_the_beer_is() -> None:
    batch = Batch(Soak(16.0, 100.0, 0.5), FinalHold(16.0))
    batch.lives(60.0, 16.0)
    extended = extend(batch.progress, -50.0)
    assert extended is not None
    batch.progress = extended[0]
    assert batch.lives(10.0, 20.0) == STEP_ENDS


def test_a_wait_is_for_a_person_and_lasts_until_the_word() -> None:
    batch = Batch(WaitForPerson(16.0, "dry hop"), FinalHold(16.0))
    assert batch.lives(100 * DAY_S) == []
    assert outlook(batch.progress).prompt == "dry hop"
    confirmed = confirm(batch.progress)
    assert confirmed is not None
    progress, events = confirmed
    assert progress.index == 1
    changes = [event.change for event in events if isinstance(event, StepChanged)]
    assert changes == [StepChange.CONFIRMED, StepChange.ENTERED]


def test_a_step_that_waits_for_nobody_is_not_confirmed() -> None:
    assert confirm(Batch(Hold(16.0, 10.0)).progress) is None


def test_a_wait_may_be_the_last_step() -> None:
    confirmed = confirm(Batch(WaitForPerson(16.0, "bottle")).progress)
    assert confirmed is not None
    progress, events = confirmed
    assert progress.step is None
    assert len(events) == 1
    assert target(progress) == Target.at(16.0)


def test_a_jump_asks_for_its_target_at_once_and_ends_when_the_beer_is_there() -> None:
    batch = Batch(Jump(1.0, 0.5), FinalHold(1.0))
    assert batch.target == Target.at(1.0)
    assert batch.lives(10 * DAY_S, 1.51) == []
    assert batch.lives(10.0, None) == []
    assert batch.lives(10.0, 1.5) == STEP_ENDS


def test_a_final_hold_has_no_end() -> None:
    batch = Batch(FinalHold(4.0))
    assert batch.lives(1000 * DAY_S) == []
    shown = outlook(batch.progress)
    assert (shown.remaining_s, shown.planned_s, shown.elapsed_s) == (None, None, 1000 * DAY_S)


def test_a_free_rise_heats_to_its_floor_and_cools_to_its_ceiling() -> None:
    assert Batch(FreeRise(18.0, 22.0, DAY_S)).target == Target(18.0, 22.0)


def test_a_free_rise_ends_at_its_ceiling() -> None:
    batch = Batch(FreeRise(18.0, 22.0, DAY_S), FinalHold(22.0))
    assert batch.lives(HOUR_S, 21.9) == []
    assert batch.lives(HOUR_S, None) == []
    assert batch.lives(10.0, 22.0) == STEP_ENDS
    assert batch.progress.elapsed_s == 0.0


def test_a_free_rise_ends_by_its_time_and_leaves_the_beer_where_it_has_come_to() -> None:
    batch = Batch(FreeRise(18.0, 22.0, DAY_S), Ramp(24.0, 1.0))
    assert batch.lives(DAY_S, 20.5) == STEP_ENDS
    assert batch.target == Target.at(20.5)


def test_a_free_rise_without_a_reading_leaves_the_target_at_its_ceiling() -> None:
    batch = Batch(FreeRise(18.0, 22.0, DAY_S), Ramp(24.0, 1.0))
    batch.lives(DAY_S, None)
    assert batch.target == Target.at(22.0)


def test_a_profile_that_is_over_leaves_its_last_target() -> None:
    batch = Batch(Hold(12.0, 10.0))
    assert batch.lives(10.0) == [StepChange.ENDED]
    assert batch.progress.step is None
    assert batch.target == Target.at(12.0)
    assert batch.lives(10.0) == []


def test_a_profile_that_is_over_has_no_step_to_skip_confirm_extend_or_tell_of() -> None:
    batch = Batch(Hold(12.0, 10.0))
    batch.lives(10.0)
    assert skip(batch.progress, 12.0) == (batch.progress, ())
    assert confirm(batch.progress) is None
    assert extend(batch.progress, 12.0) is None
    assert outlook(batch.progress) == Outlook("batch", 1, 1, "end", "", 0.0, 0.0, 0.0, 0.0)
    assert remaining_after_s(batch.progress) == 0.0
    with pytest.raises(IndexError, match="come to its end"):
        told(batch.progress, StepChange.ENDED)


def test_a_skipped_step_is_told_of_with_the_time_that_it_had_run() -> None:
    batch = Batch(Hold(12.0, 100.0, "primary"), Hold(10.0, 100.0))
    batch.lives(30.0)
    batch.progress, events = skip(batch.progress, 12.0)
    assert events[0] == StepChanged("batch", 0, "hold", "primary", StepChange.SKIPPED, 30.0)
    assert events[1] == StepChanged("batch", 1, "hold", "", StepChange.ENTERED, 0.0)
    batch.progress, events = skip(batch.progress, 12.0)
    assert [type(event) for event in events] == [StepChanged]
    assert batch.progress.step is None


def test_a_skipped_ramp_leaves_the_target_where_it_had_come_to() -> None:
    batch = Batch(Ramp(20.0, 24.0), Ramp(10.0, 1.0), start_c=18.0)
    batch.lives(HOUR_S)
    batch.progress, _ = skip(batch.progress, 18.0)
    assert batch.target.cool_c == pytest.approx(19.0)


@pytest.mark.parametrize(
    "step", [Hold(12.0, 100.0), Soak(12.0, 100.0), FreeRise(10.0, 14.0, 100.0)]
)
def test_a_step_that_ends_by_time_can_be_made_longer_or_shorter(step: Step) -> None:
    batch = Batch(step, FinalHold(12.0))
    batch.lives(50.0, 12.0)
    for by_s, left_s in ((60.0, 110.0), (-80.0, 30.0)):
        extended = extend(batch.progress, by_s)
        assert extended is not None
        batch.progress = extended[0]
        assert outlook(batch.progress).remaining_s == left_s
    assert batch.lives(29.0, 12.0) == []
    assert batch.lives(1.0, 12.0) == STEP_ENDS


@pytest.mark.parametrize(
    "step", [Ramp(12.0, 1.0), Jump(1.0), WaitForPerson(1.0, "look"), FinalHold(1.0)]
)
def test_a_step_that_does_not_end_by_time_cannot_be_extended(step: Step) -> None:
    assert extend(Batch(step).progress, 60.0) is None


def test_a_hold_shortened_below_what_it_has_run_takes_no_time_from_the_next_step() -> None:
    batch = Batch(Hold(12.0, 100.0), Hold(10.0, 100.0))
    batch.lives(80.0)
    extended = extend(batch.progress, -50.0)
    assert extended is not None
    batch.progress = extended[0]
    assert batch.lives(10.0) == STEP_ENDS
    assert batch.progress.elapsed_s == 10.0


def test_an_outlook_says_what_is_left_of_the_step_and_of_the_profile() -> None:
    progress, _ = begin(LAGER, 18.0)
    progress, _ = advance(progress, 10.0, 2 * DAY_S)
    following = LAGER.steps[1]
    assert outlook(progress) == Outlook(
        "lager",
        0,
        6,
        "hold",
        "primary",
        2 * DAY_S,
        3 * DAY_S,
        5 * DAY_S,
        4 * DAY_S,
        next_kind=following.kind,
        next_name=following.name,
    )


def test_an_outlook_at_the_end_of_a_profile_has_nothing_left() -> None:
    progress = Progress(LAGER, 5, 0.0, 1.0)
    assert outlook(progress).rest_s == 0.0


def test_a_profile_is_told_of_step_by_step_with_the_time_that_each_had_run() -> None:
    batch = Batch(
        Hold(12.0, 100.0, "primary"),
        Soak(16.0, 50.0, 0.5, "rest"),
        Jump(1.0, 0.5),
        WaitForPerson(1.0, "bottle", "bottling"),
    )
    assert batch.events == (StepChanged("batch", 0, "hold", "primary", StepChange.ENTERED, 0.0),)
    told_of: list[object] = []
    for for_s, beer_c in ((110.0, 16.0), (30.0, 20.0), (40.0, 16.5), (7.0, 5.0), (3.0, 1.0)):
        batch.progress, events = advance(batch.progress, beer_c, for_s)
        told_of += events
    assert told_of == [
        StepChanged("batch", 0, "hold", "primary", StepChange.ENDED, 100.0),
        StepChanged("batch", 1, "soak", "rest", StepChange.ENTERED, 0.0),
        StepChanged("batch", 1, "soak", "rest", StepChange.REACHED, 0.0),
        StepChanged("batch", 1, "soak", "rest", StepChange.ENDED, 50.0),
        StepChanged("batch", 2, "jump", "", StepChange.ENTERED, 0.0),
        StepChanged("batch", 2, "jump", "", StepChange.ENDED, 10.0),
        StepChanged("batch", 3, "wait", "bottling", StepChange.ENTERED, 0.0),
    ]
    batch.progress, _ = advance(batch.progress, 1.0, 60.0)
    confirmed = confirm(batch.progress)
    assert confirmed is not None
    assert confirmed[1] == (
        StepChanged("batch", 3, "wait", "bottling", StepChange.CONFIRMED, 60.0),
    )


def test_an_outlook_of_a_wait_says_what_is_asked_and_knows_no_end() -> None:
    progress = Progress(LAGER, 3, 60.0, 16.0)
    assert outlook(progress) == Outlook(
        "lager",
        3,
        6,
        "wait",
        "tasting",
        60.0,
        None,
        None,
        0.0,
        prompt="taste for butter",
        next_kind="jump",
        next_name="crash",
    )
    assert outlook(Progress(LAGER, 5, 60.0, 1.0)).next_kind is None
    assert outlook(Progress(LAGER, 5, 60.0, 1.0)).next_name == ""
    assert outlook(Progress(LAGER, 2, 60.0, 16.0)).prompt == ""


def test_an_outlook_of_a_step_that_was_shortened_to_nothing_has_nothing_left() -> None:
    shown = outlook(Progress(LAGER, 0, 60.0, 18.0, extra_s=-10 * DAY_S))
    assert (shown.planned_s, shown.remaining_s) == (0.0, 0.0)
    assert outlook(Progress(LAGER, 0, 6 * DAY_S, 18.0)).remaining_s == 0.0


def test_a_soak_that_was_shortened_to_just_what_it_has_run_is_over() -> None:
    soak = Soak(16.0, 100.0, 0.5)
    at_end = Progress(Profile("soak", (soak, FinalHold(4.0))), 0, 60.0, 18.0, -40.0, True)
    after, _ = advance(at_end, 20.0, 10.0)
    assert (after.index, after.elapsed_s) == (1, 0.0)
    assert advance(replace(at_end, extra_s=-39.9), 20.0, 10.0)[0].index == 0


def test_a_hold_shortened_below_what_it_has_run_keeps_its_clock() -> None:
    batch = Batch(Hold(12.0, 100.0), Hold(10.0, 100.0))
    batch.lives(80.0)
    shorter = replace(batch.progress, extra_s=-50.0)
    _, events = advance(shorter, 12.0, 10.0)
    assert isinstance(events[0], StepChanged)
    assert events[0].elapsed_s == 80.0


def test_a_step_shortened_below_nothing_leaves_the_next_no_more_than_the_tick() -> None:
    progress = Progress(Profile("p", (Hold(12.0, 100.0), Hold(10.0, 100.0))), 0, 0.0, 18.0, -500.0)
    after, _ = advance(progress, 12.0, 10.0)
    assert (after.index, after.elapsed_s) == (1, 10.0)


def test_a_ramp_down_stops_at_its_end_and_a_skipped_one_where_it_has_come_to() -> None:
    ramp = Ramp(10.0, 24.0)
    profile = Profile("down", (ramp, Ramp(20.0, 1.0)))
    assert target(Progress(profile, 0, 100 * HOUR_S, 18.0)) == Target.at(10.0)
    moved, _ = skip(Progress(profile, 0, HOUR_S, 18.0), 3.0)
    assert moved.entry_c == 17.0


def test_a_skipped_free_rise_leaves_the_beer_where_it_is_within_floor_and_ceiling() -> None:
    profile = Profile("rise", (FreeRise(16.0, 22.0, DAY_S), Ramp(24.0, 1.0)))
    for beer_c, left_c in ((19.0, 19.0), (15.0, 16.0), (25.0, 22.0), (None, 22.0)):
        moved, _ = skip(Progress(profile, 0, 60.0, 18.0), beer_c)
        assert moved.entry_c == left_c


def test_the_plan_of_a_changed_profile_goes_with_it_from_step_to_step() -> None:
    progress = Progress(LAGER, 0, 0.0, 18.0, plan=LAGER)
    after, _ = advance(progress, 10.0, 5 * DAY_S)
    assert (after.index, after.plan) == (1, LAGER)
    after, _ = skip(progress, 10.0)
    assert (after.index, after.plan) == (1, LAGER)


def test_an_extension_is_told_of_and_adds_to_those_before_it() -> None:
    extended = extend(Progress(LAGER, 0, 60.0, 18.0, extra_s=10.0), 20.0)
    assert extended is not None
    assert extended[0].extra_s == 30.0
    assert extended[1] == (StepChanged("lager", 0, "hold", "primary", StepChange.EXTENDED, 60.0),)


def test_a_step_says_at_its_end_that_there_is_none() -> None:
    with pytest.raises(
        IndexError, match=r"^the profile has come to its end: there is no step to tell of$"
    ):
        told(Progress(LAGER, 6, 0.0, 1.0), StepChange.ENDED)


@pytest.mark.parametrize(
    ("step", "left_c"),
    [
        (Hold(12.0, 1.0), 12.0),
        (Ramp(4.0, 1.0), 4.0),
        (Jump(1.0), 1.0),
        (FreeRise(16.0, 22.0, 1.0), 22.0),
        (WaitForPerson(11.0, "look"), 11.0),
    ],
)
def test_the_target_that_a_step_leaves_to_the_next(step: Step, left_c: float) -> None:
    moved, _ = skip(Progress(Profile("two", (step, FinalHold(2.0))), 0, 1e9, 11.0), None)
    assert moved.entry_c == left_c


@pytest.mark.parametrize(
    ("step", "coldest_c"),
    [
        (Hold(12.0, 1.0), 12.0),
        (Soak(12.0, 1.0), 12.0),
        (Ramp(4.0, 1.0), 4.0),
        (Jump(1.0), 1.0),
        (FreeRise(16.0, 22.0, 1.0), 16.0),
        (WaitForPerson(11.0, "look"), 11.0),
        (FinalHold(2.0), 2.0),
    ],
)
def test_the_coldest_that_a_step_asks_for(step: Step, coldest_c: float) -> None:
    assert coldest_target_c(step) == coldest_c


@given(st.lists(st.floats(1.0, 300.0), min_size=1, max_size=200))
def test_steps_by_time_last_as_long_as_planned_however_time_is_cut(ticks_s: list[float]) -> None:
    holds = tuple(Hold(float(number), 100.0 + number) for number in range(40))
    progress, _ = begin(Profile("holds", holds), 18.0)
    for tick_s in ticks_s:
        progress, _ = advance(progress, 18.0, tick_s)
    lived_s = progress.elapsed_s + sum(hold.for_s for hold in holds[: progress.index])
    assert lived_s == pytest.approx(min(sum(ticks_s), sum(hold.for_s for hold in holds)))


def test_the_length_of_a_ramp_follows_from_its_rate() -> None:
    assert planned_s(Ramp(20.0, 2.0), 18.0) == DAY_S
    assert planned_s(Ramp(18.0, 2.0), 20.0) == DAY_S
    assert planned_s(Jump(20.0), 18.0) is None
