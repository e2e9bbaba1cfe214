"""Freezing point, density and specific heat of beer against published tables and libraries.

Ethanol and water: CoolProp's incompressible mixture MEA, and the freezing points of Lange's
Handbook of Chemistry, Table 5.13. Water: IAPWS-95 (IAPWS R6-95(2016)) by the iapws package.
"""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from iapws import IAPWS95

from fermd.physics.beer import (
    density_kg_per_m3,
    freezing_point_c,
    specific_heat_j_per_kg_k,
    water_density_kg_per_m3,
)
from fermd.physics.errors import PhysicsError
from fermd.physics.heat_transfer import AIR_J_PER_KG_K, AIR_KG_PER_M3, AIR_W_PER_M_K


def _ethanol_water_freezes_c(alcohol_weight_percent: float) -> float:
    fluid = f"INCOMP::MEA[{alcohol_weight_percent / 100.0}]"
    return float(PropsSI("T_FREEZE", "T", 283.15, "P", 101_325.0, fluid)) - 273.15


@pytest.mark.parametrize(
    ("alcohol", "original", "freezes_c"),
    [(3.2, 10.0, -1.944), (4.0, 12.0, -2.360), (5.0, 14.0, -2.860), (6.0, 16.0, -3.360)],
)
def test_freezing_points_of_common_beers(alcohol: float, original: float, freezes_c: float) -> None:
    # -(0.42 A + 0.04 E + 0.2): De Clerck, Narziss; from memory.
    assert freezing_point_c(alcohol, original) == pytest.approx(freezes_c, abs=1e-9)


@given(st.floats(1.0, 8.0), st.floats(0.5, 2.0))
def test_beer_freezes_below_its_alcohol_in_water_and_below_zero(
    alcohol: float, extract_for_alcohol: float
) -> None:
    # The original extract of a beer is at least twice its alcohol.
    original = 2.0665 * alcohol * (1.0 + 0.3 * extract_for_alcohol)
    assert freezing_point_c(alcohol, min(original, 25.0)) < _ethanol_water_freezes_c(alcohol) < 0.0


@pytest.mark.parametrize(("alcohol", "freezes_c"), [(2.5, -1.0), (4.8, -2.0), (6.8, -3.0)])
def test_beer_freezes_below_langes_table_of_ethanol_and_water(
    alcohol: float, freezes_c: float
) -> None:
    assert _ethanol_water_freezes_c(alcohol) == pytest.approx(freezes_c, abs=0.2)
    # By no more than a degree: the sugars and salts that are left.
    assert freezes_c - 1.3 < freezing_point_c(alcohol, 3.0 * alcohol) < freezes_c


@pytest.mark.parametrize("temp_c", [0.01, 1, 2, 4, 5, 8, 10, 12, 15, 18, 20, 25, 60])
def test_water_is_as_dense_as_iapws_95_says(temp_c: float) -> None:
    theirs = IAPWS95(T=temp_c + 273.15, P=0.101325).rho
    assert water_density_kg_per_m3(temp_c) == pytest.approx(theirs, abs=0.02)


def test_water_is_densest_near_four_degrees() -> None:
    hundredths = range(300, 500)
    densest = max(hundredths, key=lambda each: water_density_kg_per_m3(each / 100.0))
    assert densest / 100.0 == pytest.approx(3.98, abs=0.03)


def test_wort_and_beer_are_as_heavy_as_in_use() -> None:
    # 1040 kg/m3: Gee & Ramirez, J. Inst. Brew. 100, 321-329, 1994, a wort of about 10 degP.
    assert density_kg_per_m3(10.0, 12.0) == pytest.approx(1040.0, rel=0.002)
    assert density_kg_per_m3(0.0, 20.0) == pytest.approx(998.2, rel=1e-3)


def test_specific_heats_in_use() -> None:
    # 4.016: Gee & Ramirez; 4.05: trade calculations, no source.
    assert specific_heat_j_per_kg_k(10.0) == pytest.approx(4016.0, rel=0.03)
    assert specific_heat_j_per_kg_k(4.2176, 4.0146) == pytest.approx(4050.0, rel=0.03)


@pytest.mark.parametrize("temp_c", [2.0, 5.0, 10.0, 15.0, 20.0, 25.0])
def test_beer_without_extract_and_alcohol_is_water(temp_c: float) -> None:
    theirs = IAPWS95(T=temp_c + 273.15, P=0.101325).cp * 1e3
    assert specific_heat_j_per_kg_k(0.0) == pytest.approx(theirs, rel=0.005)


@pytest.mark.parametrize("alcohol", [2.0, 4.0, 6.0, 8.0])
def test_alcohol_raises_the_specific_heat_as_coolprop_has_it(alcohol: float) -> None:
    theirs = PropsSI("C", "T", 283.15, "P", 101_325.0, f"INCOMP::MEA[{alcohol / 100.0}]")
    assert specific_heat_j_per_kg_k(0.0, alcohol) == pytest.approx(theirs, rel=0.003)


def test_air_is_coolprops() -> None:
    def air(what: str) -> float:
        return float(PropsSI(what, "T", 283.15, "P", 101_325.0, "Air"))

    assert air("D") == pytest.approx(AIR_KG_PER_M3, rel=1e-3)
    assert air("C") == pytest.approx(AIR_J_PER_KG_K, rel=1e-3)
    assert air("L") == pytest.approx(AIR_W_PER_M_K, rel=0.01)


@pytest.mark.parametrize(("alcohol", "original"), [(-1.0, 12.0), (4.0, 60.0), (float("nan"), 12)])
def test_a_beer_that_cannot_be_has_no_freezing_point(alcohol: float, original: float) -> None:
    with pytest.raises(PhysicsError, match="must be from"):
        freezing_point_c(alcohol, original)
