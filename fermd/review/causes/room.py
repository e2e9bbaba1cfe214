"""Between what temperatures a chamber's room must be, told from how its air lies at rest.

With nothing switched for hours the air is drawn to the beer on its one side and to the room on its
other, and comes to rest between them: the room is on the far side of the air, seen from the beer.
How far, the cabinet and the vessel decide: the air is nearer to the beer, by 0.6 to 6.4 times over
the chambers of the model (tests/proving_ground, 20 of them at rest). So a door, which can bring the
air no further than the room, is told from a fridge or heater, which can.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from statistics import fmean, median

from fermd.review.causes.grid import COOL, HEAT, STEP_S, Grid
from fermd.review.causes.motion import Motion

LOOK_BACK_STEPS = 72
"""So long before a moment the air's rest still tells its room, 6 h: a room warms by day."""

RESTED_STEPS = 24
"""Walls and plates have forgotten what ran after so many steps, 2 h."""

STEADY_STEPS, STEADY_C = 12, 0.3
"""Air that moved less than this in an hour, °C, lies still."""

PROBES_DIFFER_C = 0.75
"""The two probes may differ by so much at the same temperature, °C: each is told to 0.5 °C by its
data sheet (DS18B20), and both are seldom off the contrary way."""

NEAREST, FARTHEST = 0.5, 6.5
"""The room is so many times as far from the air as the beer is."""

MARGIN_C = 1.0
"""Readings lag and a room changes: air no further than this beyond it is as warm as it, °C."""


@dataclass(frozen=True, slots=True)
class Room:
    """The coldest and the warmest that a room can be, °C; infinite where nothing tells it."""

    coldest_c: float = -inf
    warmest_c: float = inf

    @property
    def is_known(self) -> bool:
        """Whether anything tells it."""
        return self.coldest_c > -inf or self.warmest_c < inf

    def is_below(self, air_c: float) -> bool:
        """Whether air is so warm that no door to this room makes it so."""
        return air_c > self.warmest_c + MARGIN_C

    def is_above(self, air_c: float) -> bool:
        """Whether air is so cold that no door to this room makes it so."""
        return air_c < self.coldest_c - MARGIN_C


def room_before(grid: Grid, motion: Motion, place: int) -> Room:
    """What is known of the room just before a point of the grid.

    Air that never rests has a level of its own, too, that its motion tells.
    """
    places = range(max(STEADY_STEPS, place - LOOK_BACK_STEPS), max(0, place))
    rests = [
        (air_c, air_c - beer_c)
        for one in places
        if _is_at_rest(grid, one)
        and (air_c := grid.air_c[one]) is not None
        and (beer_c := grid.beer_c[one]) is not None
    ]
    if len(rests) >= LEAST_RESTS:
        air_c = median(air_c for air_c, _ in rests)
        apart_c = median(apart_c for _, apart_c in rests)
        return _beyond(air_c, apart_c, PROBES_DIFFER_C)
    beer = [beer_c for one in places if (beer_c := grid.beer_c[one]) is not None]
    level_c = motion.rest_c(beer[-1]) if beer else None
    if level_c is not None:
        return _beyond(level_c, level_c - beer[-1], PROBES_DIFFER_C + LEVEL_KNOWN_TO_C)
    return _of_heated(grid, places)


LEAST_RESTS = 3
"""So many points of the grid must lie still before they tell a room."""


LEVEL_KNOWN_TO_C = 0.75
"""A level at which the air never was is known no better than this, °C."""


def _beyond(air_c: float, apart_c: float, unsure_c: float) -> Room:
    return Room(
        air_c + _beyond_c(apart_c - unsure_c, NEAREST, FARTHEST),
        air_c + _beyond_c(apart_c + unsure_c, FARTHEST, NEAREST),
    )


def _beyond_c(apart_c: float, above: float, below: float) -> float:
    return apart_c * (above if apart_c > 0.0 else below)


def _is_at_rest(grid: Grid, place: int) -> bool:
    before_c, air_c = grid.air_c[place - STEADY_STEPS], grid.air_c[place]
    return (
        before_c is not None
        and air_c is not None
        and abs(air_c - before_c) <= STEADY_C
        and not grid.is_lively(place, steps=RESTED_STEPS)
    )


HEATED_SHARE = 0.02
"""A chamber is heated if its heater ran for this share of the time at least ..."""

BEER_RISES_C = 0.2
"""... and does not get warmer if its beer rises by less than this meanwhile, °C."""


def _of_heated(grid: Grid, places: range) -> Room:
    """A chamber that is heated and does not get warmer loses its heat to a colder room.

    The contrary does not hold: a chamber may be cooled against its beer's own heat.
    """
    if len(places) * STEP_S < LOOK_BACK_STEPS * STEP_S / 2:
        return Room()
    halves = slice(2 * places.start, 2 * places.stop)
    heated, cooled = (sum(grid.shares[duty][halves]) for duty in (HEAT, COOL))
    beer = [beer_c for one in places if (beer_c := grid.beer_c[one]) is not None]
    air = [air_c for one in places if (air_c := grid.air_c[one]) is not None]
    if (
        cooled
        or heated < HEATED_SHARE * 2 * len(places)
        or len(beer) < 2
        or not air
        or fmean(beer[-6:]) - fmean(beer[:6]) > BEER_RISES_C
    ):
        return Room()
    return Room(warmest_c=fmean(air) + PROBES_DIFFER_C)
