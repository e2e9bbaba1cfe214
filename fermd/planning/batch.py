"""The batch that is planned: the beer, its yeast, and the vessel that it is going to stand in.

Extract is in °P, alcohol in per cent, volumes in litres, temperatures in °C.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fermd.physics.beer import freezing_point_c
from fermd.physics.errors import require
from fermd.physics.extract import (
    alcohol_by_volume,
    alcohol_by_weight,
    apparent_extract,
    carbon_dioxide_share_of_beer,
    plato_from_sg,
    sg_from_plato,
    wort_kg,
)
from fermd.physics.fermentation import Batch, FermentationModel, Yeast
from fermd.physics.vessel import Vessel

USUAL_ATTENUATION: Final = 0.79
"""Apparent attenuation of a beer that nothing is said of: 12 °P come down to 2.5 (common practice,
no source)."""

LAGER_UP_TO_C: Final = 15.0
"""A batch that begins at no more than this is taken for a lager's (common practice, no source)."""


class YeastKind(StrEnum):
    """What ferments; decides how fast and how soon heat is made."""

    LAGER = "lager"
    ALE = "ale"


class Closure(StrEnum):
    """What is between the vessel's headspace and the room."""

    AIRLOCK = "airlock"
    """Gas passes both ways; going in, it brings the lock's liquid or air along."""
    SEALED = "sealed"
    """Nothing passes: pressure builds up, and on cooling a vacuum."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedBatch:
    """One batch. The default is 20 l of a beer of 12 °P in a vessel of 25 l under an airlock."""

    volume_l: float = Vessel().beer_l
    vessel_l: float = Vessel().capacity_l
    original_p: float = 12.0
    final_p: float = 2.5
    """Apparent extract at the end."""
    yeast: YeastKind = YeastKind.LAGER
    closure: Closure = Closure.AIRLOCK
    is_finished: bool = False
    """It has fermented before the profile starts: no heat, and no more gas."""

    def __post_init__(self) -> None:
        """Check the ranges.

        Raises:
            PhysicsError: naming the measure, its value and what is allowed.

        """
        require("volume", self.volume_l, 0.1, 5000.0)
        require("vessel", self.vessel_l, self.volume_l, 20_000.0)
        alcohol_by_weight(self.original_p, self.final_p)

    @property
    def headspace_l(self) -> float:
        """What is above the beer."""
        return self.vessel_l - self.volume_l

    @property
    def alcohol_w_percent(self) -> float:
        """Alcohol of the beer when it is done, % by weight (Balling)."""
        return alcohol_by_weight(self.original_p, self.final_p)

    @property
    def alcohol_v_percent(self) -> float:
        """Alcohol of the beer when it is done, % by volume."""
        return alcohol_by_volume(self.original_p, self.final_p)

    @property
    def freezes_at_c(self) -> float:
        """Freezing point of the beer when it is done, °C.

        Raises:
            PhysicsError: a beer that the formula does not hold for (above 25 °P or 10 % by weight).

        """
        return freezing_point_c(self.alcohol_w_percent, self.original_p)

    @property
    def co2_made_kg(self) -> float:
        """The carbon dioxide that the whole fermentation sets free."""
        if self.is_finished:
            return 0.0
        beer_kg = wort_kg(self.volume_l, self.original_p)
        return beer_kg * carbon_dioxide_share_of_beer(self.original_p, self.final_p)

    def fermentation(self) -> FermentationModel | None:
        """The batch at work; None for a finished beer."""
        if self.is_finished or self.final_p >= self.original_p:
            return None
        yeast = Yeast.lager() if self.yeast is YeastKind.LAGER else Yeast.ale()
        return FermentationModel(Batch(self.volume_l, self.original_p, self.final_p), yeast)


def original_from(gravity: float) -> float:
    """Return °P of a gravity as a brewer says it: a specific gravity up to 2, else °P.

    No wort has less than 2 °P, and none a specific gravity of 2.
    """
    return plato_from_sg(gravity) if gravity < 2.0 else gravity


def final_from(
    original_p: float,
    *,
    final: float | None = None,
    attenuation_percent: float | None = None,
    abv: float | None = None,
) -> float:
    """Return the final apparent extract, °P, from the one figure that is given of it.

    `final` is a specific gravity from 0.98 to 1.2 or else °P: nobody says "1.010" of °P.

    Raises:
        PhysicsError: a figure that such a wort cannot come to.

    """
    if final is not None:
        return plato_from_sg(final) if 0.98 <= final < 1.2 else final
    if abv is not None:
        return apparent_extract(original_p, abv)
    share = USUAL_ATTENUATION
    if attenuation_percent is not None:
        share = require("attenuation", attenuation_percent, 0.0, 120.0) / 100.0
    return original_p * (1.0 - share)


def gravity_words(plato: float) -> str:
    """Say an extract both ways: `12.0 °P (1.048)`."""
    return f"{plato:.1f} °P ({sg_from_plato(plato):.3f})"
