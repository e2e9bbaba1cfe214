"""The cabinet, its cooler and its fan, each with the physics that its figures come from.

A default stands here once, with its reason. Where no source is named, the figure is a measure or a
handbook value, from memory, of the most ordinary thing of its kind: a 150 l larder fridge with a
plate evaporator.
"""

from __future__ import annotations

from dataclasses import dataclass

from fermd.physics import heat_transfer as ht
from fermd.physics.errors import PhysicsError, require


@dataclass(frozen=True, slots=True, kw_only=True)
class Cabinet:
    """The insulated box: a square floor, walls of foam between skin and liner."""

    volume_l: float = 150.0
    height_per_width: float = 1.65
    """150 l are then 45 cm wide and deep and 74 cm high, as an under-counter fridge is."""
    foam_m: float = 0.040
    """40 mm: common in fridges; freezers have 60 to 80 mm."""
    foam: ht.Material = ht.POLYURETHANE_FOAM
    liner: ht.Material = ht.POLYSTYRENE
    liner_m: float = 0.001
    built_in_j_per_k: float = 1000.0
    """Shelf and drawers that stay in beside a vessel: a glass shelf of 0.12 m² by 4 mm."""
    gasket_w_per_k_m: float = 0.05
    """Each metre of gasket lets through about what 0.05 W/(m K) says (magnetic gaskets)."""
    is_chest: bool = False
    """Opens at the top: the cold air stays in when the lid is up."""

    def __post_init__(self) -> None:
        """Check the ranges.

        Raises:
            PhysicsError: naming the measure, its value and what is allowed.

        """
        require("cabinet volume_l", self.volume_l, 5.0, 50_000.0)
        require("cabinet height_per_width", self.height_per_width, 0.2, 5.0)
        require("cabinet foam_m", self.foam_m, 0.005, 0.5)
        require("cabinet liner_m", self.liner_m, 1e-4, 0.05)
        require("cabinet built_in_j_per_k", self.built_in_j_per_k, 0.0, 1e7)
        require("cabinet gasket_w_per_k_m", self.gasket_w_per_k_m, 0.0, 10.0)

    @classmethod
    def chest(cls, volume_l: float = 200.0) -> Cabinet:
        """Return a chest freezer: low and wide, 60 mm of foam, a lid."""
        return cls(
            volume_l=volume_l,
            height_per_width=1.0,
            foam_m=0.060,
            liner=ht.ALUMINIUM,
            built_in_j_per_k=0.0,
            is_chest=True,
        )

    @property
    def width_m(self) -> float:
        """Inner width and depth."""
        return float((self.volume_l / 1e3 / self.height_per_width) ** (1.0 / 3.0))

    @property
    def height_m(self) -> float:
        """Inner height."""
        return self.width_m * self.height_per_width

    @property
    def liner_m2(self) -> float:
        """Inner surface: 1.74 m² for 150 l."""
        return _box_m2(self.width_m, self.height_m)

    @property
    def leak_w_per_k(self) -> float:
        """Foam in series with the film outside.

        k A / d with the geometric mean of inner and outer surface (2.0 m²), and outside 8 W/(m² K)
        of convection and radiation together: 1.04 W/K for 150 l.
        """
        outer_m2 = _box_m2(self.width_m + 2 * self.foam_m, self.height_m + 2 * self.foam_m)
        mean_m2 = (self.liner_m2 * outer_m2) ** 0.5
        return ht.in_series(self.foam.w_per_m_k * mean_m2 / self.foam_m, 8.0 * outer_m2)

    @property
    def gasket_w_per_k(self) -> float:
        """What passes the seal, all round the opening."""
        side_m = self.width_m if self.is_chest else self.height_m
        return self.gasket_w_per_k_m * 2.0 * (self.width_m + side_m)

    @property
    def liner_j_per_k(self) -> float:
        """Liner, fittings, and a third of the foam.

        A third, because in a slab held at its outer side the warmth falls off linearly, and the
        slowest mode carries the weight x² over it.
        """
        liner_j = self.liner_m * self.liner.kg_per_m3 * self.liner.j_per_kg_k * self.liner_m2
        foam_j = self.foam_m * self.foam.kg_per_m3 * self.foam.j_per_kg_k * self.liner_m2
        return liner_j + foam_j / 3.0 + self.built_in_j_per_k

    @property
    def liner_film_w_per_m2_k(self) -> float:
        """Still air along the liner, which differs from it by about 2 K."""
        return ht.still_air_plate_w_per_m2_k(2.0, self.height_m)

    @property
    def door_w_per_k(self) -> float:
        """The trade of air through the open door, room and chamber 12 K apart.

        Of a chest's lid a tenth: the cold air lies in it as in a bowl (common practice, no source).
        """
        upright = ht.open_door_w_per_k(
            self.width_m, self.width_m if self.is_chest else self.height_m, 12.0, 16.0
        )
        return upright / 10.0 if self.is_chest else upright


@dataclass(frozen=True, slots=True, kw_only=True)
class Cooler:
    """Compressor and evaporator.

    The cooling power follows the refrigerant's vapour: what a piston moves in a minute carries
    density times latent heat. For isobutane that grows by 3.4 % of its value at -10 °C with each
    degree between -20 and 0 °C (from CoolProp's properties; held against them in the tests).
    """

    rated_w: float = 110.0
    """At an evaporator of -10 °C: the smaller household compressors (5 to 6 cm³, isobutane)."""
    cop: float = 1.6
    """Cooling power for each watt of electricity at the rating point; 1.3 to 1.8 is usual."""
    rated_at_c: float = -10.0
    gain_per_k: float = 0.034
    plate_m2: float = 0.14
    """One side of a free roll-bonded plate of 40 by 35 cm; 0 where the tubes are bonded to the
    liner."""
    plate_m: float = 0.003
    plate_height_m: float = 0.35
    frost_and_refrigerant_j_per_k: float = 350.0
    """A millimetre of loose frost on both sides (0.13 kg by 2.1 kJ/(kg K)) and 25 g of liquid."""
    bonded_j_per_k: float = 0.0
    bonded_w_per_k: float = 0.0
    """Contact between tubes and liner."""

    def __post_init__(self) -> None:
        """Check the ranges.

        Raises:
            PhysicsError: naming the figure, its value and what is allowed, or an evaporator that
                touches nothing.

        """
        require("cooler rated_w", self.rated_w, 0.0, 1e6)
        require("cooler cop", self.cop, 0.1, 20.0)
        require("cooler rated_at_c", self.rated_at_c, -50.0, 20.0)
        require("cooler gain_per_k", self.gain_per_k, 0.0, 0.2)
        if self.plate_m2 <= 0.0 and self.bonded_w_per_k <= 0.0:
            raise PhysicsError(
                "cooler: plate_m2 and bonded_w_per_k are both 0; the evaporator must touch air or "
                "liner"
            )

    @classmethod
    def of_power(cls, rated_w: float) -> Cooler:
        """Return a cooler of this power; its plate grows with it, as fridges grow."""
        usual = cls()
        return cls(rated_w=rated_w, plate_m2=usual.plate_m2 * rated_w / usual.rated_w)

    @classmethod
    def bonded(cls, rated_w: float = 110.0) -> Cooler:
        """Return a chest freezer's: 15 m of tube of 8 mm behind the liner.

        1.2 kg of aluminium and 30 g of refrigerant are 1.2 kJ/K; a contact of 5 mm width along the
        tube through 0.1 mm of adhesive and the liner as a fin make some 20 W/K.
        """
        return cls(
            rated_w=rated_w,
            plate_m2=0.0,
            frost_and_refrigerant_j_per_k=0.0,
            bonded_j_per_k=1200.0,
            bonded_w_per_k=20.0,
        )

    @property
    def w_per_k(self) -> float:
        """How much the cooling power grows with each degree of the evaporator."""
        return self.rated_w * self.gain_per_k

    @property
    def at_0c_w(self) -> float:
        """The cooling power on the same straight line at 0 °C."""
        return self.rated_w - self.w_per_k * self.rated_at_c

    @property
    def electric_w(self) -> float:
        """The electrical power, taken as constant while the compressor runs."""
        return self.rated_w / self.cop

    @property
    def heat_j_per_k(self) -> float:
        """Plate, frost and refrigerant: what goes on cooling after the compressor has stopped."""
        metal = ht.ALUMINIUM
        plate_j = self.plate_m2 * self.plate_m * metal.kg_per_m3 * metal.j_per_kg_k
        return plate_j + self.frost_and_refrigerant_j_per_k + self.bonded_j_per_k

    @property
    def film_w_per_m2_k(self) -> float:
        """Still air along the plate, 25 K colder."""
        return ht.still_air_plate_w_per_m2_k(25.0, self.plate_height_m)

    @property
    def radiation_w_per_k(self) -> float:
        """Both sides of the plate to the liner, at a mean of -5 °C."""
        return 2.0 * self.plate_m2 * ht.radiation_w_per_m2_k(-5.0, ht.ALUMINIUM.emissivity)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fan:
    """A circulation fan: it stirs the air, and its electricity ends as heat in it."""

    power_w: float = 2.0
    """A 12 V fan of 120 mm."""
    air_m_per_s: float = 1.0
    """The speed along the surfaces."""

    def __post_init__(self) -> None:
        """Check the ranges.

        Raises:
            PhysicsError: naming the figure, its value and what is allowed.

        """
        require("fan power_w", self.power_w, 0.0, 1e4)
        require("fan air_m_per_s", self.air_m_per_s, 0.01, 20.0)

    def film_w_per_m2_k(self, still: float, length_m: float) -> float:
        """Return a film, `still` without the fan, with it."""
        moved = ht.moved_air_plate_w_per_m2_k(self.air_m_per_s, length_m)
        return ht.together_w_per_m2_k(still, moved)


def _box_m2(width_m: float, height_m: float) -> float:
    return 2.0 * width_m * width_m + 4.0 * width_m * height_m
