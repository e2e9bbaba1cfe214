"""The proving ground can fail: deliberate defects, at least one for each invariant, are each found.

Here a part of the list is planted, so that the tests stay short; the whole list, each with its
world clean without it, is `python tests/proving_ground/prove.py --defects`.
"""

from __future__ import annotations

import pytest
from checks import prove
from defects import DEFECTS, Defect, planted

LEAST_DEFECTS = 20


def _one_for_each_invariant() -> list[Defect]:
    """The first defect of each invariant, and every third of the others."""
    first = {}
    for defect in DEFECTS:
        first.setdefault(defect.invariant, defect)
    others = [defect for defect in DEFECTS if defect not in first.values()]
    return [*first.values(), *others[::3]]


PLANTED = _one_for_each_invariant()


def test_there_are_defects_of_every_invariant() -> None:
    assert len(DEFECTS) >= LEAST_DEFECTS
    assert {defect.invariant for defect in PLANTED} == set(range(1, 11))


@pytest.mark.parametrize("defect", PLANTED, ids=[defect.name for defect in PLANTED])
def test_a_defect_is_found(defect: Defect) -> None:
    with planted(defect.plant):
        _, broken = prove(defect.world())
    assert defect.invariant in {one.invariant for one in broken}


@pytest.mark.parametrize("seed", sorted({defect.seed for defect in PLANTED}))
def test_the_same_world_is_clean_without_it(seed: int) -> None:
    world = next(defect for defect in DEFECTS if defect.seed == seed).world()
    _, broken = prove(world)
    assert [one.told(world.start_utc_s) for one in broken] == []
