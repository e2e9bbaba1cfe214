"""The heat that the yeast is going to make along a profile, with the beer where it should be."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from typing import Final

from fermd.physics.fermentation import FermentationModel
from fermd.planning.timeline import Timeline, target_at

STEP_S: Final = 1800.0
"""The time between two values, s. A fermentation's heat rises and falls over a day."""

DONE_SHARE: Final = 0.95
"""So much of the sugar gone, the gas that still comes is not worth counting on."""


@dataclass(frozen=True, slots=True)
class HeatTrack:
    """Heat and progress of a batch over time."""

    times_s: tuple[float, ...]
    heat_w: tuple[float, ...]
    """The mean over the `STEP_S` from that time on."""
    share: tuple[float, ...]
    """How much of the fermentable sugar is gone by then, 0 to 1."""
    beer_c: tuple[float, ...]

    @property
    def peak(self) -> int:
        """Where the heat is greatest."""
        return max(range(len(self.heat_w)), key=self.heat_w.__getitem__)

    @property
    def done_utc_s(self) -> float:
        """When `DONE_SHARE` of the sugar is gone; the end of the track if it never is."""
        for at_s, share in zip(self.times_s, self.share, strict=True):
            if share >= DONE_SHARE:
                return at_s
        return self.times_s[-1]

    def heat_at_w(self, utc_s: float) -> float:
        """The heat at a time, W."""
        return self.heat_w[self._place(utc_s)]

    def share_at(self, utc_s: float) -> float:
        """How much of the sugar is gone at a time, 0 to 1."""
        return self.share[self._place(utc_s)]

    def _place(self, utc_s: float) -> int:
        return max(0, bisect_right(self.times_s, utc_s) - 1)


def heat_along(line: Timeline, model: FermentationModel | None) -> HeatTrack:
    """Let a batch ferment along a timeline; a finished beer makes no heat.

    In a free rise the beer is taken to go up as fast as its heat takes it with no loss, which
    makes the heat no smaller than it is.
    """
    corners = line.corners
    times, heats, shares, beers = [], [], [], []
    state = None if model is None else model.pitched()
    at_s, end_s = line.start_utc_s, corners[-1].utc_s
    beer_c = line.start_c
    while at_s <= end_s:
        heat_c, cool_c = target_at(corners, at_s)
        beer_c = min(max(beer_c, heat_c), cool_c)
        heat_w, share = 0.0, 1.0
        if model is not None and state is not None:
            share = model.fermented_share(state)
            state, heat_w = model.advance(state, beer_c, STEP_S)
        times.append(at_s)
        heats.append(heat_w)
        shares.append(share)
        beers.append(beer_c)
        if model is not None:
            # 4.0 kJ/(kg K), 1.04 kg/l: Gee & Ramirez's wort.
            beer_c += heat_w * STEP_S / (model.batch.volume_l * 1.04 * 4016.0)
        at_s += STEP_S
    return HeatTrack(tuple(times), tuple(heats), tuple(shares), tuple(beers))
