"""A review names what was done to a chamber, from the journal alone: a short run of causes.py."""

from __future__ import annotations

import pytest
from causes import Tally, judge
from causes_score import right_causes
from causes_worlds import PLANTED, calm_world, with_fault

SHORT = {3: ("door left open", "fridge stops cooling", "probes swapped")}
"""Seeds and faults of the short run; how the long one goes: `causes.py --worlds 12`."""


@pytest.mark.parametrize("seed", sorted(SHORT))
def test_planted_faults_are_named_by_what_they_are(seed: int) -> None:
    tally = Tally()
    judge(seed, SHORT[seed], tally)
    assert len(tally.verdicts) + sum(tally.without_trace.values()) == len(SHORT[seed])
    assert [one.told() for one in tally.misses] == []


def test_every_fault_that_is_planted_has_a_right_name() -> None:
    world = calm_world(1)
    for kind in PLANTED:
        planted = with_fault(world, kind, 0)
        if planted is not None and not kind.startswith(("disk", "journal")):
            assert right_causes(planted.script[-1])
