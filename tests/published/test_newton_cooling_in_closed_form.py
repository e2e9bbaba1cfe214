"""Newton's law of cooling, T(t) = Ta + (T0 - Ta) exp(-t/τ) with τ = m c / UA, in closed form."""

from __future__ import annotations

from math import exp, log

import pytest

from fermd.physics.network import AirFilms, Network
from fermd.physics.thermal import Drive, ThermalModel, ThermalState

_STIFF_W_PER_K = 1e5


def _lone_vessel(vessel_j_per_k: float, ua_w_per_k: float) -> ThermalModel:
    """A vessel alone: air and liner bound to the room, the wall to the beer, no other heat."""
    films = AirFilms(
        liner_w_per_k=0.0,
        evaporator_w_per_k=0.0,
        vessel_w_per_k=ua_w_per_k,
        air_probe_lag_s=1.0,
    )
    return ThermalModel(
        Network(
            air_j_per_k=1.0,
            liner_j_per_k=1.0,
            evaporator_j_per_k=1.0,
            heater_j_per_k=1.0,
            vessel_wall_j_per_k=1.0,
            # Belt and wall go with the beer.
            beer_j_per_k=vessel_j_per_k - 2.0,
            leak_w_per_k=1.0,
            gasket_w_per_k=_STIFF_W_PER_K,
            door_w_per_k=0.0,
            still=films,
            stirred=films,
            liner_evaporator_w_per_k=1.0,
            liner_vessel_w_per_k=0.0,
            heater_vessel_w_per_k=1.0,
            heater_air_w_per_k=0.0,
            vessel_beer_w_per_k=_STIFF_W_PER_K,
            cooling_at_0c_w=0.0,
            cooling_w_per_k=0.0,
            compressor_w=0.0,
            heater_w=0.0,
            fan_w=0.0,
            vessel_probe_lag_s=1.0,
            vessel_probe_beer_share=1.0,
            vessel_probe_air_share=0.0,
        )
    )


def _at(temp_c: float) -> ThermalState:
    return ThermalState(*[temp_c] * 8)


@pytest.mark.parametrize(
    ("kg", "j_per_kg_k", "ua_w_per_k", "start_c", "room_c", "expected"),
    [
        (
            20.0,
            4184.0,
            1.0,
            20.0,
            4.0,
            {1: 19.3263, 6: 16.3600, 12: 13.5480, 24: 9.6978, 48: 6.0291},
        ),
        (23.0, 4050.0, 2.0, 12.0, 2.0, {1: 11.2562, 6: 8.2891, 12: 5.9553, 24: 3.5644}),
    ],
)
def test_a_lone_vessel_cools_by_newtons_law(
    kg: float,
    j_per_kg_k: float,
    ua_w_per_k: float,
    start_c: float,
    room_c: float,
    expected: dict[int, float],
) -> None:
    model = _lone_vessel(kg * j_per_kg_k, ua_w_per_k)
    tau_s = kg * j_per_kg_k / ua_w_per_k
    state = _at(start_c)
    for hour in range(1, max(expected) + 1):
        state, _ = model.advance(state, Drive(ambient_c=room_c), 3600.0)
        closed_c = room_c + (start_c - room_c) * exp(-hour * 3600.0 / tau_s)
        assert state.beer_c == pytest.approx(closed_c, abs=2e-4)
        if hour in expected:
            assert state.beer_c == pytest.approx(expected[hour], abs=2e-4)


def test_half_of_the_difference_is_gone_after_tau_times_the_logarithm_of_two() -> None:
    model = _lone_vessel(20.0 * 4184.0, 1.0)
    state = _at(20.0)
    for _ in range(24):
        state, _ = model.advance(state, Drive(ambient_c=4.0), 83_680.0 * log(2.0) / 24)
    assert state.beer_c == pytest.approx(12.0, abs=1e-3)


def test_a_constant_heat_shifts_the_rest_by_heat_over_conductance() -> None:
    model = _lone_vessel(20.0 * 4184.0, 1.0)
    drive = Drive(ambient_c=4.0, fermentation_w=3.0)
    assert model.steady(drive).beer_c == pytest.approx(7.0, abs=1e-4)
    state = _at(20.0)
    for _ in range(24):
        state, _ = model.advance(state, drive, 3600.0)
    assert state.beer_c == pytest.approx(7.0 + 13.0 * exp(-86_400.0 / 83_680.0), abs=2e-4)
