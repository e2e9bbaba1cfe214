"""A review names what was done to a chamber, from the journal alone: a short run of causes.py."""

from __future__ import annotations

from pathlib import Path

import pytest
from causes import Tally, judge
from causes_score import right_causes
from causes_worlds import PLANTED, calm_world, with_fault

SHORT = {7: ("door left open", "relay stuck on", "probes swapped")}
"""Seeds and faults of the short run, which all leave a trace; how the long one goes: `causes.py
--worlds 12`."""

AFTER_S = 2.5 * 3600.0
"""A fault is to be named within an hour of its end, s; what comes later takes time to live."""


@pytest.mark.parametrize("seed", sorted(SHORT))
def test_planted_faults_are_named_by_what_they_are(seed: int, tmp_path: Path) -> None:
    tally = Tally()
    judge(seed, SHORT[seed], tally, tmp_path, AFTER_S)
    assert len(tally.verdicts) == len(SHORT[seed])
    assert [one.told() for one in tally.misses] == []


def test_every_fault_that_is_planted_has_a_right_name() -> None:
    world = calm_world(1)
    for kind in PLANTED:
        planted = with_fault(world, kind, 0)
        if planted is not None and not kind.startswith(("disk", "journal")):
            assert right_causes(planted.script[-1])
