"""What nobody wrote down, seen in how air and beer moved.

Where the usual motion (motion.py) does not explain the readings, an episode begins. Each thing that
may have happened says how the readings should then have moved: a dead fridge as if it had been
switched off all the while, a welded contact as if it had been on, an open door as a pull to the
room's temperature, a probe out of its place as one that rests somewhere else. What explains the
episode best is named; what explains it no better than the usual motion, with a fridge or heater
that is somewhat stronger or weaker than usual, is not.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass, replace
from math import sqrt

from fermd.control.settings import DAY_S
from fermd.control.wording import span
from fermd.review.causes.beer_alone import beer_findings
from fermd.review.causes.cause import Cause, Finding
from fermd.review.causes.doors import BEYOND_OUTPUTS_C, doors, stays_at_level
from fermd.review.causes.exchanged import exchanged_findings
from fermd.review.causes.grid import STEP_S, Grid, grid_of
from fermd.review.causes.heated import heated_vessel
from fermd.review.causes.jumps import UsualMoves, moved_alone, moved_probe
from fermd.review.causes.misfits import (
    STRANGE,
    at_rest,
    goes_its_way,
    misfit,
    outputs,
    usual,
)
from fermd.review.causes.motion import Motion, fit_motion
from fermd.review.course import Course

STRANGE_AIR_C, STRANGE_BEER_C = 0.4, 0.12
"""What is left over by `STRANGE` times the noise begins an episode, if it is this much, °C."""

NEAR_S = 1800.0
"""What is found nearer than this to something else is a part of it, s."""

JOINED_STEPS = 6
"""Strange steps that are no further apart than half an hour belong together."""

GOES_ON_STEPS, GOES_ON_C = 6, 0.7
"""So is what is left over the same way for half an hour and comes to this in all, °C, be each step
ever so little: air that stands where it should move."""

BEER_GOES_ON = 2.0
"""And beer that is left over by so many times the noise the same way for half an hour."""

WORTH = 15.0
"""A cause must better the fit by so much (squared standard deviations), and by `BETTER` of what was
strange."""
BETTER = 0.5


@dataclass(frozen=True, slots=True)
class Episode:
    """A strange time: places of the grid, both strange."""

    first: int
    last: int
    strength: float
    """The most that was left over, in standard deviations."""


def seen_findings(course: Course) -> list[Finding]:
    """What shows in the readings alone, in the order of time."""
    grid = grid_of(course)
    if grid is None:
        return []
    motion = fit_motion(grid)
    if motion is None:
        # Without a probe in the air: but a jump of the vessel's shows by itself.
        return sorted(
            [*moved_alone(course, grid), *beer_findings(course, grid)],
            key=lambda finding: finding.start_s,
        )
    found = _findings(course, grid, motion, _episodes(grid, motion))
    # What goes on being a little off is looked at only where nothing sharp says more.
    slow = [
        one
        for one in _episodes(grid, motion, _going_on(grid, motion))
        if not any(each.touches(grid.at_s[one.first], grid.at_s[one.last]) for each in found)
    ]
    found += _findings(course, grid, motion, slow)
    found += exchanged_findings(course, grid)
    # A probe that jumps is seen by itself, too, where it has spoilt what is known of the beer.
    found += [
        one
        for one in moved_alone(course, grid)
        if not any(each.touches(one.start_s - NEAR_S, one.end_s + NEAR_S) for each in found)
    ]
    return sorted(found, key=lambda finding: finding.start_s)


def _findings(course: Course, grid: Grid, motion: Motion, episodes: list[Episode]) -> list[Finding]:
    found: list[Finding] = []
    usual_moves = UsualMoves(grid)
    if len(episodes) > MOST_A_DAY * (1.0 + course.lasted_s / DAY_S):
        # What is strange all day long is how this chamber moves, and no disturbance of it.
        return []
    strongest = sorted(episodes, key=lambda one: -one.strength)[:MOST_LOOKED_AT]
    for number, episode in enumerate(in_time := sorted(strongest, key=lambda one: one.first)):
        next_first = in_time[number + 1].first if number + 1 < len(in_time) else len(grid)
        finding = (
            heated_vessel(course, grid, motion, episode.first, episode.last)
            or moved_probe(course, grid, usual_moves, episode.first, episode.last)
            or _named(course, grid, motion, episode, next_first)
        )
        if finding is None:
            continue
        if found and _shuts(found[-1], finding):
            found[-1] = replace(found[-1], end_s=finding.end_s)
        elif found and _was_out(grid, found[-1], finding):
            found[-1] = replace(finding, start_s=found[-1].start_s)
        elif found and _is_put_back(found[-1], finding):
            found[-1] = replace(found[-1], end_s=finding.end_s)
        else:
            found.append(finding)
    return found


MOST_LOOKED_AT = 60
"""The strongest of the strange times; each takes a while to explain."""

MOST_A_DAY = 10.0
"""More strange times in a day than these (in the mean) say that the equations do not fit."""

LONGEST_OPEN_S = 12 * 3600.0


def _shuts(opened: Finding, later: Finding) -> bool:
    """Whether a second jump of the air is the same door being shut."""
    return (
        opened.cause is later.cause is Cause.DOOR_OPEN
        and later.start_s - opened.start_s <= LONGEST_OPEN_S
        and ((opened.air_by_c or 0.0) > 0.0) is not ((later.air_by_c or 0.0) > 0.0)
    )


LEVEL_C = 1.0
"""Air that reads within this much of the same, °C, may be read by a probe that is out."""


def _is_air_probe_out(one: Finding) -> bool:
    return one.cause is Cause.PROBE_MOVED and one.air_by_c is not None


def _was_out(grid: Grid, jumped: Finding, later: Finding) -> bool:
    """Whether what had looked like a door was the air's probe on its way out.

    It jumped, has read the same since, and then does not follow what runs.
    """
    if jumped.cause is not Cause.DOOR_OPEN or not _is_air_probe_out(later):
        return False
    between = [
        air_c
        for at_s, air_c in zip(grid.at_s, grid.air_c, strict=True)
        if air_c is not None and jumped.end_s <= at_s <= later.start_s
    ]
    return (
        later.start_s - jumped.start_s <= LONGEST_OPEN_S
        and max(between, default=0.0) - min(between, default=0.0) <= LEVEL_C
    )


def _is_put_back(out: Finding, later: Finding) -> bool:
    """Whether a jump right after it is the probe that comes back to its place."""
    return (
        _is_air_probe_out(out)
        and later.cause is Cause.DOOR_OPEN
        and later.start_s <= out.end_s + JOINED_STEPS * STEP_S
    )


def _episodes(grid: Grid, motion: Motion, going_on: Set[int] = frozenset()) -> list[Episode]:
    found: list[Episode] = []
    air = None
    for place in range(len(grid)):
        before = air or 0.0
        air, beer = motion.air_left_over(grid, place), motion.beer_left_over(grid, place)
        if place not in going_on and not (
            abs(air or 0.0) > max(STRANGE * motion.air_noise_c(grid, place), STRANGE_AIR_C)
            or abs(beer or 0.0) > max(STRANGE * motion.beer_noise_c(grid, place), STRANGE_BEER_C)
        ):
            continue
        strength = max(
            abs(air or 0.0) / motion.air_noise_c(grid, place),
            abs(beer or 0.0) / motion.beer_noise_c(grid, place),
        )
        # A jump begins something new, whatever went on before, unless it is one of several steps.
        jumped = (
            abs(air or 0.0) >= BEYOND_OUTPUTS_C
            and abs((air or 0.0) - before) >= BEYOND_OUTPUTS_C
            and not (found and place - found[-1].first <= 1)
        )
        if found and place - found[-1].last <= JOINED_STEPS and not jumped:
            found[-1] = Episode(found[-1].first, place, max(found[-1].strength, strength))
        else:
            found.append(Episode(place, place, strength))
    return found


def _going_on(grid: Grid, motion: Motion) -> set[int]:
    """The places whose air or beer is left over a little, all of them the same way."""
    left = [motion.air_left_over(grid, place) or 0.0 for place in range(len(grid))]
    found: set[int] = set()
    for first in range(len(grid) - GOES_ON_STEPS + 1):
        places = range(first, first + GOES_ON_STEPS)
        total = sum(left[place] for place in places)
        noise_c = sqrt(sum(motion.air_noise_c(grid, place) ** 2 for place in places))
        if (
            abs(total) > max(STRANGE * noise_c, GOES_ON_C)
            and min(left[place] * total for place in places) > 0.0
        ):
            found.update(places)
    beer = [
        (motion.beer_left_over(grid, place) or 0.0) / motion.beer_noise_c(grid, place)
        for place in range(len(grid))
    ]
    for first in range(len(grid) - GOES_ON_STEPS + 1):
        here = beer[first : first + GOES_ON_STEPS]
        if min(here) >= BEER_GOES_ON or max(here) <= -BEER_GOES_ON:
            found.update(range(first, first + GOES_ON_STEPS))
    return found


AFTER_STEPS = 9
"""Air at the room's temperature behind an open door is not strange any more, one step after the
other: so it is looked at for so long after."""


def _named(
    course: Course, grid: Grid, motion: Motion, episode: Episode, next_first: int
) -> Finding | None:
    places = range(max(0, episode.first - 1), min(len(grid) - 1, episode.last + 1) + 1)
    plain = min(misfit(motion, grid, places, shares) for shares in usual(grid.shares, places))
    told = [
        *(
            one
            for one in outputs(grid, motion, places)
            if goes_its_way(grid, motion, places, one[1])
        ),
        *doors(grid, motion, places),
        *at_rest(grid, motion, places),
    ]
    least, cause = min(told, default=(plain, Cause.UNKNOWN))
    if plain - least < WORTH or least > BETTER * plain:
        until = max(places.stop, min(places.stop + AFTER_STEPS, next_first - 1, len(grid) - 1))
        if not stays_at_level(grid, motion, range(places.start, until)):
            return None
        cause = Cause.DOOR_OPEN
    first, last = places[0], places[-1]
    by_c, within_s = _first_move(grid, max(0, episode.first - 1))
    return Finding(
        cause,
        grid.at_s[first],
        grid.at_s[last] + STEP_S,
        _shown(course, cause, by_c, within_s),
        # An output has no effect behind an open door.
        weight=3.0 if cause is Cause.DOOR_OPEN else 1.0,
        air_by_c=by_c,
    )


WATCHED_STEPS = 12
"""How far the air goes at first is looked for within an hour."""

FARTHER = 1.15
"""What goes less than so many times as far is told with the shorter time."""

LEAST_TOLD_C = 0.3
"""Air that goes less far stands still, °C."""


def _first_move(grid: Grid, start: int) -> tuple[float, float]:
    """How far the air goes from a place on, °C, and within what time, s; 0 °C if it stands."""
    known = [
        (place, air_c)
        for place in range(start, min(len(grid), start + WATCHED_STEPS + 1))
        if (air_c := grid.air_c[place]) is not None
    ]
    best_c, within_s = 0.0, STEP_S
    for place, air_c in known[1:]:
        by_c = air_c - known[0][1]
        if abs(by_c) > FARTHER * abs(best_c):
            best_c, within_s = by_c, (place - known[0][0]) * STEP_S
    return best_c if abs(best_c) >= LEAST_TOLD_C else 0.0, within_s


def _shown(course: Course, cause: Cause, by_c: float, within_s: float) -> str:
    """What was seen at first: "air rose 6.1 °C in 5 min"."""
    duty = "cool" if cause in (Cause.COOLING_FAILED, Cause.COOLING_STUCK_ON) else "heat"
    output = next((run.output for run in course.runs_of(duty)), duty)
    said = {
        Cause.COOLING_FAILED: f"{output} was on without effect, ",
        Cause.HEATING_FAILED: f"{output} was on without effect, ",
        Cause.COOLING_STUCK_ON: f"{output} was off, ",
        Cause.HEATING_STUCK_ON: f"{output} was off, ",
        Cause.PROBE_MOVED: f"{course.roles.air} did not follow what ran, ",
    }.get(cause, "")
    if not by_c:
        return f"{said}air stood still"
    return f"{said}air {'rose' if by_c > 0.0 else 'fell'} {abs(by_c):.1f} °C in {span(within_s)}"
