"""The vessel, its heater and the probes, each with the physics that its figures come from.

A default stands here once, with its reason. Where no source is named, the figure is a measure or a
handbook value, from memory, of the most ordinary thing of its kind: a plastic bucket, a heat
belt, probes in steel sleeves of 6 mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Final

from fermd.physics import heat_transfer as ht
from fermd.physics.beer import density_kg_per_m3, specific_heat_j_per_kg_k
from fermd.physics.cabinet import Fan
from fermd.physics.errors import require
from fermd.physics.extract import alcohol_by_weight, real_extract

_WORKING_C: Final = 10.0
"""The temperature at which films, densities and radiation are evaluated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """An upright cylinder with beer in it. Its dry upper part is taken as idle."""

    capacity_l: float = 25.0
    """A batch of 20 l and a fifth of headspace for the foam."""
    beer_l: float = 20.0
    height_per_diameter: float = 1.4
    material: ht.Material = ht.HDPE
    wall_m: float = 0.002
    original_plato: float = 12.0
    final_plato: float = 2.5

    def __post_init__(self) -> None:
        """Check the ranges.

        Raises:
            PhysicsError: naming the measure, its value and what is allowed.

        """
        require("vessel capacity_l", self.capacity_l, 0.5, 20_000.0)
        require("vessel beer_l", self.beer_l, 0.01, self.capacity_l)
        require("vessel height_per_diameter", self.height_per_diameter, 0.2, 10.0)
        require("vessel wall_m", self.wall_m, 1e-4, 0.1)
        real_extract(self.original_plato, self.final_plato)

    @property
    def diameter_m(self) -> float:
        """Inner diameter: 28 cm for 25 l."""
        return float((4.0 * self.capacity_l / 1e3 / (pi * self.height_per_diameter)) ** (1.0 / 3.0))

    @property
    def beer_height_m(self) -> float:
        """How high the beer stands."""
        return self.beer_l / 1e3 / (pi / 4.0 * self.diameter_m**2)

    @property
    def wetted_m2(self) -> float:
        """Floor and side up to the beer's surface."""
        return pi * self.diameter_m * (self.diameter_m / 4.0 + self.beer_height_m)

    @property
    def beer_j_per_k(self) -> float:
        """Mass times specific heat, half-way from wort to beer."""
        real_plato = real_extract(self.original_plato, self.final_plato)
        alcohol = alcohol_by_weight(self.original_plato, self.final_plato)
        middle_plato = (self.original_plato + self.final_plato) / 2.0
        kg = self.beer_l / 1e3 * density_kg_per_m3(middle_plato, _WORKING_C)
        wort = specific_heat_j_per_kg_k(self.original_plato)
        return kg * (wort + specific_heat_j_per_kg_k(real_plato, alcohol)) / 2.0

    @property
    def wall_j_per_k(self) -> float:
        """The wetted wall."""
        return self.wetted_m2 * self.wall_m * self.material.kg_per_m3 * self.material.j_per_kg_k

    @property
    def beer_w_per_k(self) -> float:
        """From the middle of the wall into the beer, which differs from it by about 0.5 K."""
        half_wall = 2.0 * self.material.w_per_m_k / self.wall_m
        return self.wetted_m2 * ht.in_series(half_wall, ht.still_water_wall_w_per_m2_k(0.5))

    @property
    def film_w_per_m2_k(self) -> float:
        """Still air along the vessel, which differs from it by about 4 K."""
        return ht.still_air_plate_w_per_m2_k(4.0, self.beer_height_m)

    @property
    def radiation_w_per_k(self) -> float:
        """Between vessel and liner, which is all round it and nearly black."""
        return self.wetted_m2 * ht.radiation_w_per_m2_k(_WORKING_C, self.material.emissivity)


@dataclass(frozen=True, slots=True, kw_only=True)
class Heater:
    """A resistance with a body of its own, which stays warm when it is switched off."""

    power_w: float = 30.0
    """A heat belt of 30 W."""
    heat_j_per_k: float = 172.0
    """A band of silicone, 90 cm (once round the vessel) by 35 mm by 3 mm: 0.12 kg."""
    vessel_w_per_k: float = 1.6
    """0.0315 m² against the vessel across 0.5 mm of air: 50 W/(m² K)."""
    air_w_per_k: float = 0.37
    """Its back, 15 K warmer than the air: 6.5 W/(m² K) of convection and 5.4 of radiation."""

    def __post_init__(self) -> None:
        """Check the ranges.

        Raises:
            PhysicsError: naming the figure, its value and what is allowed.

        """
        require("heater power_w", self.power_w, 0.0, 1e5)
        require("heater heat_j_per_k", self.heat_j_per_k, 1.0, 1e6)
        require("heater vessel_w_per_k", self.vessel_w_per_k, 0.0, 1e4)
        require("heater air_w_per_k", self.air_w_per_k, 1e-3, 1e4)

    @classmethod
    def tube(cls, power_w: float = 60.0) -> Heater:
        """Return a tubular heater on the floor: 0.7 kg of steel, 0.08 m² at 14 W/(m² K)."""
        return cls(power_w=power_w, heat_j_per_k=350.0, vessel_w_per_k=0.0, air_w_per_k=1.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbePlacing:
    """Two probes in steel sleeves of 6 by 50 mm: 2.0 J/K (steel 1.0, filling 1.0), 9.7 cm²."""

    placement: float = 1.0
    """0: taped to the vessel's wall; 1: in a thermowell in the beer; between: a mixture."""
    air_share_when_taped: float = 0.055
    """Of a taped probe, under 10 mm of foam. Wall contact is 0.012 W/K (a quarter of the sleeve
    across 0.5 mm of air), the foam over it lets through 0.0007 W/K (3 cm² by 2.3 W/(m² K))."""
    heat_j_per_k: float = 2.0
    sleeve_m2: float = 9.7e-4
    sleeve_diameter_m: float = 0.006

    def __post_init__(self) -> None:
        """Check the ranges.

        Raises:
            PhysicsError: naming the figure, its value and what is allowed.

        """
        require("probe placement", self.placement, 0.0, 1.0)
        require("probe air_share_when_taped", self.air_share_when_taped, 0.0, 1.0)
        require("probe heat_j_per_k", self.heat_j_per_k, 0.01, 1000.0)
        require("probe sleeve_m2", self.sleeve_m2, 1e-6, 1.0)
        require("probe sleeve_diameter_m", self.sleeve_diameter_m, 1e-4, 0.1)

    @property
    def air_share(self) -> float:
        """How much of the vessel probe's reading is the chamber's air."""
        return (1.0 - self.placement) * self.air_share_when_taped

    @property
    def vessel_lag_s(self) -> float:
        """2 J/K over 0.048 W/K (in a well, with 0.5 mm of air: 41 s) or 0.013 (taped: 156 s)."""
        in_well_w_per_k = ht.AIR_W_PER_M_K / 0.0005 * self.sleeve_m2
        taped_w_per_k = in_well_w_per_k / 4.0 / (1.0 - self.air_share_when_taped)
        mixed = self.placement * in_well_w_per_k + (1.0 - self.placement) * taped_w_per_k
        return self.heat_j_per_k / mixed

    def air_lag_s(self, fan: Fan | None) -> float:
        """Return the lag in the air: still, 2 K apart, some 290 s; with a fan some 50 s."""
        film = ht.still_air_cylinder_w_per_m2_k(2.0, self.sleeve_diameter_m)
        if fan is not None:
            moved = ht.moved_air_cylinder_w_per_m2_k(fan.air_m_per_s, self.sleeve_diameter_m)
            film = ht.together_w_per_m2_k(film, moved)
        # Bright steel radiates little.
        film += ht.radiation_w_per_m2_k(_WORKING_C, 0.3)
        return self.heat_j_per_k / (film * self.sleeve_m2)
