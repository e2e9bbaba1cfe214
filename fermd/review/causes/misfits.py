"""How badly each thing that may have happened explains a strange time of a chamber.

Each is a sum of squares of what it leaves over, in standard deviations of the usual noise, with a
price for what it is free to choose. The least of them is the likeliest; see seen.py.
"""

from __future__ import annotations

from fermd.review.causes.cause import Cause
from fermd.review.causes.motion import (
    BEER_EVERY,
    COOL,
    HALF_S,
    HEAT,
    STEP_S,
    Grid,
    Motion,
    Shares,
)
from fermd.review.least_squares import Normal

STRANGE = 5.0
"""What is left over by so many times the noise is strange."""

BEYOND_OUTPUTS_C = 5.0
"""Air that moves so far beyond what it should is moved by no fridge or heater, °C a step."""

SHORT_STEPS = 8
"""Fewer steps than these do not tell an open door's room."""

JUMP_AIR_C = 1.0
"""A door shows within a step: the air trades places with the room's, °C."""

LEAST_PULL = 0.05
"""An open door draws the air to the room's by this share of their distance in a step, at least."""

WARMEST_ROOM_C, COLDEST_ROOM_C = 50.0, -25.0

ROBUST = 3.0
"""What is left over counts by its square up to so many standard deviations."""

LEAST_ON_S = 600.0
"""An output that was called for shorter than this cannot be told to have failed, s."""


def usual(shares: Shares, places: range) -> list[Shares]:
    """What was switched, with a fridge and a heater somewhat weaker or stronger than usual."""
    found = [shares]
    for duty in (COOL, HEAT):
        found += [_scaled(shares, duty, places, times) for times in (0.6, 1.5)]
    return found


def outputs(grid: Grid, motion: Motion, places: range) -> list[tuple[float, Cause]]:
    """How badly a dead or a stuck output would explain it."""
    told = []
    halves = range(2 * places[0], 2 * places[-1] + 2)
    for duty, failed, stuck in (
        (COOL, Cause.COOLING_FAILED, Cause.COOLING_STUCK_ON),
        (HEAT, Cause.HEATING_FAILED, Cause.HEATING_STUCK_ON),
    ):
        if not motion.used[duty]:
            continue
        on = sum(grid.shares[duty][halves.start : halves.stop])
        if on * STEP_S / 2 >= LEAST_ON_S:
            told.append((_best_misfit(motion, grid, places, duty, 0.0), failed))
        if len(halves) - on > 1.0:
            told.append((_best_misfit(motion, grid, places, duty, 1.0), stuck))
    return told


LONG_STEPS = 24

MOST_EDGES = 5
"""The beginning and the end of a fault are looked for among so many halves of a step."""


def _best_misfit(motion: Motion, grid: Grid, places: range, duty: int, share: float) -> float:
    """The least misfit of an output that was truly on (or off) for most of an episode."""
    first, stop = 2 * places[0], 2 * places[-1] + 2
    edges = min(MOST_EDGES, max(1, (stop - first) // 2 - 1))
    if len(places) > LONG_STEPS:
        # Of a long one the edges count for little, and each look at it costs much.
        edges = 1
    least = float("inf")
    for late in range(edges):
        for early in range(edges):
            halves = range(first + late, stop - early)
            otherwise = sum(
                abs(share - one) for one in grid.shares[duty][halves[0] : halves[-1] + 1]
            )
            if otherwise * HALF_S < LEAST_ON_S:
                # Too little to be more than a fridge that starts with more force than usual.
                continue
            shares = _replaced(grid.shares, duty, halves, share)
            least = min(least, misfit(motion, grid, places, shares, loose=True))
    return least


def _replaced(shares: Shares, duty: int, halves: range, share: float) -> Shares:
    found = list(shares)
    one = list(shares[duty])
    one[halves.start : halves.stop] = [share] * len(one[halves.start : halves.stop])
    found[duty] = one
    return found[0], found[1], found[2]


def _scaled(shares: Shares, duty: int, places: range, times: float) -> Shares:
    found = list(shares)
    one = list(shares[duty])
    for half in range(2 * places[0], min(len(one), 2 * places[-1] + 2)):
        one[half] *= times
    found[duty] = one
    return found[0], found[1], found[2]


def misfit(
    motion: Motion, grid: Grid, places: range, shares: Shares, *, loose: bool = False
) -> float:
    """How badly the equations explain a span if the outputs were as `shares` says.

    With `loose` it is not known when, in the first and last steps, they began to be so.
    """
    total = 0.0
    for place in places:
        left = motion.air_left_over(grid, place, shares)
        if left is not None:
            noise_c = motion.air_noise_c(grid, place)
            total += _counted(
                left, EDGE * noise_c if loose and _at_edge(places, place) else noise_c
            )
    return total + _beer_misfit(motion, grid, places, shares)


EDGE = 3.0


def _at_edge(places: range, place: int) -> bool:
    return place <= places[0] + 2 or place >= places[-1] - 1


def _beer_misfit(motion: Motion, grid: Grid, places: range, shares: Shares) -> float:
    total = 0.0
    for place in places:
        left = motion.beer_left_over(grid, place, shares)
        if left is not None:
            # Every point is in three of the beer's steps.
            total += _counted(left, motion.beer_noise_c(grid, place)) / BEER_EVERY
    return total


def _counted(left_c: float, noise_c: float) -> float:
    """Squared within `ROBUST` standard deviations, straight beyond (Huber's loss)."""
    off = abs(left_c) / noise_c
    return off * off if off <= ROBUST else ROBUST * (2.0 * off - ROBUST)


def doors(grid: Grid, motion: Motion, places: range) -> list[tuple[float, Cause]]:
    """How badly a pull of the air to a room's temperature explains it; none without a jump."""
    points = [
        (place, left, air_c)
        for place in places
        if (left := motion.air_left_over(grid, place)) is not None
        and (air_c := grid.air_c[place]) is not None
    ]
    early = [
        abs(left) / motion.air_noise_c(grid, place)
        for place, left, _ in points
        if place <= places.start + 4
        and abs(left) >= JUMP_AIR_C
        # Air that falls with the fridge's start, or rises with the heater's, needs no door.
        and (
            abs(left) >= BEYOND_OUTPUTS_C
            or not grid.is_lively(place, (COOL if left < 0 else HEAT,), 3)
        )
    ]
    if max(early, default=0.0) < STRANGE:
        return []
    normal = Normal(2)
    for place, left, air_c in points:
        weight = 1.0 / motion.air_noise_c(grid, place)
        normal.add((weight, -weight * air_c), weight * left)
    pull, slope = normal.solved((0, 1), ())
    is_drawn = slope >= LEAST_PULL and COLDEST_ROOM_C <= pull / slope <= WARMEST_ROOM_C
    if not is_drawn and len(points) <= SHORT_STEPS:
        # Too few points to tell the room by.
        is_drawn = True
        slope = 0.3
        pull = slope * points[0][2] + max((left for _, left, _ in points), key=abs)
    total = 0.0
    for place, left, air_c in points:
        loose = EDGE if _at_edge(places, place) else 1.5
        off = left - pull + slope * air_c
        total += _counted(off, loose * motion.air_noise_c(grid, place))
    beer = _beer_misfit(motion, grid, places, grid.shares)
    found = [(total + beer + 6.0, Cause.DOOR_OPEN)] if is_drawn else []
    level = _at_level(grid, motion, places)
    return found if level is None else [*found, (level + beer, Cause.DOOR_OPEN)]


AT_LEVEL_COSTS = 8.0
NOT_FOLLOWING_COSTS = 16.0
"""More if the fridge or heater ran meanwhile and cannot be seen: then the probe may be out."""


def _at_level(grid: Grid, motion: Motion, places: range) -> float | None:
    """How badly it fits air that is at the room's temperature within a step; None: not at all."""
    points = [
        (air_c, later_c - air_c)
        for place in places[1:-2]
        if (air_c := grid.air_c[place]) is not None
        and (later_c := grid.air_c[place + 1]) is not None
    ]
    if len(points) < 2:
        return None
    normal = Normal(2)
    for air_c, moved_c in points:
        normal.add((1.0, -air_c), moved_c)
    pull, slope = normal.solved((0, 1), ())
    if not 0.2 <= slope <= 1.2 or not COLDEST_ROOM_C <= pull / slope <= WARMEST_ROOM_C:
        return None
    lively = sum(grid.is_lively(place, steps=1) for place in places[3:-2])
    total = AT_LEVEL_COSTS + (NOT_FOLLOWING_COSTS if lively >= LEAST_AT_REST // 2 else 0.0)
    return total + sum(
        _counted(moved_c - pull + slope * air_c, 2.0 * motion.air_noises_c[1])
        for air_c, moved_c in points
    )


AT_REST_COSTS = 16.0
"""What it takes (squared standard deviations) before a probe is taken to be out of its place."""

LEAST_AT_REST = 6
"""So many steps must an air probe lie still before it is taken for one outside."""


def at_rest(grid: Grid, motion: Motion, places: range) -> list[tuple[float, Cause]]:
    """How badly an air probe that lies somewhere else, and does not move, explains it."""
    inner = places[3:-2]
    lively = sum(grid.is_lively(place, steps=1) for place in inner)
    if len(inner) < LEAST_AT_REST or lively < LEAST_AT_REST // 2:
        return []
    total = AT_REST_COSTS
    for place in inner:
        now, later = grid.air_c[place], grid.air_c[place + 1]
        if now is not None and later is not None:
            total += _counted(later - now, motion.air_noises_c[0])
    return [(total, Cause.PROBE_MOVED)]


_WAYS = {
    Cause.COOLING_FAILED: 1.0,
    Cause.COOLING_STUCK_ON: -1.0,
    Cause.HEATING_FAILED: -1.0,
    Cause.HEATING_STUCK_ON: 1.0,
}
"""Whether a fault leaves the chamber warmer or colder than usual."""


def goes_its_way(grid: Grid, motion: Motion, places: range, cause: Cause) -> bool:
    """Whether what is left over is on the side that a cause would leave it on."""
    total = 0.0
    for place in places:
        air, beer = motion.air_left_over(grid, place), motion.beer_left_over(grid, place)
        total += 0.0 if air is None else air / motion.air_noise_c(grid, place)
        total += 0.0 if beer is None else beer / motion.beer_noise_c(grid, place) / BEER_EVERY
    return total * _WAYS.get(cause, total) > 0.0
