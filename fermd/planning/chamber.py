"""The chamber that a batch is planned for: its thermal model, from the site file and the batch.

The site file's [simulated] table has the powers; where it says nothing, the usual fridge and heater
of the model stand in, and `assumed` says so in words, because every result rests on them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from fermd.config.site import SimulatedSettings
from fermd.control.settings import ChamberSettings, Duty
from fermd.physics.cabinet import Cabinet, Cooler
from fermd.physics.parameters import ChamberParameters
from fermd.physics.vessel import Heater, Vessel
from fermd.planning.batch import PlannedBatch

_LEAST_PLATO: Final = 0.1
"""The thinnest beer that the thermal model knows the heat capacity of."""


@dataclass(frozen=True, slots=True)
class PlannedChamber:
    """What stands around the beer."""

    settings: ChamberSettings
    parts: ChamberParameters
    assumed: tuple[str, ...]
    """What was taken for want of better, each as a sentence."""


def planned_chamber(
    settings: ChamberSettings,
    batch: PlannedBatch,
    trial: SimulatedSettings | None,
    *,
    cooler_w: float | None = None,
    heater_w: float | None = None,
    cabinet_l: float | None = None,
) -> PlannedChamber:
    """Build the model: what is given wins over the site file, and that over the usual.

    Raises:
        PhysicsError: a figure out of range, or a vessel that does not go into the cabinet.

    """
    usual = SimulatedSettings()
    given = {Duty.COOL: cooler_w, Duty.HEAT: heater_w}
    in_site = {
        Duty.COOL: trial.cooler_w if trial is not None else None,
        Duty.HEAT: trial.heater_w if trial is not None else None,
    }
    by_default = {Duty.COOL: usual.cooler_w, Duty.HEAT: usual.heater_w}
    names = {Duty.COOL: "cooling", Duty.HEAT: "heating"}
    assumed, power_w = [], {}
    for duty in (Duty.COOL, Duty.HEAT):
        said_w = given[duty] if given[duty] is not None else in_site[duty]
        power_w[duty] = by_default[duty] if said_w is None else said_w
        if duty in settings.by_duty and said_w is None:
            option = {Duty.COOL: "--cooler", Duty.HEAT: "--heater"}[duty]
            assumed.append(
                f"the chamber's {names[duty]} power is taken to be {power_w[duty]:g} W ({option})"
            )
    room_l = cabinet_l
    if room_l is None:
        room_l = Cabinet().volume_l * batch.vessel_l / Vessel().capacity_l
        assumed.append(
            f"the cabinet is taken to be a fridge of {room_l:.0f} l with 40 mm of foam (--cabinet)"
        )
    original_p = max(batch.original_p, _LEAST_PLATO)
    parts = ChamberParameters(
        cabinet=Cabinet(volume_l=room_l),
        vessel=Vessel(
            capacity_l=batch.vessel_l,
            beer_l=batch.volume_l,
            original_plato=original_p,
            final_plato=min(batch.final_p, original_p),
        ),
        cooler=Cooler.of_power(power_w[Duty.COOL]),
        heater=Heater(power_w=power_w[Duty.HEAT]),
    )
    return PlannedChamber(settings, parts, tuple(assumed))
