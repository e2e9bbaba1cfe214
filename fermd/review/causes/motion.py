"""How the air and the beer of a chamber usually move, fitted to its own journal.

Two equations, each with a few numbers fitted by least squares (an autoregressive model with inputs;
Ljung, System Identification, sec. 4.2, from memory). From one grid point to the next the air moves
with its distance to the beer and to the walls, with its own last move, and with what the fridge,
heater and fan have been switched to over the last quarter of an hour and, slowly forgotten, over
the hours before (walls and plates hold on to it); the beer's probe with its distance to the air,
with the air's move, and with the heater. What the equations leave over is the sign of something
that was not switched by fermd.

Readings of a disturbance would spoil the fit: what is left over by far is left out, and it is
fitted again. How much is usual is told apart for times of rest and times after a switching, which
no few numbers follow exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import median

from fermd.review.course import Course, OnTime
from fermd.review.least_squares import Normal
from fermd.review.series import MINUTE_S, Series

STEP_S = 300.0
"""Length of the grid: as long as the slower probe's lag in still air."""

HALF_S = STEP_S / 2
"""Switchings are told by halves of a step: it matters when in a step a fridge has started."""

LAGS = 6
"""So many halves of each output's past are looked at: plates and heaters go on for minutes."""

SLOW_S = 2700.0
"""Walls and plates forget within this, s (chamber model: liner 800 s, foam and contents longer)."""

FAN_HALVES = 48
"""A fan that has not rested for so many halves of a step, 2 h, is taken to run always."""

BEER_EVERY = 3
"""The beer is followed from every point to the third after it: it moves slowly."""

ROUNDS = 3
TRIMMED = 4.0
"""What is left over by more than so many times the usual is left out of the next round."""

RIDGE = 0.3

LEAST_POINTS = 60
"""Of the grid, 5 h: fewer say nothing."""

FLOOR_AIR_C, FLOOR_BEER_C = 0.06, 0.025
"""The noise is taken to be this at the least, °C: a step of a 12-bit probe is 0.0625 °C."""

COOL, HEAT, FAN = range(3)
DUTIES = ("cool", "heat", "fan")

Shares = tuple[list[float], list[float], list[float]]
"""For each duty, the share of each half of a step that it was on."""


@dataclass(slots=True)
class Grid:
    """Readings and switchings at even steps."""

    at_s: list[float]
    beer_c: list[float | None]
    air_c: list[float | None]
    shares: Shares
    walls_c: list[float]
    """The air, slowly followed: about where the walls are."""

    def __len__(self) -> int:
        """How many points there are."""
        return len(self.at_s)

    def is_lively(self, place: int, duties: Sequence[int] = (COOL, HEAT), steps: int = 4) -> bool:
        """Whether an output ran within so many steps before a point, or runs after it."""
        halves = slice(max(0, 2 * (place - steps)), 2 * place + 2)
        return any(any(self.shares[duty][halves]) for duty in duties)


def grid_of(course: Course) -> Grid | None:
    """Lay a course onto a grid; None where there is no air or it is told by quarter hours only."""
    vessel, air = course.vessel, course.air
    if vessel is None or air is None or MINUTE_S not in (vessel.step_s, air.step_s):
        return None
    count = int(course.lasted_s / STEP_S) + 1
    at_s = [course.start_s + STEP_S * number for number in range(count)]
    halves_s = [course.start_s + HALF_S * number for number in range(2 * count)]
    cool, heat, fan = (
        [on.share(since_s, since_s + HALF_S) for since_s in halves_s]
        for on in (OnTime(course.runs_of(duty)) for duty in DUTIES)
    )
    air_c = _sampled(air, at_s)
    return Grid(at_s, _sampled(vessel, at_s), air_c, (cool, heat, fan), _slow(air_c))


def _slow(values: Sequence[float | None]) -> list[float]:
    """Values behind a lag; where nothing is known it stands still."""
    found: list[float] = []
    now = next((value for value in values if value is not None), 0.0)
    for value in values:
        found.append(now)
        if value is not None:
            now += STEP_S / (STEP_S + SLOW_S) * (value - now)
    return found


def _sampled(series: Series, at_s: Sequence[float]) -> list[float | None]:
    """The mean of the two minutes round each moment."""
    found: list[float | None] = []
    means, times, place = series.mean_c, series.at_s, 0
    for when_s in at_s:
        while place < len(times) and times[place] < when_s - 61.0:
            place += 1
        near = place
        total = count = 0.0
        while near < len(times) and times[near] <= when_s + 61.0:
            total += means[near]
            count += 1.0
            near += 1
        found.append(total / count if count else None)
    return found


@dataclass(frozen=True, slots=True)
class Motion:
    """The fitted equations."""

    air: tuple[float, ...]
    beer: tuple[float, ...]
    air_noises_c: tuple[float, float]
    """Usual size of what is left over at rest, and after a switching, °C."""
    beer_noises_c: tuple[float, float]
    used: tuple[bool, bool]
    """Whether cooling and heating ran often enough for their effect to be known."""

    def air_noise_c(self, grid: Grid, place: int) -> float:
        """What the air's equation usually leaves over at such a time, °C."""
        return self.air_noises_c[grid.is_lively(place)]

    def beer_noise_c(self, grid: Grid, place: int) -> float:
        """The same of the beer's."""
        return self.beer_noises_c[_beer_is_lively(grid, place)]

    def air_left_over(self, grid: Grid, place: int, shares: Shares | None = None) -> float | None:
        """What the air's equation leaves over of the step from this point on, °C."""
        row = air_row(grid, place, shares or grid.shares)
        moved = _moved(grid.air_c, place, 1)
        return None if row is None or moved is None else moved - _dot(self.air, row)

    def drift_c(self, grid: Grid, place: int) -> float:
        """How the room alone moves the air in a step, °C: above 0 where the room is warmer.

        What the air's equation has left when the beer, the walls and every output are put aside.
        """
        # A fan that never rests belongs to the room; one that runs with the fridge does not.
        fan = min(grid.shares[FAN][max(0, 2 * place - FAN_HALVES) : 2 * place + 1])
        return self.air[2] * (grid.air_c[place] or 0.0) / 10.0 + self.air[-2] * fan + self.air[-1]

    def beer_left_over(self, grid: Grid, place: int, shares: Shares | None = None) -> float | None:
        """What the beer's equation leaves over from this point on, °C."""
        row = beer_row(grid, place, shares or grid.shares)
        moved = _moved(grid.beer_c, place, BEER_EVERY)
        return None if row is None or moved is None else moved - _dot(self.beer, row)


def _beer_is_lively(grid: Grid, place: int) -> bool:
    return grid.is_lively(place, (HEAT,), 6) or grid.is_lively(place + BEER_EVERY - 1, (HEAT,))


def _dot(numbers: Sequence[float], row: Sequence[float]) -> float:
    return sum(one * other for one, other in zip(numbers, row, strict=True))


def _moved(values: Sequence[float | None], place: int, steps: int) -> float | None:
    if place + steps >= len(values):
        return None
    later, now = values[place + steps], values[place]
    return None if later is None or now is None else later - now


_KEPT = SLOW_S / (HALF_S + SLOW_S)
_REMEMBERED = [_KEPT**halves * (1.0 - _KEPT) for halves in range(60)]


def _before(share: Sequence[float], place: int) -> float:
    """What came before, the older the less."""
    first = max(0, place - len(_REMEMBERED) + 1)
    past = share[first : place + 1] if place >= 0 else ()
    return sum(one * weight for one, weight in zip(reversed(past), _REMEMBERED, strict=False))


def air_row(grid: Grid, place: int, shares: Shares) -> list[float] | None:
    """What the air's move from this point on depends on; None where something is not known."""
    if 2 * place + 2 < LAGS:
        return None
    beer_c, air_c, before_c = grid.beer_c[place], grid.air_c[place], grid.air_c[place - 1]
    if beer_c is None or air_c is None or before_c is None:
        return None
    row = [beer_c - air_c, air_c - before_c, air_c / 10.0, grid.walls_c[place] - air_c]
    for duty in (COOL, HEAT):
        share = shares[duty]
        row += [share[2 * place + 1 - lag] for lag in range(LAGS)]
        row.append(_before(share, 2 * place + 1 - LAGS))
    return [*row, shares[FAN][2 * place], 1.0]


AIR_SIZE = 4 + 2 * (LAGS + 1) + 2


def beer_row(grid: Grid, place: int, shares: Shares) -> list[float] | None:
    """The same for the beer."""
    if place < BEER_EVERY or place + BEER_EVERY >= len(grid):
        return None
    beer_c, air_c = grid.beer_c[place], grid.air_c[place]
    later_c, before_c = grid.air_c[place + BEER_EVERY], grid.air_c[place - BEER_EVERY]
    middle_c = grid.air_c[place + 1]
    if beer_c is None or air_c is None or later_c is None or before_c is None or middle_c is None:
        return None
    halves = 2 * BEER_EVERY
    heat, now = shares[HEAT], 2 * place
    return [
        (air_c + middle_c + later_c) / 3.0 - beer_c,
        later_c - air_c,
        air_c - before_c,
        sum(heat[now + halves // 2 : now + halves]) / halves,
        sum(heat[now : now + halves // 2]) / halves,
        sum(heat[now - halves : now]) / halves,
        1.0,
    ]


BEER_SIZE = 7


def fit_motion(grid: Grid) -> Motion | None:
    """Fit both equations; None with too few readings."""
    air_rows = [
        (row, moved, grid.is_lively(place))
        for place in range(len(grid))
        if (row := air_row(grid, place, grid.shares)) is not None
        and (moved := _moved(grid.air_c, place, 1)) is not None
    ]
    beer_rows = [
        (row, moved, _beer_is_lively(grid, place))
        for place in range(0, len(grid), BEER_EVERY)
        if (row := beer_row(grid, place, grid.shares)) is not None
        and (moved := _moved(grid.beer_c, place, BEER_EVERY)) is not None
    ]
    if len(air_rows) < LEAST_POINTS or len(beer_rows) < LEAST_POINTS // BEER_EVERY:
        return None
    air, air_noises = _fitted(air_rows, AIR_SIZE, FLOOR_AIR_C)
    beer, beer_noises = _fitted(beer_rows, BEER_SIZE, FLOOR_BEER_C)
    cools, heats = (
        sum(share > 0.5 for share in grid.shares[duty]) >= 2 * LAGS for duty in (COOL, HEAT)
    )
    return Motion(tuple(air), tuple(beer), air_noises, beer_noises, (cools, heats))


_Rows = list[tuple[list[float], float, bool]]


def _fitted(rows: _Rows, size: int, floor: float) -> tuple[list[float], tuple[float, float]]:
    kept, numbers = rows, [0.0] * size
    noises = (floor, floor)
    for _ in range(ROUNDS):
        normal = Normal(size)
        for row, moved, _ in kept:
            normal.add(row, moved)
        for place in range(size):
            # A little towards nought: an output that never ran has no effect that is known, and
            # lags that come together share theirs.
            normal.squares[place][place] += RIDGE
        numbers = normal.solved(range(size), ())
        off = [abs(moved - _dot(numbers, row)) for row, moved, _ in rows]
        rest, lively = (
            # Of a normal error half lie within 0.67 standard deviations.
            median([each for each, row in zip(off, rows, strict=True) if row[2] is told] or [0.0])
            / 0.67
            for told in (False, True)
        )
        noises = max(floor, rest), max(floor, lively)
        kept = [
            row for row, each in zip(rows, off, strict=True) if each <= TRIMMED * noises[row[2]]
        ]
        if len(kept) < LEAST_POINTS // BEER_EVERY:
            break
    spread = [_spread(kept, numbers, told) for told in (False, True)]
    return numbers, (max(noises[0], spread[0]), max(noises[1], spread[1]))


def _spread(rows: _Rows, numbers: Sequence[float], told: bool) -> float:
    off2 = [(moved - _dot(numbers, row)) ** 2 for row, moved, lively in rows if lively is told]
    return sqrt(sum(off2) / len(off2)) if off2 else 0.0
