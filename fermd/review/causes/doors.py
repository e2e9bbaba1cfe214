"""How badly an open door explains a strange time: air that is drawn to a room's temperature.

A door trades the chamber's air for the room's, so that the air goes to the room's side, the faster
the further it is from it. See misfits.py for what it is held against.
"""

from __future__ import annotations

from itertools import takewhile

from fermd.review.causes.cause import Cause
from fermd.review.causes.grid import COOL, HEAT, Grid
from fermd.review.causes.misfits import (
    EDGE,
    JUMP_AIR_C,
    LEAST_AT_REST,
    STRANGE,
    at_edge,
    beer_misfit,
    counted,
)
from fermd.review.causes.motion import Motion
from fermd.review.causes.room import Room, room_before
from fermd.review.least_squares import Normal

BEYOND_OUTPUTS_C = 5.0
"""Air that moves so far beyond what it should is moved by no fridge or heater, °C a step."""

AT_REST_C = 0.4
"""With nothing switched for a while, air that jumps by this within a step has a cause, °C."""

SHORT_STEPS = 8
"""Fewer steps than these do not tell an open door's room."""

SHORT_PULL = 0.3
"""Then it is taken to draw the air by this share of their distance in a step, as doors mostly do.
"""

DRAWN_COSTS = 6.0
"""What it takes (squared standard deviations) before air is taken to be drawn to a room: its
temperature and its pull are free to choose."""

LOOSE = 1.5
"""A room's own temperature is not quite steady: so many times the usual noise may be left over."""

LEAST_PULL = 0.05
"""An open door draws the air to the room's by this share of their distance in a step, at least."""

WARMEST_ROOM_C, COLDEST_ROOM_C = 50.0, -25.0


def doors(grid: Grid, motion: Motion, places: range) -> list[tuple[float, Cause]]:
    """How badly a pull of the air to a room's temperature explains it; none without a jump.

    Where it is drawn beyond its room, an output that has no past of its own does that: how a fridge
    or heater goes that ran before is known, and told by misfits.py.
    """
    points = [
        (place, left, air_c)
        for place in places
        if (left := motion.air_left_over(grid, place)) is not None
        and (air_c := grid.air_c[place]) is not None
    ]
    jump_c = _jump_c(grid, motion, places)
    if not jump_c or not points:
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
        slope = SHORT_PULL
        pull = slope * points[0][2] + max((left for _, left, _ in points), key=abs)
    if is_drawn and (pull / slope - points[0][2]) * jump_c < 0.0:
        # What jumped the one way was not drawn the other.
        is_drawn = False
    room = room_before(grid, motion, places[0])
    cause = _drawn_by(grid, motion, places, room, pull / slope if is_drawn else None)
    total = 0.0
    for place, left, air_c in points:
        loose = EDGE if at_edge(places, place) else LOOSE
        off = left - pull + slope * air_c
        total += counted(off, loose * motion.air_noise_c(grid, place))
    beer = beer_misfit(motion, grid, places, grid.shares)
    found = [(total + beer + DRAWN_COSTS, cause)] if is_drawn and cause is not None else []
    level = _at_level(grid, motion, places, 1) if cause is Cause.DOOR_OPEN else None
    return found if level is None else [*found, (level + beer, Cause.DOOR_OPEN)]


def _drawn_by(
    grid: Grid, motion: Motion, places: range, room: Room, level_c: float | None
) -> Cause | None:
    """What draws the air so far: a door if it stays on this side of its room, else an output."""
    # It goes on when nothing about it is strange any more, until something else is switched.
    after = range(places.stop, min(len(grid), places.stop + SHORT_STEPS))
    going_on = takewhile(lambda place: not grid.is_lively(place, steps=0), after)
    reached = [air_c for place in (*places, *going_on) if (air_c := grid.air_c[place]) is not None]
    moved_c = max((one - reached[0] for one in reached), key=abs)
    if level_c is not None:
        moved_c = level_c - reached[0]
    is_beyond = room.is_below(max(reached)) if moved_c > 0.0 else room.is_above(min(reached))
    if not is_beyond and _is_quick(grid, places, moved_c):
        return Cause.DOOR_OPEN
    duty, stuck = (
        (HEAT, Cause.HEATING_STUCK_ON) if moved_c > 0.0 else (COOL, Cause.COOLING_STUCK_ON)
    )
    was_on = any(grid.shares[duty][2 * places.start : 2 * places.stop])
    return None if motion.used[duty] or was_on else stuck


QUICK_STEPS, WATCHED_STEPS = 4, 12
QUICK_SHARE = 0.7
"""Through an open door the air trades places within minutes, and a probe in it lags by 5 min: after
20 min it has gone this share at least of what it goes in an hour. A plate or a heater takes longer.
"""


def _is_quick(grid: Grid, places: range, moved_c: float) -> bool:
    """Whether the air is where it goes to as soon as a door makes it; so too if it is not known."""
    way = 1.0 if moved_c > 0.0 else -1.0
    steps = [
        way * (later_c - air_c)
        for place in places[:-1]
        if (air_c := grid.air_c[place]) is not None
        and (later_c := grid.air_c[place + 1]) is not None
    ]
    if max(steps, default=0.0) <= 0.0:
        return True
    # From the first step that is a good part of the largest.
    start = places[next(number for number, by_c in enumerate(steps) if by_c >= 0.2 * max(steps))]
    switched = [shares[2 * start + 1] for shares in grid.shares]
    gone_c = [0.0]
    for place in range(start + 1, min(len(grid), start + WATCHED_STEPS + 1)):
        here_c, start_c = grid.air_c[place], grid.air_c[start]
        if here_c is None or start_c is None:
            break
        if [shares[2 * place - 1] for shares in grid.shares] != switched:
            break
        gone_c.append(way * (here_c - start_c))
    if len(gone_c) <= QUICK_STEPS + 1:
        return True
    return max(gone_c[: QUICK_STEPS + 1]) >= QUICK_SHARE * max(gone_c)


def _was_switched(grid: Grid, motion: Motion, place: int, left: float) -> bool:
    """Whether an output was switched that moves the air this way: it needs no door.

    It falls with the fridge's start and the heater's stop, and rises with the contrary: by no more
    than `MOST_TIMES` what such a switching does here.
    """
    starts, stops = (COOL, HEAT) if left < 0 else (HEAT, COOL)
    before = grid.shares[stops][max(0, 2 * (place - 2)) : 2 * place + 2]
    has_stopped = any(before) and not before[-1]
    if not (has_stopped or grid.is_lively(place, (starts,), 3)):
        return False
    switched_c = max(abs(motion.driven_c(grid, place, duty)) for duty in (COOL, HEAT))
    return abs(left) <= max(JUMP_AIR_C, MOST_TIMES * switched_c)


MOST_TIMES = 1.2
"""No fridge that is weaker than usual misses more than all that it does."""

PROBES_DIFFER_C = 0.5
"""Two probes of one place read so differently: the bound of a DS18B20's data sheet, °C."""

SURE_DRIFT_C = 0.02
"""A room that moves the air by less than this in a step is as warm as the chamber, °C."""


def _goes_to_room(motion: Motion, grid: Grid, place: int, left: float) -> bool:
    """Whether air that jumps goes to the room's side, as through a door it must.

    A contact that is stuck on drives it to the heater's or the evaporator's side, wherever the room
    is. Where both are on one side, how the air goes on tells them apart. What the two probes differ
    by looks like a room that draws the air as the beer does.
    """
    drift_c = motion.drift_c(grid, place)
    unsure_c = SURE_DRIFT_C + PROBES_DIFFER_C * motion.follows
    return abs(drift_c) < unsure_c or drift_c * left > 0.0


def _jump_c(grid: Grid, motion: Motion, places: range) -> float:
    """The air's first jump at the beginning that a door may make and nothing switched does, °C.

    0 without one.
    """
    for place in places[:5]:
        left = motion.air_left_over(grid, place)
        if left is None or abs(left) < STRANGE * motion.air_noise_c(grid, place):
            continue
        if abs(left) >= BEYOND_OUTPUTS_C or (
            abs(left) >= (JUMP_AIR_C if grid.is_lively(place) else AT_REST_C)
            and _goes_to_room(motion, grid, place, left)
            and not _was_switched(grid, motion, place, left)
        ):
            return left
    return 0.0


LEAST_STEPS = 6
"""Air at a level is looked at for half an hour at least, besides the edges."""

WELL_FITTED = 3.0
"""So many squared standard deviations a step may be left over of air that stays at one level."""


def stays_at_level(grid: Grid, motion: Motion, places: range) -> bool:
    """Whether the air jumps to a level and stays there, whatever runs."""
    steps = len(places) - 4
    if steps < LEAST_STEPS or not _jump_c(grid, motion, places):
        return False
    room = room_before(grid, motion, places[0])
    if _drawn_by(grid, motion, places, room, None) is not Cause.DOOR_OPEN:
        return False
    level = _at_level(grid, motion, places, 2)
    return level is not None and level - AT_LEVEL_COSTS < WELL_FITTED * steps


LEVEL_PULLS = 0.2, 1.2
"""Air that is at the room's temperature within steps goes these shares of its way in each."""

AT_LEVEL_COSTS = 8.0
"""What it takes (squared standard deviations) before air is taken to be at a level."""

NOT_FOLLOWING_COSTS = 16.0
"""More if the fridge or heater ran meanwhile and cannot be seen: then the probe may be out."""


def _at_level(grid: Grid, motion: Motion, places: range, from_step: int) -> float | None:
    """How badly it fits air that is at the room's temperature within steps; None: not at all.

    The step that the door is opened in is a part of one: so it may begin with the one after it.
    """
    points = [
        (air_c, later_c - air_c)
        for place in places[from_step:-2]
        if (air_c := grid.air_c[place]) is not None
        and (later_c := grid.air_c[place + 1]) is not None
    ]
    if len(points) < 2:
        return None
    normal = Normal(2)
    for air_c, moved_c in points:
        normal.add((1.0, -air_c), moved_c)
    pull, slope = normal.solved((0, 1), ())
    if (
        not LEVEL_PULLS[0] <= slope <= LEVEL_PULLS[1]
        or not COLDEST_ROOM_C <= pull / slope <= WARMEST_ROOM_C
    ):
        return None
    lively = sum(grid.is_lively(place, steps=1) for place in places[3:-2])
    total = AT_LEVEL_COSTS + (NOT_FOLLOWING_COSTS if lively >= LEAST_AT_REST // 2 else 0.0)
    return total + sum(
        counted(moved_c - pull + slope * air_c, 2.0 * motion.air_noises_c[1])
        for air_c, moved_c in points
    )
