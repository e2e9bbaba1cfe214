"""The best possible for a plant: on-off sequences searched with full knowledge, then really run.

What is known in advance: the plant, the room, the doors, the yeast and the true temperature of the
beer. What is not: that the target is going to change, before it does. No thermostat is told, and
one that were could begin a crash an hour early at the cost of the hold before it. So each leg of
the plan is searched by itself, as though its target went on, from where the leg before left off.

The sequence found is then put behind fermd's own protections, on the same simulated plant with the
same probes as everybody's. They must pass it as it is: `NotPassed` otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import floor, inf, sqrt
from trace import Trace
from typing import Final

import numpy as np
from block_plant import Action, BlockPlant, Floats
from onoff_search import Actions, AirAndFreezing, Standing, search, starts_of
from output_locks import Locks
from run import MINUTE_S, run
from scenario import DAY_S, HOUR_S, Scenario
from thermostats.guarded import Guarded
from thermostats.thermostat import Running

CONTESTANT: Final = "best possible"

BEYOND_S: Final = 6 * HOUR_S
"""So far beyond its end a leg is looked at, s, so that it is not left in a bad state."""


COARSE_START_PRICE: Final = 30.0
"""Where the search for the price of a start begins, K² s ..."""
FREE_START_PRICE: Final = 1e-2
"""... and the price of starts that are free: it only breaks ties."""
DEAREST: Final = 1e7

NEAR_SHARE: Final = 0.96
"""Once so many of the starts allowed are used, or all but one, the search for their price ends."""
COARSE_TRIES: Final = 8
FINE_TRIES: Final = 3


@dataclass(frozen=True, slots=True)
class Effort:
    """How finely is searched."""

    block_s: float
    """The time between two decisions, s: whole minutes."""
    nodes: int
    """So many courses of events are kept at a time."""


COARSE: Final = Effort(300.0, 500)
"""Finds the price of a start and the course of fermentation ..."""
FINE: Final = Effort(60.0, 1500)
"""... for the search that counts."""


class NotPassed(Exception):  # noqa: N818 - a finding
    """Protection changed a sequence that was said to keep to it."""


@dataclass(frozen=True, slots=True)
class Sequence:
    """What runs when, and the beer that it was found to make."""

    block_s: float
    actions: Actions
    beer_c: Floats
    """At the end of each minute, °C."""
    cell_c: float

    @property
    def starts(self) -> int:
        """Of cooling and heating together."""
        return starts_of(self.actions)


def best_possible(
    scenario: Scenario,
    seed: int,
    most_starts_a_day: float | None,
    *,
    coarse: Effort = COARSE,
    fine: Effort = FINE,
) -> Trace:
    """Return the best that could have been done, run with the probes' noise of a seed.

    `most_starts_a_day`: how often anything may be started, cooling and heating together, on the
    average of the whole trial; None: as often as protection allows.

    Raises:
        NotPassed: protection did not let the sequence through as it is.

    """
    return really_run(scenario, seed, best_sequence(scenario, most_starts_a_day, coarse, fine))


def best_sequence(
    scenario: Scenario, most_starts_a_day: float | None, coarse: Effort, fine: Effort
) -> Sequence:
    """Return the best sequence with no more starts than are allowed."""
    minutes = round(scenario.lasts_s / MINUTE_S)
    heat_w = heat_along(
        scenario, np.array([scenario.target_c(at * MINUTE_S) for at in range(minutes)])
    )
    if most_starts_a_day is None:
        rough = sequence(scenario, heat_w, FREE_START_PRICE, coarse)
        return sequence(scenario, _heat_of(scenario, rough), FREE_START_PRICE, fine)
    most = floor(most_starts_a_day * scenario.lasts_s / DAY_S + 1e-6)
    price, rough = _priced(scenario, heat_w, most, COARSE_START_PRICE, coarse, COARSE_TRIES)
    return _priced(scenario, _heat_of(scenario, rough), most, price, fine, FINE_TRIES)[1]


def _priced(
    scenario: Scenario, heat_w: Floats, most: int, price: float, effort: Effort, tries: int
) -> tuple[float, Sequence]:
    """Search for the price of a start at which nearly all starts that are allowed are taken.

    The error of a sawtooth grows as 1/starts, its square's integral as 1/starts², so that the
    price, which is its slope, goes as 1/starts³: the first guess of each next price.
    """
    low, high = FREE_START_PRICE, inf
    kept: tuple[float, Sequence] | None = None
    while tries > 0 or kept is None:
        found = sequence(scenario, heat_w, price, effort)
        heat_w = _heat_of(scenario, found)
        tries -= 1
        if found.starts <= most:
            kept, high = (price, found), price
            if found.starts >= min(NEAR_SHARE * most, most - 1) or price <= FREE_START_PRICE:
                break
        else:
            low = price
            if price > DEAREST:
                raise NotPassed(f"{scenario.name}: cannot be done with {most} starts")
        guess = price * ((found.starts + 0.3) / (0.985 * most + 0.3)) ** 3
        guess = min(max(guess, price / 100.0), price * 100.0, 2.0 * DEAREST)
        if not low < guess < high:
            guess = sqrt(low * high) if high < inf else low * 2.0
        price = max(guess, FREE_START_PRICE)
    return kept


def _heat_of(scenario: Scenario, found: Sequence) -> Floats:
    return heat_along(scenario, np.concatenate(([scenario.start_c], found.beer_c[:-1])))


def heat_along(scenario: Scenario, beer_c: Floats) -> Floats:
    """Return the heat of fermentation in each minute, W, the beer at its start being given, °C."""
    if scenario.fermentation is None:
        return np.zeros_like(beer_c)
    wort, heats = scenario.fermentation.pitched(), []
    for temp_c in beer_c.tolist():
        wort, heat_w = scenario.fermentation.advance(wort, temp_c, MINUTE_S)
        heats.append(heat_w)
    return np.array(heats)


class _Planned:
    """A law for `Guarded` that calls for what was planned."""

    def __init__(self, planned: Sequence) -> None:
        self._planned = planned

    def call(self, at_s: float, vessel_c: float, target_c: float) -> Running:
        action = self._planned.actions[int(at_s / self._planned.block_s + 1e-9)]
        return Running(bool(action == Action.COOL), bool(action == Action.HEAT))


def really_run(scenario: Scenario, seed: int, planned: Sequence) -> Trace:
    """Run a sequence behind the protections.

    Raises:
        NotPassed: they did not let it through as it is.

    """
    trace = run(scenario, Guarded(scenario, _Planned(planned)), CONTESTANT, seed)
    calls = np.repeat(planned.actions, round(planned.block_s / scenario.period_s))
    amiss = (trace.cool_on != (calls == Action.COOL)) | (trace.heat_on != (calls == Action.HEAT))
    if amiss.any():
        first = int(np.argmax(amiss))
        raise NotPassed(
            f"{scenario.name}: at {trace.t_s[first]:.0f} s {Action(int(calls[first])).name} was "
            f"planned, protection has cooling {trace.cool_on[first]}, heating "
            f"{trace.heat_on[first]}; "
            f"{int(amiss.sum())} periods in all"
        )
    return trace


def sequence(scenario: Scenario, heat_w: Floats, start_price: float, effort: Effort) -> Sequence:
    """Search all legs, with a price of a start (K² s) and a trace of yeast's heat (W a minute)."""
    plant = BlockPlant(scenario, heat_w, effort.block_s)
    locks = Locks(scenario.settings, effort.block_s)
    limits = AirAndFreezing(scenario.settings)
    standing = Standing(plant.start, locks.fresh())
    actions, beers, cells = [], [], []
    bounds = np.round(np.cumsum([0.0, *(leg.lasts_s for leg in scenario.plan)]) / effort.block_s)
    for leg, (first, end) in zip(scenario.plan, pairwise(bounds.astype(int)), strict=True):
        last = min(plant.blocks, end + round(BEYOND_S / effort.block_s))
        # Within a leg the plan is asked; beyond it its target goes on.
        ends_s = first * effort.block_s + MINUTE_S * np.arange(
            1, (last - first) * plant.minutes + 1
        )
        target_c = np.array([scenario.target_c(float(at_s)) for at_s in ends_s])
        target_c[(end - first) * plant.minutes - 1 :] = leg.target_c
        found = search(plant, locks, limits, standing, first, target_c, start_price, effort.nodes)
        kept = found.actions[: end - first]
        standing, beer_c = _follow(plant, locks, standing, first, kept)
        actions.append(kept)
        beers.append(beer_c)
        cells.append(found.cell_c)
    return Sequence(
        effort.block_s, np.concatenate(actions), np.concatenate(beers), float(np.median(cells))
    )


def _follow(
    plant: BlockPlant, locks: Locks, standing: Standing, first: int, actions: Actions
) -> tuple[Standing, Floats]:
    """Return where a sequence leads, and the beer at the end of each minute on the way, °C."""
    state, book, beers = standing.state[np.newaxis, :], standing.book, []
    for place, code in enumerate(actions.tolist()):
        action, block = Action(code), first + place
        book, _ = locks.follow(book, action, block * plant.block_s)
        state, beer_c = plant.advance(state, action, block)
        beers.append(beer_c[0])
    return Standing(state[0], book), np.concatenate(beers)
