"""The simulator against scipy's LSODA (Hindmarsh & Petzold), over a day of switching.

The right-hand side is written here from the heat balance of each body, not from the model's
matrix.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fermd.physics.cabinet import Cabinet
from fermd.physics.network import Network
from fermd.physics.parameters import ChamberParameters
from fermd.physics.thermal import Drive, ThermalModel


def _balances(n: Network, drive: Drive) -> Callable[[float, list[float]], list[float]]:
    films = n.stirred if drive.fan else n.still

    def rates(_: float, y: list[float]) -> list[float]:
        air, liner, evaporator, heater, wall, beer, vessel_probe, air_probe = y[:8]
        through_foam = n.leak_w_per_k * (drive.ambient_c - liner)
        through_gaps = n.gasket_w_per_k * (drive.ambient_c - air)
        if drive.door_open:
            through_gaps += n.door_w_per_k * (drive.ambient_c - air)
        air_to_liner = films.liner_w_per_k * (air - liner)
        air_to_evaporator = films.evaporator_w_per_k * (air - evaporator)
        air_to_wall = films.vessel_w_per_k * (air - wall)
        heater_to_air = n.heater_air_w_per_k * (heater - air)
        heater_to_wall = n.heater_vessel_w_per_k * (heater - wall)
        liner_to_evaporator = n.liner_evaporator_w_per_k * (liner - evaporator)
        liner_to_wall = n.liner_vessel_w_per_k * (liner - wall)
        wall_to_beer = n.vessel_beer_w_per_k * (wall - beer)
        pulled = n.cooling_at_0c_w + n.cooling_w_per_k * evaporator if drive.cooling else 0.0
        heated = n.heater_w if drive.heating else 0.0
        stirred = n.fan_w if drive.fan else 0.0
        wall_share = 1.0 - n.vessel_probe_beer_share - n.vessel_probe_air_share
        followed = (
            n.vessel_probe_beer_share * beer + wall_share * wall + n.vessel_probe_air_share * air
        )
        return [
            (through_gaps + heater_to_air + stirred) * (1.0 / n.air_j_per_k)
            - (air_to_liner + air_to_evaporator + air_to_wall) / n.air_j_per_k,
            (through_foam + air_to_liner - liner_to_evaporator - liner_to_wall) / n.liner_j_per_k,
            (air_to_evaporator + liner_to_evaporator - pulled) / n.evaporator_j_per_k,
            (heated - heater_to_air - heater_to_wall) / n.heater_j_per_k,
            (air_to_wall + heater_to_wall + liner_to_wall - wall_to_beer) / n.vessel_wall_j_per_k,
            (wall_to_beer + drive.fermentation_w) / n.beer_j_per_k,
            (followed - vessel_probe) / n.vessel_probe_lag_s,
            (air - air_probe) / films.air_probe_lag_s,
            through_foam + through_gaps,
            pulled,
        ]

    return rates


def _day() -> list[tuple[float, Drive]]:
    """Return (start, drive) pieces: compressor runs, a heated evening, a fan, a door, a night."""
    pieces = []
    for index in range(48):
        second = index * 1800.0
        ambient_c = 20.0 + 6.0 * float(np.sin(2 * np.pi * index / 48))
        drive = Drive(
            ambient_c=ambient_c,
            fermentation_w=4.0 + 2.0 * float(np.cos(index / 9.0)),
            heating=30 <= index < 34,
            fan=index % 5 == 0,
        )
        pieces.append((second, drive._replace(cooling=index < 28, door_open=index % 16 == 7)))
        pieces.append((second + 500.0, drive))
    return pieces


@pytest.mark.parametrize(
    "parameters",
    [
        ChamberParameters.for_batch(placement=0.3),
        ChamberParameters.for_batch(volume_l=60.0, cabinet=Cabinet.chest(300.0)),
    ],
    ids=["fridge", "chest freezer"],
)
def test_a_day_of_switching_is_what_an_independent_solver_makes_of_it(
    parameters: ChamberParameters,
) -> None:
    model = ThermalModel(parameters)
    ours = model.settled(20.0, 18.0)
    theirs = np.array([*ours, 0.0, 0.0])
    leak_j = cooling_j = 0.0
    pieces = [*_day(), (86_400.0, Drive(ambient_c=0.0))]
    for (start_s, drive), (end_s, _) in pairwise(pieces):
        solution = solve_ivp(
            _balances(model.network, drive),
            (start_s, end_s),
            theirs,
            method="LSODA",
            rtol=1e-9,
            atol=1e-9,
        )
        theirs = solution.y[:, -1]
        ours, flows = model.advance(ours, drive, end_s - start_s)
        leak_j += flows.leak_j
        cooling_j += flows.cooling_j
        assert list(ours) == pytest.approx(list(theirs[:8]), abs=1e-5)
    assert leak_j == pytest.approx(theirs[8], rel=1e-6)
    assert cooling_j == pytest.approx(theirs[9], rel=1e-6)
    # It was a day in which things happened.
    assert cooling_j > 1e6
