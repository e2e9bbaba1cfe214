"""A failing world is made short, and can be told and read again."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import script
from checks import prove
from defects import locks_nothing, planted
from script import Entry, from_json, to_json
from shrink import ddmin, shrink
from world import Scale, world_of

from fermd.control.settings import HOUR_S


def test_what_fails_is_cut_down_to_the_members_that_it_takes() -> None:
    tried: list[tuple[int, ...]] = []

    def fails(part: tuple[int, ...]) -> bool:
        tried.append(part)
        return 3 in part and 17 in part

    assert ddmin(tuple(range(20)), fails) == (3, 17)
    assert len(tried) < 60


def test_what_fails_whatever_is_done_needs_no_script_at_all() -> None:
    assert ddmin(tuple(range(20)), lambda _: True) == ()


def test_no_member_of_what_is_left_can_be_left_out() -> None:
    wanted = {1, 4, 5, 11}
    found = ddmin(tuple(range(16)), lambda part: wanted <= set(part))
    assert set(found) == wanted


def test_a_failing_world_shrinks_to_the_one_fault_that_matters() -> None:
    whole = world_of(1, Scale.SHORT)
    kinds = ("second daemon", "door left open")
    entries = [
        Entry(3600.0 + 600.0 * place, kind, {"chamber": "chamber-1", "lasts_s": 60.0})
        for place, kind in enumerate(kinds)
    ]
    world = replace(whole, script=(*whole.script[:1], *entries), span_s=3 * HOUR_S)
    with planted(locks_nothing):
        _, broken = prove(world)
        found = shrink(world, broken[0].promise)
    assert [entry.kind for entry in found.script] == ["second daemon"]
    assert found.script == tuple(world.script[number] for number in found.numbers)


def test_a_script_survives_a_file(tmp_path: Path) -> None:
    world = world_of(5, Scale.SHORT)
    path = tmp_path / "script.json"
    path.write_text(to_json(world.script), encoding="utf-8")
    assert script.read(path) == world.script
    with pytest.raises(ValueError, match="Expecting"):
        from_json("[[")


def test_the_same_seed_makes_the_same_world_and_the_same_life() -> None:
    world = replace(world_of(7, Scale.SHORT), span_s=12 * HOUR_S)
    again = replace(world_of(7, Scale.SHORT), span_s=12 * HOUR_S)
    assert (world.site, world.script) == (again.site, again.script)
    first, second = prove(world)[0], prove(again)[0]
    assert first.truth.switchings == second.truth.switchings
    assert first.committed == second.committed
    assert first.ticks == second.ticks
