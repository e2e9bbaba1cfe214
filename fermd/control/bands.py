"""When heat or cooling is called for: two bands around the target, and an idle zone between.

    ── target + cool band ─────────────── a call for cooling begins at or above
    ── target + cool band − differential  it ends at or below
    ── target
    ── target − heat band + differential  a call for heat ends at or above
    ── target − heat band ─────────────── it begins at or below

Each side has its own band and differential; settings in which one side's call would end beyond
the other side's band are refused when they are read, so neither can fight the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fermd.control.reasons import Reason, Rule
from fermd.control.settings import BandSettings
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


def call(
    target: Target,
    beer_c: float,
    before: Call,
    heat: BandSettings,
    cool: BandSettings,
    coast_c: float = 0.0,
) -> Called:
    """What is called for at a beer temperature (°C), given what was called for before.

    `coast_c` is how far the beer goes on cooling by itself: cooling is judged by where the beer is
    going, so that a call ends so much early, and none begins while the beer is on its way.
    """
    cool_from_c = target.cool_c + cool.band_c
    cool_until_c = cool_from_c - cool.differential_c
    heat_from_c = target.heat_c - heat.band_c
    coming_c = beer_c - coast_c
    if before is Call.COOL and coming_c > cool_until_c:
        if beer_c >= cool_from_c:
            return Called(Call.COOL, Reason(Rule.ABOVE_BAND, beer_c, cool_from_c))
        return Called(Call.COOL, Reason(Rule.CALL_CONTINUES, beer_c, cool_until_c + coast_c))
    if before is not Call.COOL and coming_c >= cool_from_c:
        return Called(Call.COOL, Reason(Rule.ABOVE_BAND, beer_c, cool_from_c))
    if beer_c <= heat_from_c:
        return Called(Call.HEAT, Reason(Rule.BELOW_BAND, beer_c, heat_from_c))
    if before is Call.HEAT and beer_c < heat_from_c + heat.differential_c:
        until_c = heat_from_c + heat.differential_c
        return Called(Call.HEAT, Reason(Rule.CALL_CONTINUES, beer_c, until_c))
    if beer_c > cool_until_c and coast_c > 0:
        return Called(Call.IDLE, Reason(Rule.COASTS, beer_c, coming_c))
    return Called(Call.IDLE, Reason(Rule.WITHIN_BAND, beer_c))
