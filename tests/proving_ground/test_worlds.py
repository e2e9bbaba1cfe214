"""A fixed set of short worlds, in which every kind of fault is injected: no promise is broken.

Long runs are a command: `python tests/proving_ground/prove.py --worlds 100 --first-seed 1`.
"""

from __future__ import annotations

from collections import Counter

import faults
import pytest
from checks import prove
from prove import command_of
from world import Scale, world_of

SEEDS = (1, 2, 3, 4, 5, 8, 11, 12)

INJECTED: Counter[str] = Counter()
"""What the worlds below have injected so far."""


@pytest.mark.parametrize("seed", SEEDS)
def test_no_promise_is_broken(seed: int) -> None:
    world = world_of(seed, Scale.SHORT)
    outcome, broken = prove(world)
    INJECTED.update(outcome.truth.injected)
    told = [one.told(world.start_utc_s) for one in broken]
    assert told == [], f"again with: {command_of(world)} --shrink"
    assert outcome.truth.switchings, "a world in which nothing was ever switched proves nothing"


def test_every_kind_of_fault_is_in_the_scripts_of_the_set() -> None:
    worlds = [world_of(seed, Scale.SHORT) for seed in SEEDS]
    scripted = {entry.kind for world in worlds for entry in world.script}
    assert scripted >= set(faults.KINDS)
    assert any(world.changes_of_clocks for world in worlds)
    if len(INJECTED) > 1:
        # Unless the test was picked out by itself: all of them were truly injected.
        assert set(INJECTED) >= {*faults.KINDS, faults.DST}
