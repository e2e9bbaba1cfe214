"""The figures that the default chamber is derived from, against property libraries."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI

from fermd.physics import heat_transfer as ht
from fermd.physics.cabinet import Cooler


def _carried_by_vapour_j_per_m3(temp_c: float) -> float:
    """Return density times latent heat of saturated isobutane (CoolProp)."""

    def saturated(what: str, quality: float) -> float:
        return float(PropsSI(what, "T", temp_c + 273.15, "Q", quality, "IsoButane"))

    return saturated("D", 1.0) * (saturated("H", 1.0) - saturated("H", 0.0))


@pytest.mark.parametrize("temp_c", [-20.0, -15.0, -10.0, -5.0, 0.0])
def test_the_cooling_power_follows_isobutanes_vapour(temp_c: float) -> None:
    # A straight line through a curve: within 8 % from -20 to 0 degC.
    cooler = Cooler()
    ours = (cooler.at_0c_w + cooler.w_per_k * temp_c) / cooler.rated_w
    theirs = _carried_by_vapour_j_per_m3(temp_c) / _carried_by_vapour_j_per_m3(-10.0)
    assert ours == pytest.approx(theirs, rel=0.08)


def test_a_small_compressor_moves_what_its_rating_says() -> None:
    # 5.5 cm3 at 2900 turns a minute, three quarters of it effective, carries its rated power.
    swept_m3_per_s = 5.5e-6 * 2900 / 60 * 0.75
    by_hand_w = swept_m3_per_s * _carried_by_vapour_j_per_m3(-10.0)
    assert Cooler().rated_w == pytest.approx(by_hand_w, rel=0.6)
    # And less than an ideal machine would need as electricity between -10 and 45 degC.
    assert Cooler().cop < 263.15 / 55.0


def test_still_air_agrees_with_churchill_and_chu() -> None:
    # Churchill & Chu, Int. J. Heat Mass Transfer 18, 1323, 1975 (from memory), properties by
    # CoolProp: Nu = 0.68 + 0.670 Ra^1/4 / (1 + (0.492/Pr)^(9/16))^(4/9).
    height_m, difference_k = 0.32, 4.0

    def air(what: str) -> float:
        return float(PropsSI(what, "T", 283.15, "P", 101_325.0, "Air"))

    viscosity = air("V") / air("D")
    diffusivity = air("L") / (air("D") * air("C"))
    prandtl = viscosity / diffusivity
    rayleigh = 9.81 / 283.15 * difference_k * height_m**3 / (viscosity * diffusivity)
    nusselt = 0.68 + 0.670 * rayleigh**0.25 / (1 + (0.492 / prandtl) ** (9 / 16)) ** (4 / 9)
    theirs = nusselt * air("L") / height_m
    assert ht.still_air_plate_w_per_m2_k(difference_k, height_m) == pytest.approx(theirs, rel=0.1)


def test_a_stream_of_air_agrees_with_churchill_and_bernstein() -> None:
    # Churchill & Bernstein, J. Heat Transfer 99, 300, 1977 (from memory), across a 6 mm sleeve.
    diameter_m, speed = 0.006, 1.0

    def air(what: str) -> float:
        return float(PropsSI(what, "T", 283.15, "P", 101_325.0, "Air"))

    reynolds = speed * diameter_m * air("D") / air("V")
    prandtl = air("V") * air("C") / air("L")
    nusselt = 0.3 + 0.62 * reynolds**0.5 * prandtl ** (1 / 3) / (
        1 + (0.4 / prandtl) ** (2 / 3)
    ) ** 0.25 * (1 + (reynolds / 282_000) ** (5 / 8)) ** (4 / 5)
    theirs = nusselt * air("L") / diameter_m
    assert ht.moved_air_cylinder_w_per_m2_k(speed, diameter_m) == pytest.approx(theirs, rel=0.1)


def test_radiation_is_the_slope_of_stefan_and_boltzmanns_law() -> None:
    sigma = 5.670374419e-8  # CODATA
    slope = sigma * 0.9 * ((283.15 + 0.5) ** 4 - (283.15 - 0.5) ** 4)
    assert ht.radiation_w_per_m2_k(10.0, 0.9) == pytest.approx(slope, rel=1e-5)


def test_water_moves_along_a_wall_with_the_properties_of_water() -> None:
    # Nu = 0.10 Ra^1/3 (Holman, from memory), water at 10 degC by CoolProp.
    def water(what: str) -> float:
        return float(PropsSI(what, "T", 283.15, "P", 101_325.0, "Water"))

    viscosity = water("V") / water("D")
    diffusivity = water("L") / (water("D") * water("C"))
    expansion = water("ISOBARIC_EXPANSION_COEFFICIENT")
    rayleigh_per_m3 = 9.81 * expansion * 0.5 / (viscosity * diffusivity)
    theirs = 0.10 * water("L") * rayleigh_per_m3 ** (1 / 3)
    assert ht.still_water_wall_w_per_m2_k(0.5) == pytest.approx(theirs, rel=0.02)
