"""A review names what was done to a chamber, from the journal alone: a short run of causes.py."""

from __future__ import annotations

from pathlib import Path

import pytest
from causes import Tally, judge
from causes_score import Verdict, right_causes
from causes_worlds import PLANTED, calm_world, with_fault
from script import Entry

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


def test_what_only_the_air_of_a_chamber_without_a_probe_there_shows_cannot_be_seen() -> None:
    fault = Entry(0.0, "door left open", {"chamber": "chamber-1", "lasts_s": 120.0})
    in_air, in_beer = (0.1, 6.9), (0.4, 0.0)
    assert Verdict(fault, *in_air, None).could_be_seen
    unseen = Verdict(fault, *in_air, None, has_air_probe=False)
    assert unseen.left_a_trace
    assert not unseen.could_be_seen
    assert Verdict(fault, *in_beer, None, has_air_probe=False).could_be_seen
    assert not Verdict(fault, 0.1, 1.0, None).could_be_seen
