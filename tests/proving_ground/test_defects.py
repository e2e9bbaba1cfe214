"""The proving ground can fail: deliberate defects, some for each invariant, are each found.

The same is done, with the worlds clean without them, by
`python tests/proving_ground/prove.py --defects`.
"""

from __future__ import annotations

import pytest
from checks import prove
from defects import DEFECTS, Defect, planted

LEAST_DEFECTS = 30
"""More than the list of what must never happen has promises: each can be broken in several ways."""


def test_there_are_defects_of_every_invariant() -> None:
    assert len(DEFECTS) >= LEAST_DEFECTS
    assert {defect.invariant for defect in DEFECTS} == set(range(1, 11))


@pytest.mark.parametrize("defect", DEFECTS, ids=[defect.name for defect in DEFECTS])
def test_a_defect_is_found(defect: Defect) -> None:
    with planted(defect.plant):
        _, broken = prove(defect.world())
    assert defect.invariant in {one.invariant for one in broken}


@pytest.mark.parametrize(
    "shown", {defect.shown: defect for defect in DEFECTS}.values(), ids=lambda one: str(one.shown)
)
def test_the_same_world_is_clean_without_it(shown: Defect) -> None:
    world = shown.world()
    _, broken = prove(world)
    assert [one.told(world.start_utc_s) for one in broken] == []
