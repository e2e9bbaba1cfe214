"""A rehearsal is the real core on the simulated chamber, and tells what a brewer wants to know."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from plans import MARCH_S, WATER, fridge, plan, shipped

from fermd.config.profile_file import shipped_profiles
from fermd.control.alarms import AlarmKind
from fermd.control.calendar import parse_calendar_time
from fermd.control.reasons import Rule
from fermd.control.settings import DAY_S, HOUR_S, CircuitSettings, Duty, LimitSettings
from fermd.control.steps import (
    Change,
    FinalHold,
    Hold,
    HoldUntil,
    Jump,
    Profile,
    Ramp,
    Schedule,
    Soak,
    WaitForPerson,
)
from fermd.physics.ambient import DayNightAmbient
from fermd.planning.batch import PlannedBatch, YeastKind
from fermd.planning.errors import PlanError
from fermd.planning.estimate import estimate, estimate_from, needs_estimate
from fermd.planning.outcome import OnTime, Rehearsal, most_starts_in_an_hour, output_use
from fermd.planning.rehearsal import LATEST_S, QUICK_PERIOD_S, rehearse

GARAGE = DayNightAmbient(16.0, 4.0)
HOLD = Profile("hold", (Hold(12.0, 2 * DAY_S), FinalHold(12.0)))


@cache
def lager() -> Rehearsal:
    return rehearse(plan(shipped("lager-diacetyl-rest"), room=GARAGE))


@pytest.mark.parametrize("name", sorted(shipped_profiles()))
def test_every_shipped_profile_is_rehearsed_to_its_end_with_no_promise_broken(name: str) -> None:
    yeast = (
        YeastKind.ALE
        if name in ("ale-free-rise", "dry-hop", "kveik", "saison")
        else YeastKind.LAGER
    )
    seen = rehearse(plan(shipped(name), batch=PlannedBatch(yeast=yeast), room=GARAGE))
    assert seen.broken == ()
    assert seen.finished
    assert [step.index for step in seen.steps] == list(range(len(shipped(name).steps)))
    assert seen.in_band_share > 0.9
    assert {one.kind for one in seen.alarms} <= {AlarmKind.WAITING_FOR_PERSON.value}
    for use in seen.outputs:
        assert use.most_starts_in_an_hour <= 6


def test_a_lager_is_held_and_reaches_its_crash_temperature_when_the_ramp_does() -> None:
    seen = lager()
    assert seen.in_band_share > 0.98
    assert seen.over_c < 0.7
    assert seen.under_c < 0.7
    assert seen.coldest.target_c == -1.0
    assert seen.coldest.utc_s is not None
    # The ramp is there after 20.5 days; half a degree at 3 °C a day is 4 h.
    assert abs(seen.coldest.utc_s - MARCH_S - 20.5 * DAY_S) < 6 * HOUR_S
    assert seen.shortfalls == ()


def test_energy_is_what_the_outputs_take_while_they_are_on() -> None:
    seen = lager()
    (cooling,) = [use for use in seen.outputs if use.duty is Duty.COOL]
    # 100 W of cooling at a coefficient of performance of 1.6 are 62.5 W of electricity.
    assert cooling.electric_w == pytest.approx(62.5)
    on_s = sum(run.ends_utc_s - run.begins_utc_s for run in seen.on_times if run.duty is Duty.COOL)
    assert cooling.kwh == pytest.approx(62.5 * on_s / 3.6e6)
    assert seen.kwh == pytest.approx(sum(use.kwh for use in seen.outputs))
    assert cooling.starts == sum(run.duty is Duty.COOL for run in seen.on_times)


def test_the_same_plan_and_seed_come_to_the_same_and_another_seed_to_nearly_the_same() -> None:
    short = plan(HOLD, room=GARAGE)
    assert rehearse(short) == rehearse(short)
    other = rehearse(short, seed=2)
    assert other != rehearse(short)
    assert other.kwh == pytest.approx(rehearse(short).kwh, rel=0.1)


def test_a_tick_of_a_minute_shows_what_a_tick_of_ten_seconds_shows() -> None:
    """A crash: the part of a batch in which the compressor works the most."""
    profile = Profile(
        "crash", (Hold(12.0, DAY_S), Ramp(1.0, 8.0), Hold(1.0, DAY_S), FinalHold(1.0))
    )
    crash = plan(profile, room=GARAGE)
    coarse, fine = rehearse(crash), rehearse(crash, period_s=10.0, idle_ticks=1)
    assert coarse.kwh == pytest.approx(fine.kwh, rel=0.05)
    assert coarse.in_band_share == pytest.approx(fine.in_band_share, abs=0.05)
    assert coarse.over_c == pytest.approx(fine.over_c, abs=0.25)
    assert coarse.under_c == pytest.approx(fine.under_c, abs=0.25)
    assert coarse.coldest.utc_s is not None
    assert fine.coldest.utc_s is not None
    assert abs(coarse.coldest.utc_s - fine.coldest.utc_s) < 2 * HOUR_S
    starts = [next(u.starts for u in one.outputs if u.duty is Duty.COOL) for one in (coarse, fine)]
    assert starts[0] == pytest.approx(starts[1], rel=0.2)


def test_steps_begin_when_the_plan_says_to_the_tick() -> None:
    steps = (Hold(12.0, DAY_S), HoldUntil(12.0, parse_calendar_time("mon 18:00")), FinalHold(12.0))
    seen = rehearse(plan(Profile("dated", steps)))
    entered = [step.entered_utc_s - MARCH_S for step in seen.steps]
    # Friday 18:00 in Vienna; Saturday; Monday.
    assert entered == pytest.approx([0.0, DAY_S, 3 * DAY_S], abs=120.0)


def test_a_step_that_waits_for_a_person_goes_on_when_somebody_has_come() -> None:
    steps = (WaitForPerson(12.0, "add hops", "hops"), FinalHold(12.0))
    seen = rehearse(plan(Profile("hops", steps), confirm_after_s=5 * HOUR_S))
    assert seen.steps[1].entered_utc_s - MARCH_S == pytest.approx(5 * HOUR_S, abs=300.0)
    assert [one.kind for one in seen.alarms] == [AlarmKind.WAITING_FOR_PERSON.value]


def test_a_fridge_that_is_too_small_does_not_keep_up_and_it_is_told_when_and_why() -> None:
    weak = plan(shipped("cold-crash"), batch=WATER, room=30.0, cooler_w=45.0)
    seen = rehearse(weak)
    assert seen.broken == ()
    (short,) = [one for one in seen.shortfalls if one.lasted_s > DAY_S]
    assert short.duty is Duty.COOL
    assert not short.on_the_way
    assert short.ran_share > 0.85
    # What does not run all the time rests after its longest run of eight hours.
    assert short.held_by in (Rule.RESTING, Rule.LONGEST_RUN)
    assert AlarmKind.LONGEST_RUN.value in {one.kind for one in seen.alarms}


def test_a_step_that_never_ends_in_this_chamber_is_given_up() -> None:
    profile = Profile("never", (Jump(-1.0), FinalHold(-1.0)))
    seen = rehearse(
        plan(profile, batch=WATER, room=40.0, cooler_w=30.0, beer_c=18.0), period_s=QUICK_PERIOD_S
    )
    assert not seen.finished
    assert seen.coldest.utc_s is None
    assert seen.lasted_s == pytest.approx(LATEST_S, abs=QUICK_PERIOD_S)
    assert seen.steps[-1].there_utc_s is None
    found = estimate_from(seen, profile)
    assert found.never_ends == 0
    assert found.taken_s == {}


def test_a_target_that_jumps_is_told_as_being_on_the_way() -> None:
    seen = rehearse(plan(Profile("jump", (FinalHold(4.0),)), batch=WATER, beer_c=18.0))
    (short,) = seen.shortfalls
    assert short.on_the_way
    assert short.worst_c == pytest.approx(14.0, abs=0.5)
    assert seen.steps[0].there_utc_s == pytest.approx(short.ends_utc_s, abs=120.0)


def test_what_the_core_refuses_cannot_be_rehearsed() -> None:
    icy = Profile("icy", (FinalHold(-8.0),))
    with pytest.raises(PlanError, match="freezing point"):
        rehearse(plan(icy))


def test_a_chamber_without_a_heater_lets_the_beer_follow_a_cold_room() -> None:
    cold = fridge(duties=(Duty.COOL,))
    seen = rehearse(
        plan(Profile("warm", (FinalHold(20.0),)), batch=WATER, room=10.0, settings=cold)
    )
    (short,) = seen.shortfalls
    assert (short.duty, short.ran_share, short.held_by) == (Duty.HEAT, 0.0, None)
    assert [use.duty for use in seen.outputs] == [Duty.COOL]


def test_a_schedule_without_end_is_watched_for_a_fortnight() -> None:
    changes = (
        Change(parse_calendar_time("07:00"), 12.0),
        Change(parse_calendar_time("19:00"), 10.0),
    )
    seen = rehearse(
        plan(Profile("cellar", (Schedule(changes),)), batch=WATER), period_s=QUICK_PERIOD_S
    )
    assert seen.finished
    assert seen.lasted_s == pytest.approx(14 * DAY_S, abs=600.0)
    targets = {(one.heat_c, one.cool_c) for one in seen.trace}
    assert targets == {(12.0, 12.0), (10.0, 10.0)}


def test_an_air_limit_that_holds_the_cooling_off_is_named() -> None:
    limits = LimitSettings(air_lowest_c=3.0)
    profile = Profile("crash", (Ramp(2.0, 12.0), FinalHold(2.0)))
    tight = plan(profile, batch=WATER, beer_c=14.0, room=25.0, settings=fridge(limits=limits))
    held = {one.held_by for one in rehearse(tight).shortfalls}
    assert Rule.AIR_LIMIT in held


def test_without_an_air_probe_and_on_a_circuit_it_is_rehearsed_as_well() -> None:
    bare = fridge(air_probe=None)
    outputs = tuple(replace(out, circuit="wall", rated_a=1.0) for out in bare.outputs)
    one = plan(
        HOLD,
        settings=replace(bare, outputs=outputs),
        circuits=(CircuitSettings("wall", 1.5),),
        room=GARAGE,
    )
    seen = rehearse(one)
    assert seen.broken == ()
    assert seen.in_band_share > 0.95


def test_the_yeast_makes_its_heat_in_the_rehearsal_and_a_finished_beer_makes_none() -> None:
    heat_j = sum(one.yeast_w * 600.0 for one in lager().trace)
    # 20 l of 12 °P down to 2.5: about a megajoule (see the published checks of its heat).
    assert 0.9e6 < heat_j < 1.3e6
    finished = rehearse(plan(HOLD, batch=WATER, room=GARAGE))
    assert all(one.yeast_w == 0.0 for one in finished.trace)


def test_an_estimate_knows_what_the_beer_and_a_person_take() -> None:
    steps = (
        Jump(4.0),
        Soak(2.0, DAY_S),
        WaitForPerson(2.0, "bottles"),
        FinalHold(2.0),
    )
    unsure = plan(Profile("unsure", steps), batch=WATER, beer_c=18.0, confirm_after_s=2 * HOUR_S)
    assert needs_estimate(unsure.profile)
    found = estimate(unsure)
    exact = rehearse(unsure)
    assert found.never_ends is None
    assert found.taken_s[0] == pytest.approx(exact.steps[1].entered_utc_s - MARCH_S, rel=0.1)
    assert found.taken_s[1] > 0.5 * HOUR_S
    assert found.taken_s[2] == pytest.approx(2 * HOUR_S, abs=600.0)
    assert estimate(plan(HOLD)).taken_s == {}


def test_starts_in_an_hour_are_counted_over_any_hour_and_not_by_the_clock() -> None:
    assert most_starts_in_an_hour([]) == 0
    assert most_starts_in_an_hour([0.0, 1800.0, 3599.0, 3600.0, 7300.0]) == 3
    runs = [OnTime(Duty.COOL, 0.0, 600.0), OnTime(Duty.COOL, 1800.0, 3600.0)]
    use = output_use(Duty.COOL, "fridge", runs, 100.0, 3600.0)
    # The second one goes on at the end: it has no length to be the shortest.
    assert (use.starts, use.shortest_off_s, use.shortest_run_s) == (2, 1200.0, 600.0)
    assert use.kwh == pytest.approx(2400.0 * 100.0 / 3.6e6)
