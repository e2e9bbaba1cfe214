"""The default chamber is one that can be bought, and its figures follow from its measures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fermd.physics.cabinet import Cabinet, Cooler, Fan
from fermd.physics.errors import PhysicsError
from fermd.physics.parameters import ChamberParameters
from fermd.physics.thermal import Drive, ThermalModel
from fermd.physics.vessel import Heater, ProbePlacing, Vessel


def test_the_default_is_twenty_litres_in_a_fridge_of_a_hundred_and_fifty() -> None:
    parameters = ChamberParameters()
    assert parameters.vessel.beer_l == 20.0
    assert parameters.cabinet.volume_l == 150.0
    # 45 x 45 x 74 cm; a bucket 28 cm wide in which the beer stands 32 cm high.
    assert parameters.cabinet.width_m == pytest.approx(0.45, abs=0.005)
    assert parameters.cabinet.height_m == pytest.approx(0.74, abs=0.005)
    assert parameters.vessel.diameter_m == pytest.approx(0.283, abs=0.001)
    assert parameters.vessel.beer_height_m == pytest.approx(0.317, abs=0.001)
    assert parameters == ChamberParameters.for_batch()


def test_the_leak_of_the_default_cabinet_by_hand() -> None:
    # Inside 2 * 0.45^2 + 4 * 0.45 * 0.742 = 1.740 m2, outside (40 mm more each way) 2.305 m2,
    # mean 2.003 m2: 0.022 * 2.003 / 0.040 = 1.101 W/K, in series with 8 * 2.305 = 18.4 W/K.
    assert Cabinet().leak_w_per_k == pytest.approx(1.0 / (1.0 / 1.101 + 1.0 / 18.44), rel=0.002)


def test_the_heat_capacity_of_the_beer_by_hand() -> None:
    # 20 l of 1.029 kg/l (7.25 degP) at 4.03 kJ/(kg K).
    assert Vessel().beer_j_per_k == pytest.approx(20.0 * 1.029 * 4030.0, rel=0.01)


def test_the_duty_cycle_that_holds_ten_degrees_is_leak_over_cooling_power() -> None:
    parameters = ChamberParameters()
    network = parameters.network()
    model = ThermalModel(network)
    # By hand: liner and air are near the beer's 10 degC, the air a little below. So 1.04 W/K over
    # 12 K and 0.12 W/K over 12.4 K leak in, 14 W. The evaporator takes them up across 2.26 W/K and
    # is therefore 6.2 K colder than the air on average, 3.5 degC; in short runs it stays near
    # that, where the compressor gives 147 + 3.74 * 3.5 = 160 W. Duty: 14 / 160 = 0.087.
    by_hand = (network.leak_w_per_k * 12.0 + network.gasket_w_per_k * 12.4) / 160.0
    assert by_hand == pytest.approx(0.087, abs=0.001)

    state = model.settled(22.0, 10.0)
    cooling, on_s, leak_j, cooled_j = False, 0.0, 0.0, 0.0
    for second in range(0, 4 * 86_400, 10):
        # On the wall, where the swing is, so that runs stay short.
        if state.vessel_wall_c > 10.05:
            cooling = True
        elif state.vessel_wall_c < 9.95:
            cooling = False
        state, flows = model.advance(state, Drive(22.0, cooling=cooling), 10.0)
        if second >= 86_400:
            on_s += 10.0 * cooling
            leak_j += flows.leak_j
            cooled_j += flows.cooling_j
    duty = on_s / (3 * 86_400)
    assert state.beer_c == pytest.approx(10.0, abs=0.2)
    assert leak_j == pytest.approx(cooled_j, rel=0.02)
    assert duty == pytest.approx(by_hand, rel=0.10)


def test_a_small_fridge_uses_what_small_fridges_use() -> None:
    # Common practice, no source: 0.2 to 0.6 kWh a day for a larder fridge at 5 degC in 25 degC.
    model = ThermalModel(ChamberParameters())
    state, cooling, electric_j = model.settled(25.0, 5.0), False, 0.0
    for second in range(0, 2 * 86_400, 10):
        cooling = state.air_c > (3.5 if cooling else 6.5)
        state, flows = model.advance(state, Drive(25.0, cooling=cooling), 10.0)
        electric_j += flows.electric_j if second >= 86_400 else 0.0
    assert 0.2 < electric_j / 3.6e6 < 0.6


def test_the_default_chamber_carries_the_peak_of_fermentation_and_reaches_a_cold_crash() -> None:
    model = ThermalModel(ChamberParameters())
    assert model.steady(Drive(30.0, fermentation_w=8.0, cooling=True)).beer_c < 8.0
    assert model.steady(Drive(25.0, cooling=True)).beer_c < 0.0


def test_a_chest_freezer_and_a_double_batch_can_be_described() -> None:
    chest = ChamberParameters.for_batch(volume_l=40.0, cabinet=Cabinet.chest(300.0))
    network = chest.network()
    assert network.beer_j_per_k == pytest.approx(2 * ChamberParameters().network().beer_j_per_k)
    assert network.still.evaporator_w_per_k == 0.0
    assert network.liner_evaporator_w_per_k > 10.0
    # 60 mm of foam instead of 40: less leak for each square metre.
    upright = Cabinet(volume_l=300.0)
    assert Cabinet.chest(300.0).leak_w_per_k < 0.75 * upright.leak_w_per_k


def test_more_foam_leaks_less_and_a_larger_fridge_leaks_more() -> None:
    assert Cabinet(foam_m=0.08).leak_w_per_k < 0.7 * Cabinet().leak_w_per_k
    assert Cabinet(volume_l=300.0).leak_w_per_k > 1.4 * Cabinet().leak_w_per_k


@pytest.mark.parametrize(
    ("build", "named"),
    [
        (lambda: Cabinet(volume_l=-1.0), "cabinet volume_l"),
        (lambda: Cabinet(foam_m=float("nan")), "cabinet foam_m"),
        (lambda: Vessel(capacity_l=20.0, beer_l=21.0), "vessel beer_l"),
        (lambda: Vessel(original_plato=10.0, final_plato=11.0), "apparent extract"),
        (lambda: Cooler(cop=0.0), "cooler cop"),
        (lambda: Cooler(plate_m2=0.0), "must touch air or liner"),
        (lambda: Heater(power_w=-5.0), "heater power_w"),
        (lambda: Fan(air_m_per_s=0.0), "fan air_m_per_s"),
        (lambda: ProbePlacing(placement=1.5), "probe placement"),
        (lambda: ChamberParameters.for_batch(volume_l=120.0), "m wide"),
        (
            lambda: ChamberParameters(vessel=Vessel(capacity_l=50.0, height_per_diameter=4.0)),
            "m high",
        ),
        (lambda: ChamberParameters.for_batch(fill=0.0), "fill"),
        (lambda: replace(ChamberParameters().network(), beer_j_per_k=0.0), "beer_j_per_k"),
        (lambda: replace(ChamberParameters().network(), leak_w_per_k=-1.0), "leak_w_per_k"),
        (
            lambda: replace(ChamberParameters().network(), vessel_probe_air_share=0.5),
            "must not add up",
        ),
    ],
)
def test_a_part_that_cannot_be_is_refused_by_name(build: object, named: str) -> None:
    assert callable(build)
    with pytest.raises(PhysicsError, match=named):
        build()
