"""Solubility of carbon dioxide and suck-back, against handbook tables and the gas law."""

from __future__ import annotations

import psychrolib
import pytest

from fermd.physics.carbon_dioxide import (
    ATMOSPHERE_PA,
    dissolved_g_per_l,
    dissolved_mole_fraction,
    dissolved_volumes,
    henry_constant_pa,
    reabsorbed_l,
    sealed_pressure_drop_pa,
    suck_back_l,
    water_vapour_pa,
)
from fermd.physics.errors import PhysicsError


@pytest.mark.parametrize(
    ("temp_c", "thousandths"),
    [(0, 1.337), (5, 1.123), (10, 0.950), (15, 0.814), (20, 0.704), (25, 0.614)],
)
def test_mole_fractions_of_the_crc_handbook(temp_c: float, thousandths: float) -> None:
    # CRC Handbook of Chemistry and Physics, solubility of carbon dioxide in water at 100 kPa;
    # accurate to about 2 %.
    assert 1e3 * dissolved_mole_fraction(temp_c, 100e3) == pytest.approx(thousandths, rel=0.03)


@pytest.mark.parametrize(
    ("temp_c", "bunsen"),
    [(1.04, 1.6471), (5, 1.4199), (10, 1.1926), (15, 1.0100), (20, 0.8652), (25, 0.7519)],
)
def test_measured_bunsen_coefficients(temp_c: float, bunsen: float) -> None:
    # Murray & Riley, Deep-Sea Res. 18, 533, 1971, in the NIST-IUPAC solubility data series.
    assert dissolved_volumes(temp_c) == pytest.approx(bunsen, rel=0.03)


@pytest.mark.parametrize(
    ("temp_c", "henry_mpa", "g_per_l"),
    [
        (0, 74.29, 3.335),
        (1, 77.03, 3.216),
        (4, 85.63, 2.893),
        (10, 104.61, 2.367),
        (20, 141.36, 1.751),
        (25, 161.97, 1.528),
    ],
)
def test_carrolls_formula(temp_c: float, henry_mpa: float, g_per_l: float) -> None:
    # Carroll, Slupsky & Mather, J. Phys. Chem. Ref. Data 20(6), 1201-1209, 1991: its values.
    assert henry_constant_pa(temp_c) / 1e6 == pytest.approx(henry_mpa, abs=0.006)
    assert dissolved_g_per_l(temp_c) == pytest.approx(g_per_l, rel=3e-3)


@pytest.mark.parametrize(
    ("headspace_l", "from_c", "to_c", "dry_l", "moist_l"),
    [
        (5, 20, 1, 0.3241, 0.4022),
        (5, 12, 1, 0.1929, 0.2285),
        (5, 18, 1, 0.2919, None),
        (5, 18, 2, None, 0.3386),
        (10, 20, 2, 0.6140, None),
    ],
)
def test_a_cold_crash_sucks_back_by_the_gas_law(
    headspace_l: float, from_c: float, to_c: float, dry_l: float | None, moist_l: float | None
) -> None:
    if dry_l is not None:
        assert suck_back_l(headspace_l, from_c, to_c, moist=False) == pytest.approx(dry_l, abs=6e-5)
    if moist_l is not None:
        assert suck_back_l(headspace_l, from_c, to_c) == pytest.approx(moist_l, abs=6e-4)


@pytest.mark.parametrize(
    ("from_c", "to_c", "drop_kpa"), [(20, 1, 6.567), (12, 1, 3.909), (18, 1, 5.916), (20, 2, 6.222)]
)
def test_a_sealed_vessel_comes_under_vacuum(from_c: float, to_c: float, drop_kpa: float) -> None:
    assert sealed_pressure_drop_pa(from_c, to_c) / 1e3 == pytest.approx(drop_kpa, abs=6e-4)


@pytest.mark.parametrize(
    ("from_c", "to_c", "litres"), [(20, 1, 14.97), (12, 1, 10.17), (18, 2, 12.81)]
)
def test_what_twenty_litres_of_beer_can_take_up_again(
    from_c: float, to_c: float, litres: float
) -> None:
    assert reabsorbed_l(20.0, from_c, to_c) == pytest.approx(litres, rel=3e-3)


@pytest.mark.parametrize("temp_c", [0.01, 1.0, 5.0, 10.0, 15.0, 20.0, 25.0, 35.0])
def test_water_vapour_is_ashraes(temp_c: float) -> None:
    # ASHRAE Handbook - Fundamentals 2017, chapter 1, by psychrolib.
    psychrolib.SetUnitSystem(psychrolib.SI)
    assert water_vapour_pa(temp_c) == pytest.approx(psychrolib.GetSatVapPres(temp_c), rel=4e-3)


def test_warming_drives_gas_out_and_standing_still_does_nothing() -> None:
    assert suck_back_l(5.0, 4.0, 20.0) < 0.0
    assert suck_back_l(5.0, 12.0, 12.0) == 0.0
    assert sealed_pressure_drop_pa(12.0, 12.0) == 0.0
    assert dissolved_volumes(4.0, 2 * ATMOSPHERE_PA) == pytest.approx(
        2 * dissolved_volumes(4.0), rel=2e-3
    )


def test_outside_of_the_formulas_range_there_is_no_answer() -> None:
    with pytest.raises(PhysicsError, match="temperature"):
        dissolved_g_per_l(500.0)
    with pytest.raises(PhysicsError, match="headspace"):
        suck_back_l(-1.0, 20.0, 1.0)
    with pytest.raises(PhysicsError, match="partial pressure"):
        dissolved_g_per_l(10.0, 2e6)
