"""Fermentation as a source of heat: sugars, yeast and alcohol of one batch over time.

The growth model of Gee & Ramirez (W. F. Ramirez and co-workers; J. Inst. Brew. 100, 321-329,
1994): glucose, maltose and maltotriose are taken up by Michaelis-Menten kinetics, the larger sugars
held back by the smaller; biomass, alcohol and heat follow from the sugars taken up. Amounts are in
mol per m³ of wort, the paper's rates in 1/h, temperatures in °C.

What it is for: how much heat a batch makes, when, and at which temperature it makes it faster. It
knows nothing of flavour. Two things are laid over the paper, both common practice, no source:
`Yeast.pace`, since the paper's fermentations take longer than a brewer's, and `Yeast.lag_s`, the
slow start after pitching.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import ceil, exp, expm1, log
from typing import Final, NamedTuple

from fermd.physics.errors import require
from fermd.physics.extract import (
    alcohol_by_weight,
    fermented_share_of_wort,
    wort_kg,
)

_GAS_CONSTANT_CAL_PER_MOL_K: Final = 1.987
_ZERO_C_K: Final = 273.15
_CO2_KG_PER_MOL: Final = 0.0440095
_S_PER_H: Final = 3600.0
_LONGEST_STEP_S: Final = 600.0

# The rates are published for 4 to 16 °C. Outside of this span they are held at its ends, rather
# than let an exponential run away.
_COLDEST_C: Final = -2.0
_WARMEST_C: Final = 30.0


class PerSugar(NamedTuple):
    """One figure for each of the three sugars."""

    glucose: float
    maltose: float
    maltotriose: float


HEAT_J_PER_MOL: Final = PerSugar(91.2e3, 226.3e3, 361.3e3)
"""Heat of fermentation (Gee & Ramirez): 506, 661 and 716 kJ/kg."""

KG_PER_MOL: Final = PerSugar(0.18016, 0.34230, 0.50444)

ETHANOL_PER_MOL: Final = PerSugar(1.92, 3.84, 5.76)
"""Moles of alcohol from a mole of sugar (Gee & Ramirez): 96 % of the stoichiometric yield."""

BIOMASS_PER_MOL: Final = PerSugar(0.134, 0.268, 0.402)
"""Moles of biomass from a mole of sugar (Gee & Ramirez)."""

REFERENCE_SUGARS: Final = PerSugar(70.0, 220.0, 40.0)
"""The paper's wort, mol/m³ (from memory): the proportions of any wort here."""


class Arrhenius(NamedTuple):
    """A rate or an affinity as exp(ln_factor - activation / (R T))."""

    ln_factor: float
    activation_cal_per_mol: float


class Kinetics(NamedTuple):
    """The rate parameters: uptake in 1/h, affinities and inhibitions in mol/m³.

    Activation energies as published with the isothermal values at 4, 8, 12 and 16 °C; frequency
    factors from memory, held against those isothermal values in the tests. The one of
    `maltose_affinity` is fitted to them (the recalled -19.5 gives a third less than the table).
    """

    glucose_uptake: Arrhenius = Arrhenius(35.77, 22_600.0)
    maltose_uptake: Arrhenius = Arrhenius(16.40, 11_300.0)
    maltotriose_uptake: Arrhenius = Arrhenius(10.59, 7_160.0)
    glucose_affinity: Arrhenius = Arrhenius(-121.3, -68_600.0)
    maltose_affinity: Arrhenius = Arrhenius(-19.1, -14_400.0)
    maltotriose_affinity: Arrhenius = Arrhenius(-26.78, -19_900.0)
    glucose_inhibition: Arrhenius = Arrhenius(23.33, 10_200.0)
    maltose_inhibition: Arrhenius = Arrhenius(55.61, 26_300.0)
    crowding_mol2_per_m6: float = 3.65e5
    """How far biomass growth is held back by the biomass already grown."""

    def at(self, temp_c: float) -> Rates:
        """Return the parameters at a temperature, held within -2 to 30 °C."""
        held_c = min(max(temp_c, _COLDEST_C), _WARMEST_C)
        per_cal = 1.0 / (_GAS_CONSTANT_CAL_PER_MOL_K * (held_c + _ZERO_C_K))

        uptake_1, uptake_2, uptake_3, affinity_1, affinity_2, affinity_3, held_1, held_2 = [
            exp(ln_factor - activation_cal_per_mol * per_cal)
            for ln_factor, activation_cal_per_mol in self[:8]
        ]
        return Rates(
            PerSugar(uptake_1, uptake_2, uptake_3),
            PerSugar(affinity_1, affinity_2, affinity_3),
            held_1,
            held_2,
        )


class Rates(NamedTuple):
    """`Kinetics` at one temperature."""

    uptake_per_h: PerSugar
    affinity_mol_per_m3: PerSugar
    glucose_inhibition_mol_per_m3: float
    maltose_inhibition_mol_per_m3: float


@dataclass(frozen=True, slots=True)
class Yeast:
    """How a pitch of yeast differs from the paper's.

    `pace` multiplies every rate. `lag_s` is the time constant with which pitched yeast comes to
    work: after one lag it works at 63 % of its rate. Both common practice, no source; the defaults
    are an ale yeast's. `pitched_mol_per_m3` is the paper's biomass at pitching.
    """

    pace: float = 1.4
    lag_s: float = 8 * _S_PER_H
    pitched_mol_per_m3: float = 125.0

    def __post_init__(self) -> None:
        """Check the ranges.

        Raises:
            PhysicsError: a pace, lag or pitch out of range.

        """
        require("yeast pace", self.pace, 0.01, 100.0)
        require("yeast lag", self.lag_s, 0.0, 30 * 86_400.0)
        require("pitched biomass", self.pitched_mol_per_m3, 1.0, 2000.0)

    @classmethod
    def ale(cls) -> Yeast:
        """Return a yeast that has 95 % of its sugar gone in about four days at 20 °C."""
        return cls()

    @classmethod
    def lager(cls) -> Yeast:
        """Return a yeast that has 95 % of its sugar gone in about nine days at 12 °C."""
        return cls(pace=2.0, lag_s=18 * _S_PER_H)


@dataclass(frozen=True, slots=True)
class Batch:
    """A wort and how far it will ferment; the default is a lager wort of 12 °P in 20 l."""

    volume_l: float = 20.0
    original_plato: float = 12.0
    final_plato: float = 2.5
    """Apparent extract at the end."""

    def __post_init__(self) -> None:
        """Check the ranges.

        Raises:
            PhysicsError: volume or extract out of range, or an end above the start.

        """
        require("batch volume", self.volume_l, 0.01, 1e6)
        alcohol_by_weight(self.original_plato, self.final_plato)

    @property
    def sugars(self) -> PerSugar:
        """The fermentable sugars of the wort in mol/m³, in the paper's proportions."""
        fermentable_kg = wort_kg(self.volume_l, self.original_plato) * fermented_share_of_wort(
            self.original_plato, self.final_plato
        )
        reference_kg_per_m3 = sum(
            mol * kg for mol, kg in zip(REFERENCE_SUGARS, KG_PER_MOL, strict=True)
        )
        scale = fermentable_kg / (self.volume_l / 1e3) / reference_kg_per_m3
        return PerSugar(*(mol * scale for mol in REFERENCE_SUGARS))


class FermentationState(NamedTuple):
    """Where a batch stands: sugars left, biomass and alcohol in mol/m³; yeast awake from 0 to 1."""

    glucose: float
    maltose: float
    maltotriose: float
    biomass: float
    ethanol: float
    awake: float


@dataclass(frozen=True, slots=True)
class FermentationModel:
    """A batch with its yeast, advanced through time at whatever temperature the beer has.

    Example:
        >>> model = FermentationModel(Batch(volume_l=20), Yeast.ale())
        >>> state = model.pitched()
        >>> for hour in range(24):
        ...     state, heat_w = model.advance(state, beer_c=20.0, dt_s=3600)
        >>> 4.0 < heat_w < 6.0
        True

    """

    batch: Batch = field(default_factory=Batch)
    yeast: Yeast = field(default_factory=Yeast)
    kinetics: Kinetics = field(default_factory=Kinetics)

    def pitched(self) -> FermentationState:
        """Return the state at pitching."""
        awake = 1.0 if self.yeast.lag_s == 0.0 else 0.0
        return FermentationState(*self.batch.sugars, self.yeast.pitched_mol_per_m3, 0.0, awake)

    def advance(
        self, state: FermentationState, beer_c: float, dt_s: float
    ) -> tuple[FermentationState, float]:
        """Return the state `dt_s` later and the mean heat in W over that time.

        The heat is that of the sugar gone, so that heat times time adds up to the batch's whole
        heat whatever the steps. Steps above 600 s are divided; the error of a step is of third
        order, and no step is too long to be stable.

        Raises:
            PhysicsError: a time step that is not above 0.

        """
        require("time step", dt_s, 1e-6, 1e8)
        if state.glucose + state.maltose + state.maltotriose < 1e-9:
            return state, 0.0
        rates = self.kinetics.at(beer_c)
        steps = ceil(dt_s / _LONGEST_STEP_S)
        later = state
        for _ in range(steps):
            later = self._step(later, rates, dt_s / steps)
        heat_j_per_m3 = (
            (state.glucose - later.glucose) * HEAT_J_PER_MOL.glucose
            + (state.maltose - later.maltose) * HEAT_J_PER_MOL.maltose
            + (state.maltotriose - later.maltotriose) * HEAT_J_PER_MOL.maltotriose
        )
        return later, heat_j_per_m3 * self.batch.volume_l / 1e3 / dt_s

    @property
    def total_heat_j(self) -> float:
        """The heat that the batch sets free from pitching to its end."""
        per_m3 = sum(
            mol * heat for mol, heat in zip(self.batch.sugars, HEAT_J_PER_MOL, strict=True)
        )
        return per_m3 * self.batch.volume_l / 1e3

    def fermented_share(self, state: FermentationState) -> float:
        """Return how much of the fermentable sugar, by mass, is gone: 0 to 1."""
        left = sum(mol * kg for mol, kg in zip(state[:3], KG_PER_MOL, strict=True))
        whole = sum(mol * kg for mol, kg in zip(self.batch.sugars, KG_PER_MOL, strict=True))
        return 1.0 - left / whole

    def apparent_plato(self, state: FermentationState) -> float:
        """Return what a hydrometer would show: it falls with the sugar, in proportion."""
        fall = self.batch.original_plato - self.batch.final_plato
        return self.batch.original_plato - fall * self.fermented_share(state)

    def carbon_dioxide_kg(self, state: FermentationState) -> float:
        """Return the carbon dioxide made since pitching: a mole with each mole of alcohol."""
        return state.ethanol * _CO2_KG_PER_MOL * self.batch.volume_l / 1e3

    def _step(self, state: FermentationState, rates: Rates, dt_s: float) -> FermentationState:
        """Advance by the midpoint rule, each sugar's own curve solved exactly within it.

        Explicit rules break down when the last glucose goes (its time constant falls to seconds);
        the exact solution of one sugar's curve does not.
        """
        lag_s = self.yeast.lag_s
        awake, worked_s = 1.0, dt_s
        if lag_s > 0.0:
            # All rates share one factor, so that a slow start is a slow clock.
            asleep = 1.0 - state.awake
            awake = 1.0 - asleep * exp(-dt_s / lag_s)
            worked_s = dt_s + asleep * lag_s * expm1(-dt_s / lag_s)
        worked_h = self.yeast.pace * worked_s / _S_PER_H

        middle = _take_up(state, state, rates, worked_h / 2.0)
        middle_biomass = state.biomass + self._grown(state, middle, state.biomass)
        sugars = _take_up(
            state, FermentationState(*middle, middle_biomass, 0.0, 0.0), rates, worked_h
        )
        alcohol = (
            ETHANOL_PER_MOL.glucose * (state.glucose - sugars.glucose)
            + ETHANOL_PER_MOL.maltose * (state.maltose - sugars.maltose)
            + ETHANOL_PER_MOL.maltotriose * (state.maltotriose - sugars.maltotriose)
        )
        return FermentationState(
            *sugars,
            state.biomass + self._grown(state, sugars, middle_biomass),
            state.ethanol + alcohol,
            awake,
        )

    def _grown(self, before: FermentationState, after: PerSugar, biomass: float) -> float:
        crowding = self.kinetics.crowding_mol2_per_m6
        growth = biomass - self.yeast.pitched_mol_per_m3
        grown = (
            BIOMASS_PER_MOL.glucose * (before.glucose - after.glucose)
            + BIOMASS_PER_MOL.maltose * (before.maltose - after.maltose)
            + BIOMASS_PER_MOL.maltotriose * (before.maltotriose - after.maltotriose)
        )
        return grown * crowding / (crowding + growth * growth)


def _take_up(
    start: FermentationState, during: FermentationState, rates: Rates, worked_h: float
) -> PerSugar:
    """Return the sugars left after `worked_h`, biomass and inhibition held as they are `during`."""
    uptake, affinity = rates.uptake_per_h, rates.affinity_mol_per_m3
    mol_h = during.biomass * worked_h
    glucose_lets = rates.glucose_inhibition_mol_per_m3 / (
        rates.glucose_inhibition_mol_per_m3 + during.glucose
    )
    maltose_lets = rates.maltose_inhibition_mol_per_m3 / (
        rates.maltose_inhibition_mol_per_m3 + during.maltose
    )
    return PerSugar(
        _michaelis_menten(start.glucose, affinity.glucose, uptake.glucose * mol_h),
        _michaelis_menten(start.maltose, affinity.maltose, uptake.maltose * glucose_lets * mol_h),
        _michaelis_menten(
            start.maltotriose,
            affinity.maltotriose,
            uptake.maltotriose * glucose_lets * maltose_lets * mol_h,
        ),
    )


def _michaelis_menten(amount: float, affinity: float, most: float) -> float:
    """Return what is left of `amount` when `most` would be taken up at an unlimited supply.

    Solves S + K ln S = S0 + K ln S0 - most, by Newton's method on u = ln(S/K). The function is
    convex and both starting points lie right of the root, so that the way down is monotone.
    """
    if amount < 1e-12:
        return 0.0
    log_ratio = log(amount / affinity)
    goal = (amount - most) / affinity + log_ratio
    u = min(log_ratio, log(goal) if goal > 1.0 else goal)
    for _ in range(60):
        ratio = exp(u)
        change = (ratio + u - goal) / (ratio + 1.0)
        u -= change
        if abs(change) < 1e-14 * max(1.0, abs(u)):
            break
    return affinity * exp(u)
