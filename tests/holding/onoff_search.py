"""The best on-off sequence for a plant that is known in advance: dynamic programming over cells.

Forward, block by block. A node is a true state of the plant with what protection remembers of the
outputs, and the cheapest way that was found to it. Of nodes that are locked alike and whose beers
to come differ by less than a cell (`BlockPlant.alike`), the cheapest is kept; nodes that are dearer
than the cheapest of all by more than a few starts are given up, since the cheapest could buy their
state for less. No state is ever rounded: whatever comes out is a sequence that the plant can do,
and its cost is its own. What the cells cost is seen by making them smaller.

The cost is the integral of the beer's squared error, K² s, plus a price for each start, which is
the Lagrange multiplier of a limit on the number of starts, plus a price for running that breaks
ties between sequences that hold alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from block_plant import Action, BlockPlant, Floats
from numpy.typing import NDArray
from output_locks import Book, Locks
from run import MINUTE_S

from fermd.control.safety import FREEZING_DIFFERENTIAL_C
from fermd.control.settings import ChamberSettings
from fermd.physics.network import AIR_PROBE, VESSEL_PROBE

Actions = NDArray[np.int8]

RUNNING_K2: Final = 1e-8
"""The price of running for a second, K² s / s: a 0.1 mK error."""

ALIKE_OVER_S: Final = 6 * 3600.0
"""Beers are alike if they are over so long, s: longer than a usual cycle."""

PROBES_ERR_C: Final = 0.15
"""So far from a limit of air or beer the search stays, °C: protection acts on what the probes
show, three deviations of noise (0.09) and a step of the register (0.06) from the truth."""

FIRST_CELL_C: Final = 1e-4
"""The size of the cells at first, °C: they grow as soon as there are too many."""

STARTS_APART: Final = 3.0
"""A node dearer than the cheapest by so many starts is given up ..."""
APART_K_S: Final = 600.0
"""... but for this times the error, K² s / K: time is worth more far from the target ..."""
APART_K2_S: Final = 6.0
"""... and for so much in any case, where starts are free."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a search begins: the plant's state, and what protection remembers."""

    state: Floats
    book: Book


@dataclass(frozen=True, slots=True)
class Found:
    """The cheapest sequence."""

    actions: Actions
    """What runs in each block."""
    price: float
    """What it costs, K² s, with its starts."""
    cell_c: float
    """The median of the cells' sizes, °C."""


def search(
    plant: BlockPlant,
    locks: Locks,
    limits: AirAndFreezing,
    start: Standing,
    first_block: int,
    target_c: Floats,
    start_price: float,
    nodes: int,
) -> Found:
    """Find the cheapest sequence from a block on, for as long as targets are given.

    `target_c`: at the end of each minute; `start_price`: of one start, K² s; `nodes`: at most so
    many are kept after a block; the cells are as small as that allows.
    """
    found = _Search(plant, locks, limits, start, start_price, nodes)
    for place, minutes in enumerate(target_c.reshape(-1, plant.minutes)):
        found.advance(first_block + place, minutes)
    return found.trace_back()


class _Search:
    def __init__(
        self,
        plant: BlockPlant,
        locks: Locks,
        limits: AirAndFreezing,
        start: Standing,
        start_price: float,
        nodes: int,
    ) -> None:
        self._plant = plant
        self._locks = locks
        self._limits = limits
        self._price = start_price
        self._most = nodes
        self._alike = plant.alike(ALIKE_OVER_S)
        self._cell_c = FIRST_CELL_C
        self._states = start.state[np.newaxis, :]
        self._book = start.book
        self._cost = np.zeros(1)
        self._parents: list[NDArray[np.int32]] = []
        self._actions: list[Actions] = []
        self._cells: list[float] = []

    def advance(self, block: int, target_c: Floats) -> None:
        plant, dt_s = self._plant, self._plant.block_s
        now_s = block * dt_s
        states, books, costs, parents, actions, errors = [], [], [], [], [], []
        for action in self._locks.actions:
            may = self._locks.may(self._book, action, now_s)
            fresh = ~self._locks.runs(self._book, action)
            may &= ~fresh | self._limits.may_start(self._states, action)
            who = np.flatnonzero(may)
            if not who.size:
                continue
            later, beers = plant.advance(self._states[who], action, block)
            book, starts = self._locks.follow(self._book[who], action, now_s)
            inside = self._limits.may_run(later, action)
            if not inside.all():
                who, later, beers = who[inside], later[inside], beers[inside]
                book, starts = book[inside], starts[inside]
            error_c = beers - target_c
            cost = np.einsum("ij,ij->i", error_c, error_c) * MINUTE_S + starts * self._price
            if action is not Action.OFF:
                cost += RUNNING_K2 * dt_s
            states.append(later)
            books.append(book)
            costs.append(self._cost[who] + cost)
            parents.append(who)
            actions.append(np.full(who.size, action, dtype=np.int8))
            errors.append(error_c[:, -1])
        all_costs = np.concatenate(costs)
        near = self._not_too_dear(all_costs, np.concatenate(errors))
        state, book = np.concatenate(states)[near], np.concatenate(books)[near]
        kept = self._one_a_cell(state, book, now_s + dt_s)
        chosen = near[kept]
        self._states, self._book = state[kept], book[kept]
        self._cost = all_costs[chosen]
        self._parents.append(np.concatenate(parents)[chosen].astype(np.int32))
        self._actions.append(np.concatenate(actions)[chosen])

    def _not_too_dear(self, cost: Floats, off_c: Floats) -> NDArray[np.intp]:
        """Return which are not given up, the cheapest first."""
        best = int(np.argmin(cost))
        apart = STARTS_APART * self._price + APART_K_S * abs(float(off_c[best])) + APART_K2_S
        near = np.flatnonzero(cost <= cost[best] + apart)
        return near[np.argsort(cost[near], kind="stable")]

    def _one_a_cell(self, state: Floats, book: NDArray[np.int64], at_s: float) -> NDArray[np.intp]:
        """Return which to keep, the cheapest first; they come in that order."""
        label = self._locks.label(book, at_s)
        seen = state @ self._alike
        lowest = np.floor(seen.min(axis=0) / self._cell_c) * self._cell_c
        while True:
            place = np.floor((seen - lowest) / self._cell_c).astype(np.int64)
            wide = place.max(axis=0) + 1
            key = ((label * wide[0] + place[:, 0]) * wide[1] + place[:, 1]) * wide[2] + place[:, 2]
            _, first = np.unique(key, return_index=True)
            if first.size <= self._most:
                break
            self._cell_c *= max(1.05, (first.size / self._most) ** 0.5)
        self._cells.append(self._cell_c)
        if first.size < 0.8 * self._most:
            self._cell_c = max(self._cell_c / 1.03, 1e-5)
        first.sort()
        return first

    def trace_back(self) -> Found:
        node = int(np.argmin(self._cost))
        price = float(self._cost[node])
        actions = np.zeros(len(self._actions), dtype=np.int8)
        for place in range(actions.size - 1, -1, -1):
            actions[place] = self._actions[place][node]
            node = int(self._parents[place][node])
        return Found(actions, price, float(np.median(self._cells)))


class AirAndFreezing:
    """The limits of the air and of the beer, for many states at once."""

    def __init__(self, settings: ChamberSettings) -> None:
        limits = settings.limits
        has_air_probe = settings.air_probe is not None
        back_c = limits.air_differential_c
        self._coldest_beer_c = limits.coldest_beer_c + PROBES_ERR_C
        self._coldest_air_c = limits.air_lowest_c + PROBES_ERR_C if has_air_probe else -np.inf
        self._warmest_air_c = limits.air_highest_c - PROBES_ERR_C if has_air_probe else np.inf
        self._air_back_c = back_c

    def may_run(self, states: Floats, action: Action, back: bool = False) -> NDArray[np.bool_]:
        """Tell in which states an output that runs may run on."""
        back_c = self._air_back_c if back else 0.0
        freezing_c = FREEZING_DIFFERENTIAL_C if back else 0.0
        if action is Action.COOL:
            warm = states[:, VESSEL_PROBE] > self._coldest_beer_c + freezing_c
            return np.asarray(warm & (states[:, AIR_PROBE] > self._coldest_air_c + back_c))
        if action is Action.HEAT:
            return np.asarray(states[:, AIR_PROBE] < self._warmest_air_c - back_c)
        return np.ones(states.shape[0], dtype=bool)

    def may_start(self, states: Floats, action: Action) -> NDArray[np.bool_]:
        """Tell in which states an output that is off may be started."""
        return self.may_run(states, action, back=True)


def starts_of(actions: Actions) -> int:
    """Return how often anything is started in a sequence that begins with everything off."""
    before = np.concatenate(([Action.OFF], actions[:-1]))
    return int(np.sum((actions != before) & (actions != Action.OFF)))
