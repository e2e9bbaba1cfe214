"""A scenario's plant cut into blocks, for many states at once: exact, and quick.

Room and yeast are taken anew every minute, and the doors every period, as the simulated plant does,
so that a block of minutes is one affine map for each way of switching and each course of the doors:
next = state · map + what room, yeast and the mode itself add in that block. The map's first eight
columns are the temperatures at the block's end, the others the beer after each of its minutes.

The heat of fermentation is given as a trace. What it truly is depends on the beer's temperature,
by some percent a degree: whoever calls says along which course of the beer it was worked out.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray
from run import MINUTE_S, doors_open
from scenario import Scenario
from scipy.linalg import expm

from fermd.physics.network import BEER, BODIES, NODES, Mode, Network
from fermd.physics.thermal import Drive

Floats = NDArray[np.float64]


class Action(IntEnum):
    """What runs during a block."""

    OFF = 0
    COOL = 1
    HEAT = 2


@dataclass(frozen=True, slots=True)
class _Maps:
    """One way of switching: a map for each course of the doors, and what each block adds to it."""

    maps: list[Floats]
    added: Floats


class BlockPlant:
    """The plant of one scenario in blocks of whole minutes."""

    def __init__(self, scenario: Scenario, heat_w: Floats, block_s: float) -> None:
        """`heat_w`: the heat of fermentation, W, one entry a minute of the whole trial.

        Raises:
            ValueError: a block that is not whole minutes, or does not divide the trial.

        """
        minutes = round(block_s / MINUTE_S)
        if minutes < 1 or minutes * MINUTE_S != block_s or heat_w.size % minutes:
            raise ValueError(f"block_s = {block_s:g}: must be whole minutes that divide the trial")
        self.block_s = block_s
        self.minutes = minutes
        self.blocks = heat_w.size // minutes
        self._network = scenario.model.network
        times_s = np.arange(heat_w.size) * MINUTE_S
        room_c = np.array([scenario.ambient_c(scenario.start_utc_s + at_s) for at_s in times_s])
        # What acts in each minute: room, yeast and the constant of the mode.
        self._drives = np.column_stack((room_c, heat_w, np.ones_like(heat_w)))
        self._period_s = scenario.period_s
        self._periods = round(MINUTE_S / scenario.period_s)
        periods_s = np.arange(round(scenario.lasts_s / scenario.period_s)) * scenario.period_s
        is_open = np.array(doors_open(scenario, periods_s)).reshape(self.blocks, -1)
        # A few courses of the doors within a block, and which of them each block has.
        self._courses, which = np.unique(is_open, axis=0, return_inverse=True)
        self._course = which.ravel().tolist()
        self._fan = scenario.fan_always
        self._by_action: dict[Action, _Maps] = {}
        rest = Drive(float(room_c[0]), fan=self._fan)
        self.start: Floats = np.array(scenario.model.held(rest, scenario.start_c))

    def advance(self, states: Floats, action: Action, block: int) -> tuple[Floats, Floats]:
        """Return the states a block later, and the beer (°C) after each of its minutes."""
        known = self._by_action.get(action)
        if known is None:
            known = self._by_action[action] = self._prepare(action)
        result = states @ known.maps[self._course[block]] + known.added[block]
        return result[:, :NODES], result[:, NODES:]

    def alike(self, horizon_s: float) -> Floats:
        """Return a map (8 by 3) to coordinates in which distance is the beer to come, °C.

        Two states so far apart there will make beers that differ by so much (RMS over the horizon)
        if nothing runs: W = 1/H ∫ exp(A't) c c' exp(At) dt, the observability Gramian of the beer
        (Kalman 1960), and its three strongest directions, each scaled by the root of its share.
        """
        rates = np.array(self._network.equations(Mode(False, False, self._fan, False)))[
            :BODIES, :BODIES
        ]
        step = expm(rates * MINUTE_S)
        row = np.zeros(BODIES)
        row[BEER] = 1.0
        rows = []
        for _ in range(max(1, round(horizon_s / MINUTE_S))):
            row = row @ step
            rows.append(row)
        _, lengths, directions = np.linalg.svd(np.array(rows), full_matrices=False)
        widest = directions[:3].T * lengths[:3] / np.sqrt(len(rows))
        return np.vstack((widest, np.zeros((NODES - BODIES, widest.shape[1]))))

    def _prepare(self, action: Action) -> _Maps:
        cooling, heating = action is Action.COOL, action is Action.HEAT
        by_door = {
            door: _period(self._network, Mode(cooling, heating, self._fan, door), self._period_s)
            for door in (False, True)
        }
        maps: list[Floats] = []
        added = np.empty((self.blocks, NODES + self.minutes))
        drives = self._drives.reshape(self.blocks, self.minutes, -1)
        course = np.array(self._course)
        for place, doors in enumerate(self._courses.reshape(-1, self.minutes, self._periods)):
            here = course == place
            through, offset = np.eye(NODES), np.zeros((int(here.sum()), NODES))
            beers, beer_offsets = [], []
            for minute, in_minute in enumerate(doors):
                for door in in_minute.tolist():
                    own, given = by_door[door]
                    through = through @ own.T
                    offset = offset @ own.T + drives[here, minute] @ given.T
                beers.append(through[:, BEER])
                beer_offsets.append(offset[:, BEER])
            maps.append(np.column_stack((through, *beers)))
            added[here] = np.column_stack((offset, *beer_offsets))
        return _Maps(maps, added)


def _period(network: Network, mode: Mode, lasts_s: float) -> tuple[Floats, Floats]:
    """Return what a period makes of the temperatures, and of what acts."""
    rates = np.zeros((NODES + 3, NODES + 3))
    rates[:NODES] = network.equations(mode)
    through = expm(rates * lasts_s)
    return through[:NODES, :NODES], through[:NODES, NODES:]
