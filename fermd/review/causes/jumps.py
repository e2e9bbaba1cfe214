"""A probe that moved as nothing in its place can: taken out, fallen out, or mixed up with another.

Beer moves by hours. A probe that is taped to its vessel sees some of the air and of a heater beside
the beer, so that what they do is allowed for; what goes beyond was done to the probe.
"""

from __future__ import annotations

from itertools import pairwise

from fermd.control.placing import MOST_SHARE
from fermd.review.causes.cause import Cause, Finding
from fermd.review.causes.grid import COOL, FAN, HEAT, STEP_S, Grid
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


class UsualMoves:
    """How far the vessel's probe moves from one point of the grid to the next."""

    def __init__(self, grid: Grid) -> None:
        """The largest come first; sorted once for all episodes."""
        self._moves = sorted(
            (
                (abs(later - now), place)
                for place, (now, later) in enumerate(pairwise(grid.beer_c))
                if now is not None and later is not None
            ),
            reverse=True,
        )
        self._places = {place for _, place in self._moves}

    def liveliest_c(self, but: range) -> float:
        """The least of the liveliest hundredth of all moves but those of some places, °C."""
        count = len(self._moves) - sum(place in self._places for place in but)
        above = count - 1 - int(0.99 * count)
        for size_c, place in self._moves:
            if place in but:
                continue
            if above <= 0:
                return size_c
            above -= 1
        return 0.0


def moved_probe(
    course: Course, grid: Grid, usual: UsualMoves, first: int, last: int
) -> Finding | None:
    """Whether the vessel's probe was moved in an episode."""
    places = range(max(0, first - 3), min(len(grid) - 1, last + 4))
    liveliest_c = usual.liveliest_c(places)
    steps = [
        (place, by_c)
        for place in places
        if (by_c := _moved_c(grid.beer_c, place)) is not None
        and not _is_of_air(grid, place, by_c)
        and not _is_of_heater(grid, place, by_c)
    ]
    jumps = [one for one in steps if abs(one[1]) >= max(JUMP_C, TIMES_USUAL * liveliest_c)]
    if not jumps:
        jumps = _away_and_back(steps, max(AWAY_C, TIMES_AWAY * liveliest_c))
    swapped = _swapped(grid, places)
    if swapped is None:
        swapped = _crossed(grid, places)
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


AWAY_C, TIMES_AWAY = 0.2, 3.0
"""A probe that goes away and comes back, within an episode, need go no further than this, °C."""


def _away_and_back(steps: list[tuple[int, float]], limit_c: float) -> list[tuple[int, float]]:
    far = [one for one in steps if abs(one[1]) >= limit_c]
    return far if far and min(by for _, by in far) < 0.0 < max(by for _, by in far) else []


def moved_alone(course: Course, grid: Grid) -> list[Finding]:
    """Whenever the vessel's probe was moved, from its own jumps."""
    found: list[Finding] = []
    usual = UsualMoves(grid)
    for place in range(len(grid) - 1):
        by_c = _moved_c(grid.beer_c, place)
        if by_c is None or abs(by_c) < JUMP_C or (found and grid.at_s[place] <= found[-1].end_s):
            continue
        moved = moved_probe(course, grid, usual, place, place)
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


def _is_of_air(grid: Grid, place: int, by_c: float) -> bool:
    """Whether a jump may be the share of the air that a taped probe sees: it goes with the air."""
    air_c = _air_moved_c(grid, place)
    return by_c * air_c > 0.0 and abs(by_c) < MOST_SHARE * abs(air_c)


def _is_of_heater(grid: Grid, place: int, by_c: float) -> bool:
    """Whether a jump may come of the heater beside the probe: up once it is on, down once off."""
    heat = grid.shares[HEAT][max(0, 2 * place - 6) : 2 * place + 2]
    way = 1.0 if by_c > 0.0 else -1.0
    switched = any(way * (later - before) > 0.0 for before, later in pairwise(heat))
    return switched and abs(by_c) < BESIDE_HEATER_C


NEAR, NEAR_C = 0.3, 0.3
"""The air's probe is where the beer's was, within this share of what they were apart, and °C."""

ON_ITS_WAY = 0.4
"""The beer's probe, which lags, has gone this share of its way to where the air's was, or more."""


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
                air_c is None or abs(air_c - beer_0) < NEAR * abs(apart) + NEAR_C
                for air_c in grid.air_c[after : after + 2]
            )
            and (beer_1 - beer_0) / apart > ON_ITS_WAY
            and abs(beer_1 - beer_0) >= JUMP_C
        ):
            return place
    return None


CROSSED_C = 0.3
"""At rest each of two swapped probes jumps by this at least, °C."""

EQUALLY = 0.25
"""And by as much as the other, within this share and `UNEQUAL_C`."""
UNEQUAL_C = 0.1

APART_C = 0.75
"""From here on it is sure, in spite of what the probes are off by, which of them is the warmer."""

REST_STEPS, JUMP_STEPS = 4, 3
"""Nothing ran for so many steps before the jump, which takes no more than these."""

STILL = 0.4
"""Before and after it each lies still, within this share of its jump."""


def _crossed(grid: Grid, places: range) -> int | None:
    """Where, with nothing switched, both probes jumped as far, the one up and the other down.

    Whatever each is off by, two probes that trade places jump by the same, the contrary way; and no
    beer cools while its air warms.
    """
    for place in places:
        beer_by_c, air_by_c = _stepped_c(grid.beer_c, place), _stepped_c(grid.air_c, place)
        beer_c, air_c = grid.beer_c[place], grid.air_c[place]
        if beer_by_c is None or air_by_c is None or beer_c is None or air_c is None:
            continue
        far_c = min(abs(beer_by_c), abs(air_by_c))
        if (
            far_c >= CROSSED_C
            and beer_by_c * air_by_c < 0.0
            and abs(beer_by_c + air_by_c) <= EQUALLY * far_c + UNEQUAL_C
            and (abs(air_c - beer_c) < APART_C or (air_c - beer_c) * beer_by_c > 0.0)
            and not grid.is_lively(place + JUMP_STEPS, (COOL, HEAT, FAN), JUMP_STEPS + REST_STEPS)
        ):
            return place
    return None


def _stepped_c(values: list[float | None], place: int) -> float | None:
    """By how much a probe jumped that lay still before and after, °C; None if it did not."""
    after = place + JUMP_STEPS
    if place < REST_STEPS or after + 1 >= len(values):
        return None
    before_c, now_c = values[place - 2], values[place]
    then_c, later_c = values[after], values[after + 1]
    if before_c is None or now_c is None or then_c is None or later_c is None:
        return None
    by_c = then_c - now_c
    still_c = STILL * abs(by_c)
    return by_c if abs(now_c - before_c) < still_c and abs(later_c - then_c) < still_c else None
