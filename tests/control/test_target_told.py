"""The target's track in the record: a ramp is told by its two ends, and nothing is told twice."""

from __future__ import annotations

from chamber_bench import Bench, settings, unprotected

from fermd.control.commands import (
    ChangeRest,
    ChangeStepTarget,
    PauseProfile,
    ResumeProfile,
    ReturnToPlan,
    SetTarget,
    SkipStep,
    StartProfile,
)
from fermd.control.events import TargetChanged
from fermd.control.steps import FreeRise, Hold, Profile, Ramp

DAY_S = 86400.0


def told(bench: Bench) -> list[tuple[float | None, float | None]]:
    return [(e.heat_c, e.cool_c) for e in bench.events if isinstance(e, TargetChanged)]


def running(*steps: Hold | Ramp | FreeRise) -> Bench:
    bench = Bench(settings(), vessel_c=18.0)
    bench.run(60.0)
    bench.tick(StartProfile(Profile("told", steps)))
    return bench


def test_a_ramps_end_is_told_before_the_target_of_the_step_after_it() -> None:
    bench = running(Hold(18.0, 600.0), Ramp(17.0, 24.0), FreeRise(15.0, 20.0, DAY_S))
    bench.run(2 * 3600.0)
    assert told(bench) == [(18.0, 18.0), (17.0, 17.0), (15.0, 20.0)]


def test_a_ramp_that_is_skipped_at_once_has_moved_nothing_to_tell_of() -> None:
    bench = running(Hold(18.0, DAY_S), Ramp(10.0, 1.0), Hold(18.0, DAY_S))
    bench.tick(SkipStep(), after_s=0.0)
    bench.tick(SkipStep(), after_s=0.0)
    bench.run(600.0)
    assert told(bench) == [(18.0, 18.0)]


def test_of_a_short_profile_every_target_is_told_once_and_with_its_source() -> None:
    bench = Bench(unprotected(), vessel_c=18.0)
    bench.run(60.0)
    bench.tick(SetTarget(18.0))
    steps = (
        Hold(18.0, 20.0),
        Ramp(17.75, 432.0),
        Hold(17.75, 20.0),
        Ramp(17.5, 432.0),
        FreeRise(15.0, 20.0, 20.0),
        Hold(20.0, 20.0),
    )
    bench.tick(StartProfile(Profile("told", steps)), after_s=0.0)
    bench.run(230.0)
    assert [
        (e.heat_c, e.cool_c, e.source) for e in bench.events if isinstance(e, TargetChanged)
    ] == [
        (18.0, 18.0, "hand"),
        (18.0, 18.0, "profile"),
        (17.75, 17.75, "profile"),
        (17.5, 17.5, "profile"),
        (15.0, 20.0, "profile"),
        (20.0, 20.0, "profile"),
        (20.0, 20.0, "hand"),
    ]
    assert (bench.state.told_index, bench.state.told_source) == (-1, "hand")


def test_of_a_ramp_that_is_paused_the_target_that_it_has_come_to_is_told() -> None:
    bench = Bench(unprotected(), vessel_c=18.0)
    bench.run(60.0)
    bench.tick(StartProfile(Profile("told", (Ramp(10.0, 480.0),))), after_s=0.0)
    bench.run(90.0)
    bench.tick(PauseProfile(), after_s=0.0)
    bench.run(30.0)
    bench.tick(ResumeProfile(), after_s=0.0)
    bench.run(90.0)
    assert [
        (e.heat_c, e.cool_c, e.source) for e in bench.events if isinstance(e, TargetChanged)
    ] == [(18.0, 18.0, "profile"), (17.5, 17.5, "hand"), (17.5, 17.5, "profile")]


def test_the_end_of_a_ramp_that_comes_first_is_told_too() -> None:
    bench = running(Ramp(17.75, 432.0), FreeRise(15.0, 20.0, DAY_S))
    bench.run(60.0)
    assert told(bench)[1:] == [(17.75, 17.75), (15.0, 20.0)]


def test_a_step_beyond_the_plan_that_is_gone_back_to_was_no_ramp_of_it() -> None:
    bench = running(Hold(18.0, DAY_S), Hold(17.0, DAY_S))
    bench.tick(ChangeRest(Profile("rest", (Hold(16.0, DAY_S), Hold(15.0, DAY_S)))))
    for command in (SkipStep(), SkipStep(), ReturnToPlan()):
        bench.tick(command)
    assert told(bench) == [(18.0, 18.0), (16.0, 16.0), (15.0, 15.0), (17.0, 17.0)]


def test_another_target_for_the_present_step_is_told() -> None:
    bench = running(Hold(18.0, DAY_S))
    bench.tick(ChangeStepTarget(16.0))
    assert told(bench) == [(18.0, 18.0), (16.0, 16.0)]
