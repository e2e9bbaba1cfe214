"""When heat or cooling is called for: two bands around the target, and an idle zone between.

    ── cool from ───── a call for cooling begins at or above
    ── heat until ──── a call for heat ends at or above
    ── target
    ── cool until ──── a call for cooling ends at or below
    ── heat from ───── a call for heat begins at or below

Each side has its own band and differential. Where the four edges lie comes from the
settings alone (`plain_edges`), or from what has been learned of the chamber as well (`edges.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fermd.control.reasons import Reason, Rule
from fermd.control.settings import BandSettings, Duty
from fermd.control.steps import Target


class Call(StrEnum):
    """What the bands (or a person in their place) want of the chamber."""

    HEAT = "heat"
    COOL = "cool"
    IDLE = "idle"


@dataclass(frozen=True, slots=True)
class Called:
    """A call with its reason."""

    call: Call
    reason: Reason


@dataclass(frozen=True, slots=True)
class Edges:
    """Where calls begin and end, °C, as read by the vessel probe."""

    heat_from_c: float
    heat_until_c: float
    cool_from_c: float
    cool_until_c: float
    coming_c: float | None = None
    """Where the beer is still going by itself after a run; None: nowhere."""

    def moved(self, by_c: float) -> Edges:
        """Return the same edges so much higher, °C."""
        if not by_c:
            return self
        return Edges(
            self.heat_from_c + by_c,
            self.heat_until_c + by_c,
            self.cool_from_c + by_c,
            self.cool_until_c + by_c,
            None if self.coming_c is None else self.coming_c + by_c,
        )


def plain_edges(
    target: Target, heat: BandSettings, cool: BandSettings, last: Duty | None = None
) -> Edges:
    """Return the edges without any foresight: a call ends at the target at the latest.

    What the beer coasts comes on top. `last` is the side that ran last: the other one begins only
    beyond its changeover band.
    """
    heat_c = heat.after_the_other_c if last is Duty.COOL else heat.band_c
    cool_c = cool.after_the_other_c if last is Duty.HEAT else cool.band_c
    return Edges(
        target.heat_c - heat_c,
        target.heat_c - max(heat.band_c - heat.differential_c, 0.0),
        target.cool_c + cool_c,
        target.cool_c + max(cool.band_c - cool.differential_c, 0.0),
    )


def call(edges: Edges, beer_c: float, before: Call) -> Called:
    """Return what is called for at a beer temperature (°C), given what was called for before."""
    # A call neither begins nor goes on where it would end.
    if beer_c > edges.cool_until_c:
        if beer_c >= edges.cool_from_c:
            return Called(Call.COOL, Reason(Rule.ABOVE_BAND, beer_c, edges.cool_from_c))
        if before is Call.COOL:
            return Called(Call.COOL, Reason(Rule.CALL_CONTINUES, beer_c, edges.cool_until_c))
    if beer_c < edges.heat_until_c:
        if beer_c <= edges.heat_from_c:
            return Called(Call.HEAT, Reason(Rule.BELOW_BAND, beer_c, edges.heat_from_c))
        if before is Call.HEAT:
            return Called(Call.HEAT, Reason(Rule.CALL_CONTINUES, beer_c, edges.heat_until_c))
    if edges.coming_c is not None:
        return Called(Call.IDLE, Reason(Rule.COASTS, beer_c, edges.coming_c))
    return Called(Call.IDLE, Reason(Rule.WITHIN_BAND, beer_c))
