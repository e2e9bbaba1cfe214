"""A simulated chamber does what a brewer sees a real one do."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fermd.physics.cabinet import Cabinet
from fermd.physics.parameters import ChamberParameters
from fermd.physics.thermal import Drive, ThermalModel, ThermalState
from fermd.physics.vessel import Heater, ProbePlacing

ROOM_C = 22.0


def _run(
    model: ThermalModel, state: ThermalState, drive: Drive, seconds: int
) -> list[ThermalState]:
    states = []
    for _ in range(seconds):
        state, _ = model.advance(state, drive, 1.0)
        states.append(state)
    return states


def test_air_and_beer_go_on_falling_after_the_compressor_has_stopped() -> None:
    model = ThermalModel(ChamberParameters())
    stop = _run(model, model.settled(ROOM_C, 12.0), Drive(ROOM_C, cooling=True), 180)[-1]
    after = _run(model, stop, Drive(ROOM_C), 3600)
    coldest_air = min(range(3600), key=lambda second: after[second].air_c)
    assert stop.air_c - after[coldest_air].air_c > 0.3
    assert 30 < coldest_air < 300

    long_run_stop = _run(model, stop, Drive(ROOM_C, cooling=True), 1200)[-1]
    after = _run(model, long_run_stop, Drive(ROOM_C), 7200)
    coldest_beer = min(range(7200), key=lambda second: after[second].beer_c)
    assert long_run_stop.beer_c - after[coldest_beer].beer_c > 0.2
    assert coldest_beer > 1200


def test_the_coast_comes_from_the_cold_stored_in_the_evaporator() -> None:
    def coast_k(evaporator_j_per_k: float) -> float:
        network = replace(ChamberParameters().network(), evaporator_j_per_k=evaporator_j_per_k)
        model = ThermalModel(network)
        stop = _run(model, model.settled(ROOM_C, 12.0), Drive(ROOM_C, cooling=True), 180)[-1]
        return stop.air_c - min(state.air_c for state in _run(model, stop, Drive(ROOM_C), 900))

    assert coast_k(1400.0) > 4 * coast_k(50.0)


def test_beer_goes_on_warming_after_the_heater_is_off() -> None:
    parameters = ChamberParameters()
    model = ThermalModel(parameters)
    stop = _run(model, model.settled(12.0, 12.0), Drive(12.0, heating=True), 1800)[-1]
    assert stop.heater_c - stop.vessel_wall_c > 10.0
    after = _run(model, stop, Drive(12.0), 900)
    assert max(state.beer_c for state in after) > stop.beer_c + 0.02
    # What comes after is some of what the belt and the rest were warmer than the beer.
    held_j = model.stored_j(ThermalState(*(temp_c - stop.beer_c for temp_c in stop)))
    beer_j_per_k = parameters.network().beer_j_per_k
    assert max(state.beer_c for state in after) < stop.beer_c + held_j / beer_j_per_k


def test_a_tube_heater_warms_the_air_before_the_beer() -> None:
    tube = ThermalModel(ChamberParameters(heater=Heater.tube(60.0)))
    state = _run(tube, tube.settled(12.0, 12.0), Drive(12.0, heating=True), 1800)[-1]
    assert state.air_c > state.beer_c + 3.0


def test_an_open_door_lets_the_room_into_the_air_at_once_and_into_the_beer_slowly() -> None:
    model = ThermalModel(ChamberParameters())
    cold = model.settled(4.0, 4.0)
    opened = _run(model, cold, Drive(ROOM_C, door_open=True), 60)[-1]
    assert opened.air_c > 18.0
    assert opened.beer_c < 4.1


def test_a_chests_open_lid_lets_in_far_less_than_a_door() -> None:
    upright = ChamberParameters().network()
    chest = ChamberParameters.for_batch(cabinet=Cabinet.chest()).network()
    assert chest.door_w_per_k < upright.door_w_per_k / 5.0


def test_the_fan_brings_the_beer_down_faster() -> None:
    model = ThermalModel(ChamberParameters())
    start = model.settled(20.0, 20.0)
    still, _ = model.advance(start, Drive(ROOM_C, cooling=True), 4 * 3600.0)
    stirred, _ = model.advance(start, Drive(ROOM_C, cooling=True, fan=True), 4 * 3600.0)
    assert stirred.beer_c < still.beer_c - 0.5


def test_fermentation_warms_the_beer_above_its_chamber() -> None:
    model = ThermalModel(ChamberParameters())
    state = model.steady(Drive(ambient_c=18.0, fermentation_w=5.0))
    assert state.beer_c > state.vessel_wall_c > state.air_c > 18.0


def test_half_the_beer_cools_faster() -> None:
    whole = ThermalModel(ChamberParameters.for_batch(volume_l=20.0, fill=0.8))
    half = ThermalModel(ChamberParameters.for_batch(volume_l=10.0, fill=0.4))
    drive = Drive(ROOM_C, cooling=True)
    fallen = [
        20.0 - model.advance(model.settled(20.0, 20.0), drive, 3 * 3600.0)[0].beer_c
        for model in (whole, half)
    ]
    assert fallen[1] > 1.2 * fallen[0]


@pytest.mark.parametrize(("placement", "lag_s"), [(1.0, 41.0), (0.0, 156.0)])
def test_a_vessel_probe_follows_its_place_with_its_lag(placement: float, lag_s: float) -> None:
    network = ChamberParameters(probes=ProbePlacing(placement=placement)).network()
    assert network.vessel_probe_lag_s == pytest.approx(lag_s, rel=0.02)
    model = ThermalModel(network)
    start = model.settled(15.0, 15.0)._replace(vessel_probe_c=25.0)
    after, _ = model.advance(start, Drive(15.0), network.vessel_probe_lag_s)
    assert after.vessel_probe_c - 15.0 == pytest.approx(10.0 / 2.718281828, rel=1e-6)


def test_a_taped_probe_reads_towards_wall_and_air_and_a_thermowell_reads_the_beer() -> None:
    drive = Drive(ambient_c=25.0, fermentation_w=6.0, cooling=True)
    readings = {}
    for placement in (0.0, 0.5, 1.0):
        model = ThermalModel(ChamberParameters(probes=ProbePlacing(placement=placement)))
        state = model.steady(drive)
        readings[placement] = state.vessel_probe_c
        assert state.air_c < state.vessel_wall_c < state.beer_c
    assert readings[1.0] == pytest.approx(state.beer_c)
    assert readings[0.0] == pytest.approx(
        0.945 * state.vessel_wall_c + 0.055 * state.air_c, abs=1e-9
    )
    assert readings[0.0] < readings[0.5] < readings[1.0]


def test_the_air_probe_lags_minutes_in_still_air_and_less_in_stirred_air() -> None:
    network = ChamberParameters().network()
    assert 200.0 < network.still.air_probe_lag_s < 400.0
    assert 30.0 < network.stirred.air_probe_lag_s < 80.0


def test_electricity_is_counted_for_compressor_heater_and_fan() -> None:
    model = ThermalModel(ChamberParameters())
    state = model.settled(20.0, 20.0)
    _, flows = model.advance(state, Drive(20.0, cooling=True, fan=True), 3600.0)
    assert flows.electric_j == pytest.approx((110.0 / 1.6 + 2.0) * 3600.0)
    _, flows = model.advance(state, Drive(20.0, heating=True), 3600.0)
    assert flows.electric_j == pytest.approx(30.0 * 3600.0)
    _, flows = model.advance(state, Drive(20.0), 3600.0)
    assert flows.electric_j == 0.0


@pytest.mark.parametrize("room_c", [10.0, 25.0])
@pytest.mark.parametrize("cooling", [False, True])
def test_beer_that_passes_through_a_temperature_moves_as_fast_as_the_held_state_says(
    room_c: float, cooling: bool
) -> None:
    model = ThermalModel(ChamberParameters())
    drive = Drive(room_c, 5.0, cooling=cooling, heating=not cooling)
    held = model.held(drive, 12.0)
    assert held.beer_c == pytest.approx(12.0)
    rate_c_per_h = (model.beer_gains_w(held) + 5.0) / model.moved_j_per_k(drive) * 3600.0
    # The same, run: from far enough away that what is around the beer has come to its own rest.
    sign = 1.0 if rate_c_per_h > 0 else -1.0
    state, before_c, minutes = model.settled(room_c, 12.0 - 4.0 * sign), 0.0, 0
    while sign * (state.beer_c - 12.0) < 0.0:
        before_c = state.beer_c
        state, _ = model.advance(state, drive, 60.0)
        minutes += 1
    assert minutes > 120
    assert (state.beer_c - before_c) * 60.0 == pytest.approx(rate_c_per_h, rel=0.02)


def test_at_rest_the_compressor_takes_out_what_leaks_in() -> None:
    model = ThermalModel(ChamberParameters())
    rest = model.steady(Drive(ROOM_C, 3.0, cooling=True))
    assert model.cooling_w(rest) == pytest.approx(model.leak_w(rest, ROOM_C) + 3.0)
    assert model.beer_gains_w(rest) == pytest.approx(-3.0)
    off = model.steady(Drive(ROOM_C))
    assert model.leak_w(off, ROOM_C) == pytest.approx(0.0, abs=1e-9)
