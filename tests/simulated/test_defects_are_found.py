"""A core with one rule left out writes a journal that the replay finds it by: rows do not lie.

Each defect is tried in a batch in which the rule matters; the real core comes through the same
batch with every promise kept.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from batch_rig import DAY_S, FRIDGE, HOUR_S, VESSEL_ID, Batch, simulated_site

from fermd.control import alarms, chamber, effect, protection, safety
from fermd.control.alarms import RULES, AlarmKind
from fermd.control.reading import ProbeFault
from fermd.control.settings import Duty
from fermd.review.invariants import violations

Patch = pytest.MonkeyPatch


def nothing(*_: object, **__: object) -> None:
    """A rule that never holds."""


def leaves_out(module: Any, rule: str) -> Callable[[Patch], None]:
    return lambda patch: patch.setattr(module, rule, nothing)


def starts_at_once_after_a_restart(patch: Patch) -> None:
    """Takes what it does not know for "never ran"."""
    patch.setattr(
        protection, "unknown_history", lambda *_: protection.History(on=False, starts_mono_s=())
    )


def forgets_the_opposite(patch: Patch) -> None:
    real = chamber._surroundings

    def alone(*args: Any) -> Any:
        return replace(real(*args), other_on=False, other_stopped_mono_s=None)

    patch.setattr(chamber, "_surroundings", alone)


def goes_on_without_a_vessel_probe(patch: Patch) -> None:
    patch.setattr(safety, "_fail_safe", nothing)
    patch.setattr(
        chamber,
        "_call",
        lambda *_: chamber.Called(chamber.Call.COOL, chamber.Reason(chamber.Rule.OVERRIDE)),
    )


def raises_no_alarm_about_a_probe(patch: Patch) -> None:
    late = replace(RULES[AlarmKind.VESSEL_PROBE_LOST], raise_after_s=1e9)
    patch.setattr(alarms, "RULES", {**RULES, AlarmKind.VESSEL_PROBE_LOST: late})


def finds_no_output_without_effect(patch: Patch) -> None:
    patch.setattr(chamber, "watch", lambda *_, **__: (None, None))


# --- batches in which a rule matters -------------------------------------------------------------


def short_cycles(batch: Batch) -> None:
    """A compressor that is called for, and not, by hand, every few minutes."""
    from fermd.control.commands import EndOverride, OverrideOutput

    batch.hold(10.0)
    batch.run_for(2 * HOUR_S)
    for number in range(40):
        on = number % 2 == 0
        batch.ask(OverrideOutput(Duty.COOL, on, 3600.0, "brewer"))
        batch.run_for(180.0)
    batch.ask(EndOverride("brewer"))


def warm_then_cold(batch: Batch) -> None:
    """From heat to cooling and back, at once."""
    batch.hold(10.0)
    batch.run_for(2 * HOUR_S)
    for target_c in (20.0, 4.0) * 4:
        batch.hold(target_c)
        batch.run_for(0.5 * HOUR_S)


def restarts(batch: Batch) -> None:
    batch.hold(2.0)
    for _ in range(4):
        batch.run_for(0.5 * HOUR_S)
        batch.power_cut(10.0)
    batch.run_for(HOUR_S)


def loses_its_probe(batch: Batch) -> None:
    batch.hold(2.0)
    batch.run_for(3 * HOUR_S)
    batch.board.probes.break_probe(VESSEL_ID, ProbeFault.DISCONNECTED)
    batch.run_for(3 * HOUR_S)


def pulls_down_for_days(batch: Batch) -> None:
    batch.hold(-1.0)
    batch.run_for(2 * DAY_S)


def cools_with_a_dead_fridge(batch: Batch) -> None:
    batch.hold(10.0)
    batch.run_for(2 * HOUR_S)
    batch.board.relays.stick(FRIDGE, on=False)
    batch.run_for(14 * HOUR_S)


WARM_ROOM = {"ambient_c": 22, "start_c": 12}
WEAK = {"ambient_c": 28, "start_c": 20, "cooler_w": 35}
STRONG = {"ambient_c": 20, "start_c": 4, "cooler_w": 800, "original_extract_p": 0}

DEFECTS = [
    (leaves_out(protection, "_minimum_off"), short_cycles, WARM_ROOM, "minimum off time"),
    (leaves_out(protection, "_starts_per_hour"), short_cycles, WARM_ROOM, "starts per hour"),
    (forgets_the_opposite, warm_then_cold, WARM_ROOM, "changeover delay"),
    (starts_at_once_after_a_restart, restarts, WARM_ROOM, "minimum off time"),
    (goes_on_without_a_vessel_probe, loses_its_probe, WARM_ROOM, "fail-safe"),
    (raises_no_alarm_about_a_probe, loses_its_probe, WARM_ROOM, "alarm raised"),
    (leaves_out(protection, "_longest_run"), pulls_down_for_days, WEAK, "longest run"),
    (leaves_out(safety, "_air_limit"), pulls_down_for_days, STRONG, "lowest air temperature"),
    (finds_no_output_without_effect, cools_with_a_dead_fridge, WARM_ROOM, "off without effect"),
]
IDS = [
    "minimum off",
    "starts per hour",
    "changeover",
    "unknown past",
    "fail-safe",
    "alarm",
    "longest run",
    "air limit",
    "effect",
]


@pytest.mark.parametrize(("defect", "lived", "trial", "promise"), DEFECTS, ids=IDS)
def test_a_defect_of_the_core_is_found_in_its_journal(
    tmp_path: Path,
    monkeypatch: Patch,
    defect: Callable[[Patch], None],
    lived: Callable[[Batch], None],
    trial: dict[str, float],
    promise: str,
) -> None:
    defect(monkeypatch)
    site = simulated_site(**{"ambient_swing_c": 0, **trial})
    batch = Batch(tmp_path, site)
    lived(batch)
    found = violations(batch.ends(), site.settings, site.sample_period_s)
    assert promise in {broken.promise for broken in found}


@pytest.mark.parametrize(
    ("lived", "trial"),
    [
        (short_cycles, WARM_ROOM),
        (warm_then_cold, WARM_ROOM),
        (restarts, WARM_ROOM),
        (loses_its_probe, WARM_ROOM),
        (pulls_down_for_days, WEAK),
        (pulls_down_for_days, STRONG),
        (cools_with_a_dead_fridge, WARM_ROOM),
    ],
    ids=lambda value: value.__name__ if callable(value) else "",
)
def test_the_real_core_comes_through_the_same_with_every_promise_kept(
    tmp_path: Path, lived: Callable[[Batch], None], trial: dict[str, float]
) -> None:
    site = simulated_site(**{"ambient_swing_c": 0, **trial})
    batch = Batch(tmp_path, site)
    lived(batch)
    assert violations(batch.ends(), site.settings, site.sample_period_s) == []


def test_the_watcher_is_where_the_defect_takes_it_from() -> None:
    """Else the defect above would change nothing."""
    assert chamber.watch is effect.watch
