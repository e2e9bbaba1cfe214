"""Whole simulated boards from a few numbers: a fridge, a heater and a vessel for each chamber."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Protocol

from fermd.control.settings import Duty
from fermd.hardware.simulated import (
    Contact,
    SimulatedProbe,
    SimulatedProbeBus,
    SimulatedRelayBank,
    in_air,
    in_vessel,
)
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.hardware.simulated_plant import (
    Fermenting,
    HeatSource,
    SimulatedPlant,
    no_fermentation,
)
from fermd.physics.ambient import DayNightAmbient
from fermd.physics.cabinet import Cabinet, Cooler
from fermd.physics.fermentation import Batch, FermentationModel
from fermd.physics.parameters import ChamberParameters
from fermd.physics.thermal import ThermalModel
from fermd.physics.vessel import Heater, Vessel

_USUAL_BEER_L: Final = Vessel().beer_l
_HEADSPACE: Final = Vessel().capacity_l / Vessel().beer_l
_FINAL_SHARE: Final = Batch().final_plato / Batch().original_plato
_WATER_PLATO: Final = 0.1
"""The thinnest beer whose heat capacity is known to the model; stands for water."""


class Trial(Protocol):
    """What a simulated board is made from; every chamber alike."""

    @property
    def volume_l(self) -> float:
        """Beer in each vessel, l."""
        ...

    @property
    def original_extract_p(self) -> float:
        """Original extract, °P; 0 is water."""
        ...

    @property
    def start_c(self) -> float:
        """The beer's temperature at the start, °C."""
        ...

    @property
    def ambient_c(self) -> float:
        """Mean temperature of the room, °C."""
        ...

    @property
    def ambient_swing_c(self) -> float:
        """The room is this much warmer by day and colder by night, °C."""
        ...

    @property
    def heater_w(self) -> float:
        """Power of the heater, W."""
        ...

    @property
    def cooler_w(self) -> float:
        """Cooling power, W, with the evaporator at -10 °C."""
        ...


@dataclass(frozen=True, slots=True)
class ChamberWiring:
    """What hangs where in one chamber: ids of its probes, lines of its relays."""

    vessel_probe_id: str
    air_probe_id: str | None = None
    watching_probe_ids: Sequence[str] = ()
    lines: Mapping[Duty, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SimulatedBoard:
    """Everything that a loop is plugged into, and the plants behind it, by the chamber's name."""

    clock: SimulatedClock
    probes: SimulatedProbeBus
    relays: SimulatedRelayBank
    plants: Mapping[str, SimulatedPlant]

    def power_cut(self, lasted_s: float, *, wall_survives: bool = False) -> None:
        """Cut the power of board and chambers for so long; the process on the board is gone.

        Enter the relays and the probes again for the next one.
        """
        self.relays.kill()
        for plant in self.plants.values():
            plant.power_cut(self.clock.true_utc_s, lasted_s)
        self.clock.power_cut(lasted_s, wall_survives=wall_survives)


def simulated_board(
    chambers: Mapping[str, ChamberWiring],
    trial: Trial,
    sample_period_s: float,
    clock: SimulatedClock,
    seed: int = 0,
) -> SimulatedBoard:
    """Build the chambers of a trial on one clock."""
    parameters = _parameters(trial)
    plants: dict[str, SimulatedPlant] = {}
    probes: dict[str, SimulatedProbe] = {}
    contacts: dict[str, Contact] = {}
    for name, wiring in chambers.items():
        plant = plants[name] = SimulatedPlant(
            ThermalModel(parameters),
            beer_c=trial.start_c,
            ambient_c=DayNightAmbient(trial.ambient_c, trial.ambient_swing_c).temp_c,
            start_utc_s=clock.true_utc_s,
            heat_source=_batch(trial),
        )
        for probe_id in (wiring.vessel_probe_id, *wiring.watching_probe_ids):
            probes[probe_id] = SimulatedProbe(plant, in_vessel)
        if wiring.air_probe_id is not None:
            probes[wiring.air_probe_id] = SimulatedProbe(plant, in_air)
        for duty, line in wiring.lines.items():
            contacts[line] = Contact(plant, duty)
    return SimulatedBoard(
        clock,
        SimulatedProbeBus(probes, sample_period_s, clock, seed),
        SimulatedRelayBank(contacts, clock),
        plants,
    )


def _parameters(trial: Trial) -> ChamberParameters:
    """Scale the usual fridge to the batch: its room with the vessel, its plate with its power."""
    original_plato = max(trial.original_extract_p, _WATER_PLATO)
    return ChamberParameters(
        cabinet=Cabinet(volume_l=Cabinet().volume_l * trial.volume_l / _USUAL_BEER_L),
        vessel=Vessel(
            capacity_l=trial.volume_l * _HEADSPACE,
            beer_l=trial.volume_l,
            original_plato=original_plato,
            final_plato=original_plato * _FINAL_SHARE,
        ),
        cooler=Cooler.of_power(trial.cooler_w),
        heater=Heater(power_w=trial.heater_w),
    )


def _batch(trial: Trial) -> HeatSource:
    original_plato = trial.original_extract_p
    if original_plato == 0.0:
        return no_fermentation
    return Fermenting(
        FermentationModel(Batch(trial.volume_l, original_plato, original_plato * _FINAL_SHARE))
    )
