"""The target's track in the record: a ramp is told by its two ends, and nothing is told twice."""

from __future__ import annotations

from chamber_bench import Bench, settings

from fermd.control.commands import SkipStep, StartProfile
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
