"""What nobody wrote down, seen in how air and beer moved.

Where the usual motion (motion.py) does not explain the readings, an episode begins. Each thing that
may have happened says how the readings should then have moved: a dead fridge as if it had been
switched off all the while, a welded contact as if it had been on, an open door as a pull to the
room's temperature. What explains the episode best is named; what explains it no better than chance
is not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fermd.control.wording import span
from fermd.review.causes.cause import Cause, Finding
from fermd.review.causes.motion import (
    BEER_EVERY,
    COOL,
    HEAT,
    STEP_S,
    Grid,
    Motion,
    Shares,
    fit_motion,
    grid_of,
)
from fermd.review.course import Course
from fermd.review.least_squares import Normal

STRANGE = 5.0
"""What is left over by so many times the noise begins an episode ..."""
STRANGE_AIR_C, STRANGE_BEER_C = 0.5, 0.15
"""... if it is this much at least, °C in a step."""

JOINED_STEPS = 12
"""Strange steps that are no further apart than an hour belong together."""

JUMP_AIR_C = 1.2
"""A door shows within a step: the air trades places with the room's, °C."""

JUMP_BEER_C = 0.6
"""Beer cannot move so far within a step of 5 min, °C: 20 l would take 280 W."""

WORTH = 12.0
"""A cause must better the fit by so much (in squared standard deviations), and by half of it."""

MOST_OF_A_STEP = 25.0
"""No single step counts more than this (squared standard deviations): five of them."""


@dataclass(frozen=True, slots=True)
class _Episode:
    first: int
    last: int
    """Places of the grid, both strange."""


def seen_findings(course: Course) -> list[Finding]:
    """What shows in the readings alone, in the order of time."""
    grid = grid_of(course)
    motion = None if grid is None else fit_motion(grid)
    if grid is None or motion is None:
        return []
    air = [motion.air_left_over(grid, place) for place in range(len(grid))]
    beer = [motion.beer_left_over(grid, place) for place in range(len(grid))]
    found = []
    for episode in _episodes(grid, motion, air, beer):
        finding = _named(course, grid, motion, episode, air)
        if finding is not None:
            found.append(finding)
    return found


_LeftOver = Sequence[float | None]


def _episodes(grid: Grid, motion: Motion, air: _LeftOver, beer: _LeftOver) -> list[_Episode]:
    limit_air = max(STRANGE * motion.air_noise_c, STRANGE_AIR_C)
    limit_beer = max(STRANGE * motion.beer_noise_c, STRANGE_BEER_C)
    strange = [
        place
        for place in range(len(grid))
        if abs(air[place] or 0.0) > limit_air or abs(beer[place] or 0.0) > limit_beer
    ]
    found: list[_Episode] = []
    for place in strange:
        if found and place - found[-1].last <= JOINED_STEPS:
            found[-1] = _Episode(found[-1].first, place)
        else:
            found.append(_Episode(place, place))
    return found


def _named(
    course: Course,
    grid: Grid,
    motion: Motion,
    episode: _Episode,
    air: _LeftOver,
) -> Finding | None:
    if (moved := _probe_moved(course, grid, episode, air)) is not None:
        return moved
    first, last = max(0, episode.first - 1), min(len(grid) - 1, episode.last + 1)
    places = range(first, last + 1)
    plain = _misfit(motion, grid, places, grid.shares)
    told: list[tuple[float, Cause]] = []
    for duty, failed, stuck in (
        (COOL, Cause.COOLING_FAILED, Cause.COOLING_STUCK_ON),
        (HEAT, Cause.HEATING_FAILED, Cause.HEATING_STUCK_ON),
    ):
        if not motion.used[duty]:
            continue
        shares = grid.shares[duty]
        if sum(shares[first : last + 1]) > 0.5:
            dead = _replaced(grid.shares, duty, places, 0.0)
            told.append((_misfit(motion, grid, places, dead), failed))
        if sum(1.0 - share for share in shares[first : last + 1]) > 0.5:
            welded = _replaced(grid.shares, duty, places, 1.0)
            told.append((_misfit(motion, grid, places, welded), stuck))
    door = _door_misfit(motion, grid, places, air)
    if door is not None:
        told.append((door + 8.0, Cause.DOOR_OPEN))
    if not told:
        return None
    least, cause = min(told)
    if plain - least < WORTH or least > 0.5 * plain:
        return None
    return Finding(
        cause,
        grid.at_s[first],
        grid.at_s[last] + STEP_S,
        _shown(grid, episode),
        weight=1.0,
    )


def _replaced(shares: Shares, duty: int, places: range, share: float) -> Shares:
    one = list(shares[duty])
    for place in places:
        one[place] = share
    found = list(shares)
    found[duty] = one
    return found[0], found[1], found[2]


def _misfit(motion: Motion, grid: Grid, places: range, shares: Shares) -> float:
    """How badly the equations explain a span if the outputs were as `shares` says."""
    total = 0.0
    for place in places:
        left = motion.air_left_over(grid, place, shares)
        if left is not None:
            total += min(MOST_OF_A_STEP, (left / motion.air_noise_c) ** 2)
        left = motion.beer_left_over(grid, place, shares)
        if left is not None:
            # Every point is in three of the beer's steps.
            total += min(MOST_OF_A_STEP, (left / motion.beer_noise_c) ** 2) / BEER_EVERY
    return total


def _door_misfit(motion: Motion, grid: Grid, places: range, air: _LeftOver) -> float | None:
    """The same with a pull of the air to some temperature of a room; None without a jump."""
    normal = Normal(2)
    points = [
        (place, left, grid.air_c[place])
        for place in places
        if (left := air[place]) is not None and grid.air_c[place] is not None
    ]
    early = [abs(left) for place, left, _ in points if place <= places.start + 4]
    if max(early, default=0.0) < max(JUMP_AIR_C, STRANGE * motion.air_noise_c):
        return None
    for _, left, air_c in points:
        normal.add((1.0, -(air_c or 0.0) / 10.0), left)
    normal.squares[0][0] += 1e-6
    normal.squares[1][1] += 1e-6
    pull, slope = normal.solved((0, 1), (1,))
    total = 0.0
    for place in places:
        left = air[place]
        if left is not None:
            off = left - pull + slope * (grid.air_c[place] or 0.0) / 10.0
            # When in a step it was opened or shut is not known.
            loose = (
                3.0 if place in (places.start, places.start + 1, places[-1], places[-2]) else 1.0
            )
            total += min(MOST_OF_A_STEP, (off / (loose * motion.air_noise_c)) ** 2)
        beer = motion.beer_left_over(grid, place)
        if beer is not None:
            total += min(MOST_OF_A_STEP, (beer / motion.beer_noise_c) ** 2) / BEER_EVERY
    return total


def _probe_moved(course: Course, grid: Grid, episode: _Episode, air: _LeftOver) -> Finding | None:
    """A step of the vessel's probe that no beer can do."""
    jumps = [
        (later - now, place)
        for place in range(max(0, episode.first - 3), min(len(grid) - 1, episode.last + 4))
        if (now := grid.beer_c[place]) is not None
        and (later := grid.beer_c[place + 1]) is not None
        and abs(later - now) >= JUMP_BEER_C
    ]
    if not jumps:
        return None
    _, place = max(jumps, key=lambda jump: abs(jump[0]))
    other = air[place] or 0.0
    by_c, first = jumps[0][0], jumps[0][1]
    at_s = grid.at_s[first]
    end_s = grid.at_s[min(len(grid) - 1, episode.last + 1)]
    said = f"{course.roles.vessel} moved by {by_c:+.1f} °C in 5 min, which no beer can"
    swapped = abs(other) >= 2.0 * JUMP_AIR_C and (other > 0) != (by_c > 0) and _crossed(grid, first)
    cause = Cause.PROBES_SWAPPED if swapped else Cause.PROBE_MOVED
    return Finding(cause, at_s, end_s, said, weight=2.0)


def _crossed(grid: Grid, place: int) -> bool:
    """Whether each probe reads after a jump about what the other one read before it."""
    before, after = max(0, place - 1), min(len(grid) - 1, place + 4)
    beer_0, air_0 = grid.beer_c[before], grid.air_c[before]
    beer_1, air_1 = grid.beer_c[after], grid.air_c[after]
    if beer_0 is None or air_0 is None or beer_1 is None or air_1 is None:
        return False
    apart = abs(beer_0 - air_0)
    return abs(air_1 - beer_0) < 0.5 * apart + 0.3


def _shown(grid: Grid, episode: _Episode) -> str:
    """What the air did at first: "air rose 6.1 °C in 5 min"."""
    start = max(0, episode.first - 1)
    begin_c = grid.air_c[start]
    if begin_c is None:
        return "as the air moved"
    best, after = 0.0, 1
    for steps in range(1, min(13, len(grid) - start)):
        later_c = grid.air_c[start + steps]
        if later_c is not None and abs(later_c - begin_c) > 1.15 * abs(best):
            best, after = later_c - begin_c, steps
    if abs(best) < 0.3:
        return "air stood still"
    way = "rose" if best > 0 else "fell"
    return f"air {way} {abs(best):.1f} °C in {span(after * STEP_S)}"
