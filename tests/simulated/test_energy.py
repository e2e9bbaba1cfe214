"""What a hold costs is what leaks in, by closed forms that know nothing of a simulation in time.

The forms take the temperatures and the duty from the batch's own journal; conductances and powers
come from measures and materials of the cabinet.
"""

from __future__ import annotations

from math import exp
from pathlib import Path

import pytest
from batch_rig import DAY_S, Batch, broken_promises, simulated_site

from fermd.control.settings import Duty
from fermd.physics.cabinet import Cabinet, Cooler
from fermd.review.record import Record, Run, runs_of

LEAK_W_PER_K = Cabinet().leak_w_per_k + Cabinet().gasket_w_per_k
SETTLED_S = DAY_S
"""The first day is left out: foam, beer and cycle settle."""

WATER = {"original_extract_p": 0, "ambient_swing_c": 0}


def hold(folder: Path, target_c: float, room_c: float, **trial: float) -> Batch:
    """Four days of a hold at its target from the start."""
    site = simulated_site(**{**WATER, "ambient_c": room_c, "start_c": target_c, **trial})
    batch = Batch(folder, site)
    batch.hold(target_c)
    batch.run_for(4 * DAY_S)
    batch.ends()
    return batch


def mean_c(record: Record, probe: str, *, while_on: str | None = None) -> float:
    runs = runs_of(record, while_on) if while_on else []
    values = [
        bucket.mean_c
        for bucket in record.probes[probe]
        if bucket.at_s >= record.start_s + SETTLED_S
        and (
            while_on is None
            or any(run.end_s and run.start_s <= bucket.at_s <= run.end_s for run in runs)
        )
    ]
    return sum(values) / len(values)


def settled_runs(record: Record, duty: str) -> list[Run]:
    first_s = record.start_s + SETTLED_S
    return [run for run in runs_of(record, duty) if run.is_over and run.start_s > first_s]


def whole_cycles(record: Record, duty: str) -> tuple[float, float]:
    """Time on and time in all over whole cycles of the settled hold, s."""
    runs = settled_runs(record, duty)
    on_s = sum(run.end_s - run.start_s for run in runs[:-1] if run.end_s is not None)
    return on_s, runs[-1].start_s - runs[0].start_s


def cooling_w(record: Record) -> float:
    """The mean cooling power of the runs of a settled hold, by the balance of plate and vapour.

    With its evaporator at Te the compressor moves P = P0 + k Te watts, and the plate takes in
    G (Tair - Te). A plate of the heat capacity C that starts at the air's temperature comes to that
    balance with the time constant C / (G + k).
    """
    cooler = Cooler(rated_w=100.0, plate_m2=Cooler().plate_m2 * 100.0 / Cooler().rated_w)
    vapour_w_per_k = cooler.w_per_k
    plate_w_per_k = 2 * cooler.plate_m2 * cooler.film_w_per_m2_k + cooler.radiation_w_per_k
    air_c = mean_c(record, "air", while_on="cool")
    settled_w = (cooler.at_0c_w + vapour_w_per_k * air_c) / (1 + vapour_w_per_k / plate_w_per_k)
    first_w = cooler.at_0c_w + vapour_w_per_k * mean_c(record, "air")
    settles_s = cooler.heat_j_per_k / (plate_w_per_k + vapour_w_per_k)
    on_s, _ = whole_cycles(record, "cool")
    run_s = on_s / (len(settled_runs(record, "cool")) - 1)
    return settled_w + (first_w - settled_w) * settles_s / run_s * (1 - exp(-run_s / settles_s))


@pytest.mark.parametrize(("target_c", "room_c"), [(10.0, 20.0), (4.0, 25.0), (18.0, 28.0)])
def test_cooling_takes_out_what_leaks_in(tmp_path: Path, target_c: float, room_c: float) -> None:
    """Duty = leak / cooling power."""
    record = hold(tmp_path, target_c, room_c).record()
    leak_w = LEAK_W_PER_K * (room_c - mean_c(record, "air"))
    on_s, all_s = whole_cycles(record, "cool")
    assert on_s / all_s == pytest.approx(leak_w / cooling_w(record), rel=0.15)


@pytest.mark.parametrize(("target_c", "room_c"), [(20.0, 10.0), (28.0, 18.0)])
def test_heat_makes_up_for_what_leaks_out(tmp_path: Path, target_c: float, room_c: float) -> None:
    """Duty = leak / heater's power; the air that leaks is that of the chamber, not the beer."""
    batch = hold(tmp_path, target_c, room_c, heater_w=40)
    record = batch.record()
    leak_w = LEAK_W_PER_K * (mean_c(record, "air") - room_c)
    on_s, all_s = whole_cycles(record, "heat")
    assert on_s / all_s == pytest.approx(leak_w / 40.0, rel=0.15)


def test_a_hold_at_the_rooms_own_temperature_costs_nothing(tmp_path: Path) -> None:
    batch = hold(tmp_path, 15.0, 15.0)
    assert batch.switched == []
    assert batch.plant.electric_j == 0.0


def test_fermentation_is_carried_away_as_heat(tmp_path: Path) -> None:
    """The same hold with and without a batch: the difference is the heat of its extract.

    Real attenuation is 0.81 of the apparent one (Balling, from memory): of the 2.5 kg of extract in
    20 l of 12 °P that go down to 3 °P, 61 % ferment, each kg with 587 kJ (Briggs et al., Brewing:
    Science and Practice, 2004, from memory).
    """
    carried_j = {}
    for name, plato in (("still", 0.0), ("alive", 12.0)):
        (tmp_path / name).mkdir()
        batch = hold(tmp_path / name, 18.0, 22.0, original_extract_p=plato)
        # What the fridge takes away beyond what the room gives: the colder the cabinet, the more
        # leaks, so that the fridge's heat alone would say too much.
        carried_j[name] = batch.plant.cooled_j - batch.plant.leaked_j
    extract_kg = 20.0 * 1.048 * 0.12
    heat_j = extract_kg * 0.81 * 0.75 * 587e3
    assert carried_j["alive"] - carried_j["still"] == pytest.approx(heat_j, rel=0.25)


def test_a_weak_fridge_at_the_peak_of_a_fermentation_runs_on_and_the_beer_warms(
    tmp_path: Path,
) -> None:
    """No band helps where the power is missing: it runs all it may, and nobody is accused."""
    site = simulated_site(
        ambient_c=26, ambient_swing_c=0, start_c=18, cooler_w=20, original_extract_p=16
    )
    batch = Batch(tmp_path, site)
    batch.hold(14.0)
    batch.run_for(2 * DAY_S)
    assert batch.plant.running_s[Duty.COOL] > 0.85 * 2 * DAY_S
    assert batch.beer_c > 16.0
    assert batch.raised() >= {("longest-run", "fridge"), ("beer-too-warm", "")}
    assert ("no-effect", "fridge") not in batch.raised()
    assert broken_promises(batch.ends(), site) == []
