"""How badly each thing that may have happened explains a strange time of a chamber.

Each is a sum of squares of what it leaves over, in standard deviations of the usual noise, with a
price for what it is free to choose. The least of them is the likeliest; see seen.py.
"""

from __future__ import annotations

from fermd.review.causes.cause import Cause
from fermd.review.causes.grid import COOL, FAN, HALF_S, HEAT, Grid, Shares
from fermd.review.causes.motion import BEER_EVERY, LAGS, Motion

STRANGE = 5.0
"""What is left over by so many times the noise is strange."""

JUMP_AIR_C = 1.0
"""A door shows within a step: the air trades places with the room's, °C."""

ROBUST = 3.0
"""What is left over counts by its square up to so many standard deviations."""

LEAST_ON_S = 300.0
"""An output that was called for shorter than this cannot be told to have failed, s."""

LEAST_STUCK_S = 600.0
"""One that was off for shorter than this cannot be told to have run on, s: what it has warmed or
cooled goes on for minutes, the more if a fan stops with it."""


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
        if (
            on * HALF_S >= LEAST_ON_S
            and not _is_driven(motion, grid, places, duty, failed)
            and not _comes_late(motion, grid, places, duty, failed)
            and _is_missed(motion, grid, places, duty, failed)
        ):
            least = min(
                _best_misfit(motion, grid, places, duty, 0.0, with_fan=with_fan)
                for with_fan in _fan_ways(grid, places)
            )
            told.append((least, failed))
        if (
            len(halves) - on > 1.0
            and _drives(motion, grid, places, duty, stuck)
            and not _goes_against(grid, places, duty, stuck)
        ):
            least = _best_misfit(motion, grid, places, duty, 1.0)
            costs = LETS_GO_COSTS if _lets_go(motion, grid, places, duty) else 0.0
            told.append((least + costs, stuck))
    return told


def _drives(motion: Motion, grid: Grid, places: range, duty: int, stuck: Cause) -> bool:
    """Whether the air goes a contact's way by more than if what works against it were dead.

    Air that falls less than usual behind a running fridge has a weak fridge, and no heater; but no
    fridge, however weak, makes it rise.
    """
    other = HEAT if duty == COOL else COOL
    dead = replaced(grid.shares, other, range(2 * places[0] - LAGS, 2 * places[-1] + 2), 0.0)
    for place in places:
        if motion.is_after_fan(grid, place):
            continue
        others = (grid.shares, dead) if grid.is_lively(place, (other,), 1) else (grid.shares,)
        left = [motion.air_left_over(grid, place, shares) for shares in others]
        least_c = ROBUST * motion.air_noise_c(grid, place)
        if all(one is not None and _WAYS[stuck] * one > least_c for one in left):
            return True
    return _beer_is_driven(motion, grid, places, stuck)


BEER_STEPS = 6
"""Of 5 min: half an hour."""


def _beer_is_driven(motion: Motion, grid: Grid, places: range, stuck: Cause) -> bool:
    """Whether the beer itself goes a contact's way for half an hour: its heater is on the vessel.

    It does not see what works against it but through the air, which is allowed for.
    """
    left = [
        _WAYS[stuck] * beer / motion.beer_noise_c(grid, place)
        for place in places
        if (beer := motion.beer_left_over(grid, place)) is not None
    ]
    return sum(one >= ROBUST for one in left) >= BEER_STEPS


AGAINST_C = 0.5
"""Air that goes so far against a contact's way was not driven by it, °C."""


def _goes_against(grid: Grid, places: range, duty: int, stuck: Cause) -> bool:
    """Whether the air goes by far against a contact's way, with nothing switched that does that.

    After a run the air comes back by itself, now faster and now slower: while a contact is stuck on
    it does not come back at all.
    """
    other = HEAT if duty == COOL else COOL
    if any(grid.shares[other][max(0, 2 * places[0] - 2) : 2 * places[-1] + 2]):
        return False
    known = [air_c for place in places if (air_c := grid.air_c[place]) is not None]
    return len(known) > 1 and _WAYS[stuck] * (known[-1] - known[0]) < -AGAINST_C


def _is_driven(motion: Motion, grid: Grid, places: range, duty: int, failed: Cause) -> bool:
    """Whether the air is driven faster than it goes by itself with this output off.

    What is off drives nothing: a dead fridge lets the air drift, and only a door makes it jump.
    """
    halves = range(2 * places[0], 2 * places[-1] + 2)
    dead = replaced(grid.shares, duty, halves, 0.0)
    ways = [
        dead if with_fan else replaced(dead, FAN, halves, 0.0)
        for with_fan in _fan_ways(grid, places)
    ]
    return all(
        any(
            _WAYS[failed] * left > max(JUMP_AIR_C, ROBUST * motion.air_noise_c(grid, place))
            for place in places
            if (left := motion.air_left_over(grid, place, shares)) is not None
        )
        for shares in ways
    )


MISSED_SHARE = 0.45
"""A dead output misses all that it does, and a weak one, or one that tires, less than this."""


def _is_missed(motion: Motion, grid: Grid, places: range, duty: int, failed: Cause) -> bool:
    """Whether a good half of what an output does in these steps is missing."""
    missed_c = driven_c = 0.0
    for place in places:
        left, usual_c = motion.air_left_over(grid, place), motion.driven_c(grid, place, duty)
        if left is not None and _WAYS[failed] * usual_c < 0.0:
            missed_c += _WAYS[failed] * left
            driven_c += abs(usual_c)
    return missed_c >= MISSED_SHARE * driven_c


LATE_STEPS = 2
"""A run that goes on is looked at for so many steps more."""


def _comes_late(motion: Motion, grid: Grid, places: range, duty: int, failed: Cause) -> bool:
    """Whether a run that goes on has its effect after all: it began late, and did not fail."""
    after = range(places[-1], min(len(grid) - 1, places[-1] + LATE_STEPS + 1))
    shares = replaced(grid.shares, duty, range(2 * places[0], 2 * after.stop), 0.0)
    return any(
        _WAYS[failed] * left < -max(JUMP_AIR_C, ROBUST * motion.air_noise_c(grid, place))
        for place in after
        if all(grid.shares[duty][2 * place - 2 : 2 * place + 2])
        and (left := motion.air_left_over(grid, place, shares)) is not None
    )


LONG_STEPS = 24
"""Of an episode of more than two hours the edges are not looked for."""

MOST_EDGES = 5
"""The beginning and the end of a fault are looked for among so many halves of a step."""


LETS_GO_COSTS = 30.0
"""A contact that is welded seldom lets go within minutes: what it takes (squared standard
deviations) before one is taken to have done so."""

AFTER_STEPS = 4
"""For 20 min after an episode it is looked whether a contact has let go."""


def _lets_go(motion: Motion, grid: Grid, places: range, duty: int) -> bool:
    """Whether, just after an episode, the air goes as it does with this output off."""
    after = range(places[-1] + 1, min(len(grid) - 1, places[-1] + 1 + AFTER_STEPS))
    shares = replaced(grid.shares, duty, range(2 * places[0], 2 * after.stop), 1.0)
    strange = usual = 0
    for place in after:
        left, off = motion.air_left_over(grid, place, shares), motion.air_left_over(grid, place)
        if left is not None and off is not None:
            noise_c = ROBUST * motion.air_noise_c(grid, place)
            strange += abs(left) > noise_c
            usual += abs(off) <= noise_c
    return strange >= AFTER_STEPS // 2 and usual >= 1


def _fan_ways(grid: Grid, places: range) -> tuple[bool, ...]:
    """Whether a fan may go on or not for an output that is dead.

    How a fan stirs the air by itself is known where it has run alone, and else best left out.
    """
    ran = any(grid.shares[FAN][2 * places[0] : 2 * places[-1] + 2])
    return (True, False) if ran else (True,)


def _best_misfit(
    motion: Motion,
    grid: Grid,
    places: range,
    duty: int,
    share: float,
    *,
    with_fan: bool = True,
) -> float:
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
            if otherwise * HALF_S < (LEAST_STUCK_S if share else LEAST_ON_S):
                # Too little to be more than a fridge that starts with more force than usual.
                continue
            shares = replaced(grid.shares, duty, halves, share)
            if not with_fan:
                shares = replaced(shares, FAN, halves, 0.0)
            least = min(least, misfit(motion, grid, places, shares, loose=True))
    return least


def replaced(shares: Shares, duty: int, halves: range, share: float) -> Shares:
    """What was switched, but for one output over these halves of steps."""
    found = list(shares)
    one = list(shares[duty])
    first = max(0, halves.start)
    one[first : halves.stop] = [share] * len(one[first : halves.stop])
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
            total += counted(left, EDGE * noise_c if loose and at_edge(places, place) else noise_c)
    return total + beer_misfit(motion, grid, places, shares)


EDGE = 3.0
"""So many times the usual noise may be left over at the edges of an episode."""


def at_edge(places: range, place: int) -> bool:
    """Whether a place is where it is not known when a fault began or ended."""
    return place <= places[0] + 2 or place >= places[-1] - 1


def beer_misfit(motion: Motion, grid: Grid, places: range, shares: Shares) -> float:
    """The beer's part of `misfit`."""
    total = 0.0
    for place in places:
        left = motion.beer_left_over(grid, place, shares)
        if left is not None:
            # Every point is in three of the beer's steps.
            total += counted(left, motion.beer_noise_c(grid, place)) / BEER_EVERY
    return total


def counted(left_c: float, noise_c: float) -> float:
    """Squared within `ROBUST` standard deviations, straight beyond (Huber's loss)."""
    off = abs(left_c) / noise_c
    return off * off if off <= ROBUST else ROBUST * (2.0 * off - ROBUST)


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
            total += counted(later - now, motion.air_noises_c[0])
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
