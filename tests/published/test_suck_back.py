"""Gas in a vessel that is cooled or shut, worked by hand from the gas law and Henry's law.

Gas constant 8.314462618 J/(mol K) (CODATA 2018); carbon dioxide 44.0095 g/mol; solubility from
Carroll, Slupsky & Mather, J. Phys. Chem. Ref. Data 20(6), 1201-1209, 1991: 1.751 g/l at 20 °C and
3.216 g/l at 1 °C under 1 atm. Vapour pressure of water: 2338.8 Pa at 20 °C (ASHRAE
Handbook-Fundamentals 2017, ch. 1) and 657.1 Pa at 1 °C (from memory).
"""

from __future__ import annotations

import pytest

from fermd.physics.carbon_dioxide import (
    ATMOSPHERE_PA,
    reabsorbed_l,
    sealed_co2_g,
    sealed_co2_pa,
    sealed_pressure_drop_pa,
    suck_back_at_rest_l,
    suck_back_l,
)
from fermd.physics.errors import PhysicsError


def test_five_litres_of_headspace_from_20_to_1_degrees_draw_in_a_third_of_a_litre() -> None:
    # Dry: 5 l × (1 - 274.15/293.15) = 5 l × 0.064813.
    assert suck_back_l(5.0, 20.0, 1.0, moist=False) == pytest.approx(0.3241, abs=1e-4)
    # Moist: the dry gas holds 101325 - 2338.8 Pa of the warm headspace and 101325 - 657.1 Pa of
    # the cold one: 5 l × (1 - 274.15/293.15 × 98986.2/100667.9) = 5 l × 0.080436.
    assert suck_back_l(5.0, 20.0, 1.0) == pytest.approx(0.4022, abs=5e-4)


def test_twenty_litres_can_take_up_29_grams_more_which_are_15_litres_of_gas() -> None:
    # 20 l × (3.216 - 1.751) g/l = 29.3 g; / 44.0095 g/mol × 8.314463 × 274.15 / 101325 m³/mol.
    grams = 20.0 * (3.216 - 1.751)
    litres = grams / 44.0095 * 8.314463 * 274.15 / 101325.0 * 1e3
    assert litres == pytest.approx(14.97, abs=0.05)
    assert reabsorbed_l(20.0, 20.0, 1.0) == pytest.approx(litres, rel=3e-3)


def test_an_airlock_lets_in_two_litres_of_air_and_never_more_than_the_headspace() -> None:
    # 44.17 g of gas in 20 l of beer and 5 l above it at 20 °C stand at 0.596 atm at 1 °C (worked
    # below); the rest of 1 atm is air: 5 l × (1 - 0.596).
    assert suck_back_at_rest_l(20.0, 5.0, 20.0, 1.0) == pytest.approx(2.02, abs=5e-3)
    # Without limit of beer all of the headspace's gas goes, and not more.
    assert suck_back_at_rest_l(1e4, 0.1, 20.0, 1.0) < 0.1


def test_a_sealed_vessel_loses_66_millibar() -> None:
    # 101325 Pa × (1 - 274.15/293.15).
    assert sealed_pressure_drop_pa(20.0, 1.0) == pytest.approx(6567.0, abs=1.0)


def test_a_shut_vessel_comes_to_pressure_by_henry_and_the_gas_law_together() -> None:
    # 20 l of beer and 5 l above it, at 20 °C under 1 atm of carbon dioxide:
    # 20 l × 1.751 g/l dissolved, 101325 Pa × 5 l / (8.314463 × 293.15) × 44.0095 g/mol above.
    dissolved_g = 20.0 * 1.751
    above_g = 101325.0 * 5e-3 / (8.314463 * 293.15) * 44.0095
    assert above_g == pytest.approx(9.147, abs=1e-3)
    held_g = sealed_co2_g(20.0, 5.0, 20.0, ATMOSPHERE_PA)
    assert held_g == pytest.approx(dissolved_g + above_g, rel=1e-3)
    # Chilled to 1 °C the same gas: 64.32 + 9.781 g would be there under 1 atm, so that
    # 44.17 g come to 44.17 / 74.10 = 0.596 atm.
    cold_pa = sealed_co2_pa(20.0, 5.0, 1.0, held_g)
    assert cold_pa / ATMOSPHERE_PA == pytest.approx(0.596, abs=1e-3)


def test_four_grams_a_litre_of_gas_in_a_keg_at_4_degrees_stand_at_0_4_bar() -> None:
    """4 g/l without a headspace: 4 / 2.893 atm absolute (Carroll's solubility at 4 °C)."""
    absolute_pa = sealed_co2_pa(20.0, 0.0, 4.0, 80.0)
    assert absolute_pa / ATMOSPHERE_PA == pytest.approx(4.0 / 2.893, rel=1e-3)


@pytest.mark.parametrize(
    ("beer_l", "headspace_l", "grams"), [(0.0, 5.0, 10.0), (20.0, -1.0, 10.0), (20.0, 5.0, -1.0)]
)
def test_a_vessel_that_cannot_be_has_no_pressure(
    beer_l: float, headspace_l: float, grams: float
) -> None:
    with pytest.raises(PhysicsError):
        sealed_co2_pa(beer_l, headspace_l, 20.0, grams)
