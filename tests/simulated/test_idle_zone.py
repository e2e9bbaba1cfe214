"""Heating and cooling have an idle zone between them, and neither makes up for the other."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from batch_rig import DAY_S, HOUR_S, Batch, broken_promises, simulated_site

from fermd.control.settings import Duty


def test_in_a_warm_room_a_cold_hold_never_starts_the_heater(tmp_path: Path) -> None:
    """Ten degrees in a room of twenty, with a fermentation in full: only ever too warm."""
    site = simulated_site(ambient_c=20, ambient_swing_c=0, start_c=10, original_extract_p=12)
    batch = Batch(tmp_path, site)
    batch.hold(10.0)
    batch.run_for(3 * DAY_S)
    assert batch.starts_after(HOUR_S, Duty.HEAT) == []
    assert len(batch.starts_after(HOUR_S, Duty.COOL)) > 20
    assert batch.beer_c == pytest.approx(10.0, abs=0.7)
    assert broken_promises(batch.ends(), site) == []


def test_in_a_cold_room_beer_that_is_done_is_never_cooled(tmp_path: Path) -> None:
    """Twenty degrees in a room of ten, with water in the vessel: only ever too cold."""
    site = simulated_site(ambient_c=10, ambient_swing_c=0, start_c=20, original_extract_p=0)
    batch = Batch(tmp_path, site)
    batch.hold(20.0)
    batch.run_for(3 * DAY_S)
    assert batch.starts_after(0.0, Duty.COOL) == []
    assert len(batch.starts_after(HOUR_S, Duty.HEAT)) > 5
    assert batch.beer_c == pytest.approx(20.0, abs=0.8)
    assert broken_promises(batch.ends(), site) == []


@pytest.mark.parametrize(
    ("room_c", "start_c", "target_c", "never"),
    [(20.0, 18.0, 10.0, Duty.HEAT), (20.0, 18.0, 2.0, Duty.HEAT), (8.0, 10.0, 20.0, Duty.COOL)],
    ids=["pulled down", "crashed", "warmed up"],
)
def test_a_beer_that_is_on_its_way_does_not_overshoot_into_the_other_side(
    tmp_path: Path, room_c: float, start_c: float, target_c: float, never: Duty
) -> None:
    site = simulated_site(
        ambient_c=room_c, ambient_swing_c=0, start_c=start_c, original_extract_p=0
    )
    batch = Batch(tmp_path, site)
    batch.hold(target_c)
    batch.run_for(3 * DAY_S)
    assert batch.starts_after(0.0, never) == []
    assert batch.beer_c == pytest.approx(target_c, abs=0.8)


@pytest.mark.parametrize(("room_c", "start_c"), [(15.0, 14.0), (13.0, 14.0)])
def test_a_cellar_little_colder_than_its_room_is_not_heated_after_it_was_cooled(
    tmp_path: Path, room_c: float, start_c: float
) -> None:
    """Twelve degrees in a room that is warmer: whatever is too cold comes from the fridge."""
    site = simulated_site(
        ambient_c=room_c, ambient_swing_c=0, start_c=start_c, original_extract_p=0
    )
    batch = Batch(tmp_path, site)
    batch.hold(12.0)
    batch.run_for(DAY_S)
    assert batch.starts_after(0.0, Duty.HEAT) == []


def test_a_room_that_crosses_the_target_day_by_day_does_not_make_them_alternate(
    tmp_path: Path,
) -> None:
    """Warm by day and cold by night: each side works in its half of the day at the most."""
    site = simulated_site(ambient_c=15, ambient_swing_c=8, start_c=15, original_extract_p=0)
    batch = Batch(tmp_path, site)
    batch.hold(15.0)
    batch.run_for(4 * DAY_S)
    duties = [change.duty for _, change in batch.switched if change.on]
    changes = sum(a is not b for a, b in pairwise(duties))
    assert {Duty.HEAT, Duty.COOL} == set(duties)
    assert changes <= 2 * 4
    assert broken_promises(batch.ends(), site) == []
