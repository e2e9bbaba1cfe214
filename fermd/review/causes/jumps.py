"""A probe that moved as nothing in its place can: taken out, fallen out, or mixed up with another.

Beer moves by hours. A probe that is taped to its vessel sees some of the air and of a heater beside
the beer, so that what they do is allowed for; what goes beyond was done to the probe.
"""

from __future__ import annotations

from itertools import pairwise

from fermd.control.placing import MOST_SHARE
from fermd.review.causes.cause import Cause, Finding
from fermd.review.causes.grid import HEAT, STEP_S, Grid
from fermd.review.course import Course

JUMP_C = 0.6
"""Beer cannot move so far within a step of 5 min, °C: 20 l would take 170 W."""

TIMES_USUAL = 2.0
"""It must move so many times as far as it does in the liveliest hundredth of its other
steps."""

BESIDE_HEATER_C = 3.0
"""Just after its heater was switched, a taped probe may move by less than this, °C."""

SWAPPED_AIR_C = 2.0
"""Of two probes that were swapped the air's jumps by this at least, the other way, °C."""

RESTS_C = 0.5
"""A probe of the air that lies still while the fridge runs moves by less than this, °C."""


def moved_probe(course: Course, grid: Grid, first: int, last: int) -> Finding | None:
    """Whether the vessel's probe was moved in an episode."""
    places = range(max(0, first - 3), min(len(grid) - 1, last + 4))
    moves = sorted(
        abs(later - now)
        for place, (now, later) in enumerate(pairwise(grid.beer_c))
        if now is not None and later is not None and place not in places
    )
    limit_c = max(JUMP_C, TIMES_USUAL * moves[int(0.99 * len(moves))]) if moves else JUMP_C
    jumps = [
        (place, by_c)
        for place in places
        if (by_c := _moved_c(grid.beer_c, place)) is not None
        and abs(by_c) >= limit_c
        and abs(by_c) >= MOST_SHARE * abs(_air_moved_c(grid, place))
        and (abs(by_c) >= BESIDE_HEATER_C or not _heater_switched(grid, place))
    ]
    swapped = _swapped(grid, places)
    if not jumps and swapped is None:
        return None
    end_s = grid.at_s[min(len(grid) - 1, last + 1)] + STEP_S
    if swapped is not None:
        said = (
            f"each reads what the other read before, {course.roles.vessel} and {course.roles.air}"
        )
        return Finding(Cause.PROBES_SWAPPED, grid.at_s[swapped], end_s, said, weight=2.0)
    place, by_c = jumps[0]
    said = f"{course.roles.vessel} moved by {by_c:+.1f} °C in 5 min, which no beer can"
    return Finding(Cause.PROBE_MOVED, grid.at_s[place], end_s, said, weight=2.0)


def moved_alone(course: Course, grid: Grid) -> list[Finding]:
    """Whenever the vessel's probe was moved, from its own jumps."""
    found: list[Finding] = []
    for place in range(len(grid) - 1):
        by_c = _moved_c(grid.beer_c, place)
        if by_c is None or abs(by_c) < JUMP_C or (found and grid.at_s[place] <= found[-1].end_s):
            continue
        moved = moved_probe(course, grid, place, place)
        if moved is not None:
            found.append(moved)
    return found


def _moved_c(values: list[float | None], place: int) -> float | None:
    now, later = values[place], values[place + 1]
    return None if now is None or later is None else later - now


def _air_moved_c(grid: Grid, place: int) -> float:
    """How far the air moved in a step and the one before it, °C."""
    moves = [_moved_c(grid.air_c, one) or 0.0 for one in (place - 1, place) if one >= 0]
    return max(moves, key=abs, default=0.0)


def _heater_switched(grid: Grid, place: int) -> bool:
    heat = grid.shares[HEAT][max(0, 2 * place - 6) : 2 * place + 2]
    return any(before != later for before, later in pairwise(heat))


def _swapped(grid: Grid, places: range) -> int | None:
    """Where both probes jumped, each to about what the other had read."""
    for place in places:
        after = min(len(grid) - 1, place + 3)
        beer_0, air_0 = grid.beer_c[place], grid.air_c[place]
        beer_1, air_1 = grid.beer_c[after], grid.air_c[after]
        if beer_0 is None or air_0 is None or beer_1 is None or air_1 is None:
            continue
        apart = air_0 - beer_0
        if (
            abs(apart) >= SWAPPED_AIR_C
            # It is there and stays: air that falls past it is on its way.
            and all(
                air_c is None or abs(air_c - beer_0) < 0.3 * abs(apart) + 0.3
                for air_c in grid.air_c[after : after + 2]
            )
            and (beer_1 - beer_0) / apart > 0.4
            and abs(beer_1 - beer_0) >= JUMP_C
        ):
            return place
    return None
