"""A whole chamber from its parts, and the constants of its thermal network derived from them.

ChamberParameters()                          20 l of beer in a 150 l fridge
ChamberParameters.for_batch(volume_l=40)     a larger vessel in the same fridge
replace(parameters, cabinet=Cabinet.chest()) ...or any part exchanged
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Self

from fermd.physics.cabinet import Cabinet, Cooler, Fan
from fermd.physics.errors import PhysicsError
from fermd.physics.heat_transfer import AIR_J_PER_KG_K, AIR_KG_PER_M3
from fermd.physics.network import AirFilms, Network
from fermd.physics.vessel import Heater, ProbePlacing, Vessel


@dataclass(frozen=True, slots=True, kw_only=True)
class ChamberParameters:
    """The parts of a chamber. The defaults, with their derivations, stand in the parts."""

    cabinet: Cabinet = field(default_factory=Cabinet)
    vessel: Vessel = field(default_factory=Vessel)
    cooler: Cooler = field(default_factory=Cooler)
    heater: Heater = field(default_factory=Heater)
    fan: Fan = field(default_factory=Fan)
    probes: ProbePlacing = field(default_factory=ProbePlacing)

    def __post_init__(self) -> None:
        """Check that the vessel goes into the cabinet.

        Raises:
            PhysicsError: a vessel that is too wide or too high.

        """
        if self.vessel.diameter_m > self.cabinet.width_m:
            raise PhysicsError(
                f"vessel: {self.vessel.capacity_l:g} l are {self.vessel.diameter_m:.2f} m wide; "
                f"the cabinet's {self.cabinet.volume_l:g} l are {self.cabinet.width_m:.2f} m"
            )
        height_m = self.vessel.diameter_m * self.vessel.height_per_diameter
        if height_m > self.cabinet.height_m:
            raise PhysicsError(
                f"vessel: {self.vessel.capacity_l:g} l are {height_m:.2f} m high; the cabinet's "
                f"{self.cabinet.volume_l:g} l are {self.cabinet.height_m:.2f} m"
            )

    @classmethod
    def for_batch(
        cls,
        *,
        volume_l: float = 20.0,
        fill: float = 0.8,
        cabinet: Cabinet | None = None,
        cooler: Cooler | None = None,
        placement: float = 1.0,
    ) -> Self:
        """Return a chamber for a batch of `volume_l` in a vessel filled to the share `fill`.

        A chest gets an evaporator bonded to its liner unless another cooler is named.

        Raises:
            PhysicsError: a fill that is not above 0 and up to 1, or a vessel that does not fit.

        """
        if not 0.0 < fill <= 1.0:
            raise PhysicsError(f"fill = {fill!r}: must be above 0 and up to 1")
        cabinet = cabinet or Cabinet()
        return cls(
            cabinet=cabinet,
            vessel=Vessel(capacity_l=volume_l / fill, beer_l=volume_l),
            cooler=cooler or (Cooler.bonded() if cabinet.is_chest else Cooler()),
            probes=ProbePlacing(placement=placement),
        )

    def network(self) -> Network:
        """Return the constants of the thermal network."""
        cabinet, vessel, cooler, heater = self.cabinet, self.vessel, self.cooler, self.heater
        air_m3 = (cabinet.volume_l - vessel.capacity_l) / 1e3
        return Network(
            air_j_per_k=air_m3 * AIR_KG_PER_M3 * AIR_J_PER_KG_K,
            liner_j_per_k=cabinet.liner_j_per_k,
            evaporator_j_per_k=cooler.heat_j_per_k,
            heater_j_per_k=heater.heat_j_per_k,
            vessel_wall_j_per_k=vessel.wall_j_per_k,
            beer_j_per_k=vessel.beer_j_per_k,
            leak_w_per_k=cabinet.leak_w_per_k,
            gasket_w_per_k=cabinet.gasket_w_per_k,
            door_w_per_k=cabinet.door_w_per_k,
            still=self._films(None),
            stirred=self._films(self.fan),
            liner_evaporator_w_per_k=cooler.radiation_w_per_k + cooler.bonded_w_per_k,
            liner_vessel_w_per_k=vessel.radiation_w_per_k,
            heater_vessel_w_per_k=heater.vessel_w_per_k,
            heater_air_w_per_k=heater.air_w_per_k,
            vessel_beer_w_per_k=vessel.beer_w_per_k,
            cooling_at_0c_w=cooler.at_0c_w,
            cooling_w_per_k=cooler.w_per_k,
            compressor_w=cooler.electric_w,
            heater_w=heater.power_w,
            fan_w=self.fan.power_w,
            vessel_probe_lag_s=self.probes.vessel_lag_s,
            vessel_probe_beer_share=self.probes.placement,
            vessel_probe_air_share=self.probes.air_share,
        )

    def _films(self, fan: Fan | None) -> AirFilms:
        def film(still: float, length_m: float) -> float:
            return still if fan is None else fan.film_w_per_m2_k(still, length_m)

        cabinet, vessel, cooler = self.cabinet, self.vessel, self.cooler
        return AirFilms(
            liner_w_per_k=cabinet.liner_m2 * film(cabinet.liner_film_w_per_m2_k, cabinet.height_m),
            evaporator_w_per_k=2.0
            * cooler.plate_m2
            * film(cooler.film_w_per_m2_k, cooler.plate_height_m),
            vessel_w_per_k=vessel.wetted_m2 * film(vessel.film_w_per_m2_k, vessel.diameter_m),
            air_probe_lag_s=self.probes.air_lag_s(fan),
        )
