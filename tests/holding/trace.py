"""What happened in one run of a scenario: all that figures and picture are made of."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Series = NDArray[np.floating]
Flags = NDArray[np.bool_]

LINE_POINTS = 1600


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """One contestant in one scenario.

    The arrays have one entry a period of the scenario: entry k is how things stood at
    `t_s[k]` = k periods since the start, and which outputs ran from then on to entry k + 1.
    Temperatures are true ones, °C, of the body and of the probes, without noise.
    """

    scenario: str
    contestant: str
    seed: int
    t_s: Series
    target_c: Series
    beer_c: Series
    wall_c: Series
    """The vessel's wall."""
    air_c: Series
    vessel_probe_c: Series
    """The body of the vessel probe, with its lag."""
    air_probe_c: Series
    cool_on: Flags
    heat_on: Flags
    ambient_c: Series
    """The room."""
    heat_w: Series
    """Heat of fermentation, W, mean over the period that begins here."""
    door_open: Flags
    electric_j: float
    """Electricity used in the whole run: compressor, heater and fan."""
    cool_starts_s: Series
    """When cooling was switched on, s since the start."""
    heat_starts_s: Series
    cool_offs_s: Series = field(default_factory=lambda: np.zeros(0))
    """How long cooling was off between a stop and the next start, s, for every such pause."""
    read_c: Series = field(default_factory=lambda: np.zeros(0))
    """What the vessel probe showed, with noise and steps; empty if nobody looked."""

    @property
    def shortest_off_s(self) -> float | None:
        """The shortest pause of cooling between two runs, s; None if it ran once or never."""
        return float(self.cool_offs_s.min()) if self.cool_offs_s.size else None


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """What a picture shows of a trace."""

    t_s: Series
    target_c: Series
    beer_c: Series

    @staticmethod
    def of(trace: Trace) -> Line:
        """Return every so manieth moment: more of them than a pane has dots."""
        every = slice(None, None, max(1, trace.t_s.size // LINE_POINTS))
        return Line(trace.t_s[every], trace.target_c[every], trace.beer_c[every])


def switchings(on: Flags, t_s: Series) -> tuple[Series, Series]:
    """Return when an output was switched on (s), and its pauses between two runs (s)."""
    before = np.concatenate(([False], on[:-1]))
    starts_s, stops_s = t_s[on & ~before], t_s[~on & before]
    pauses = min(stops_s.size, starts_s.size - 1) if starts_s.size else 0
    return starts_s, starts_s[1 : pauses + 1] - stops_s[:pauses]
