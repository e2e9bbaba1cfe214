"""How the air and the beer of a chamber usually move, fitted to its own journal.

Two equations, each with a few numbers fitted by least squares (an autoregressive model with inputs;
Ljung, System Identification, sec. 4.2, from memory). From one grid point to the next the air moves
with its distance to the beer, with its own last move, and with what the fridge, heater and fan have
been switched to over the last quarter of an hour; the beer's probe with its distance to the air,
with the air's move, and with the heater. What the equations leave over is the sign of something
that was not switched by fermd.

Readings of a disturbance would spoil the fit: what is left over by far is left out, and it is
fitted again.
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

LAGS = 3
"""So many steps of each output's past are looked at: plates and heaters go on for minutes."""

BEER_EVERY = 3
"""The beer is followed from every third point to the next: it moves slowly."""

ROUNDS = 3
TRIMMED = 4.0
"""What is left over by more than so many times the usual is left out of the next round."""

LEAST_POINTS = 60
"""Of the grid, 5 h: fewer say nothing."""

FLOOR_AIR_C, FLOOR_BEER_C = 0.06, 0.025
"""The noise is taken to be this at the least, °C: a step of a 12-bit probe is 0.0625 °C."""

COOL, HEAT, FAN = range(3)
DUTIES = ("cool", "heat", "fan")

Shares = tuple[list[float], list[float], list[float]]
"""For each duty, the share of each step that it was on."""


@dataclass(slots=True)
class Grid:
    """Readings and switchings at even steps."""

    at_s: list[float]
    beer_c: list[float | None]
    air_c: list[float | None]
    shares: Shares

    def __len__(self) -> int:
        """How many points there are."""
        return len(self.at_s)


def grid_of(course: Course) -> Grid | None:
    """Lay a course onto a grid; None where there is no air or it is told by quarter hours only."""
    vessel, air = course.vessel, course.air
    if vessel is None or air is None or MINUTE_S not in (vessel.step_s, air.step_s):
        return None
    count = int(course.lasted_s / STEP_S) + 1
    at_s = [course.start_s + STEP_S * number for number in range(count)]
    on = [OnTime(course.runs_of(duty)) for duty in DUTIES]
    shares = tuple([one.share(since_s, since_s + STEP_S) for since_s in at_s] for one in on)
    return Grid(at_s, _sampled(vessel, at_s), _sampled(air, at_s), shares)  # type: ignore[arg-type]


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
    air_noise_c: float
    beer_noise_c: float
    used: tuple[bool, bool, bool]
    """Whether each output ran often enough for its effect to be known."""

    def air_left_over(self, grid: Grid, place: int, shares: Shares | None = None) -> float | None:
        """What the air's equation leaves over of the step from this point on, °C."""
        row = air_row(grid, place, shares or grid.shares)
        if row is None:
            return None
        moved = _moved(grid.air_c, place, 1)
        return None if moved is None else moved - _dot(self.air, row)

    def beer_left_over(self, grid: Grid, place: int, shares: Shares | None = None) -> float | None:
        """What the beer's equation leaves over from this point on, °C."""
        row = beer_row(grid, place, shares or grid.shares)
        if row is None:
            return None
        moved = _moved(grid.beer_c, place, BEER_EVERY)
        return None if moved is None else moved - _dot(self.beer, row)


def _dot(numbers: Sequence[float], row: Sequence[float]) -> float:
    return sum(one * other for one, other in zip(numbers, row, strict=True))


def _moved(values: Sequence[float | None], place: int, steps: int) -> float | None:
    if place + steps >= len(values):
        return None
    later, now = values[place + steps], values[place]
    return None if later is None or now is None else later - now


def air_row(grid: Grid, place: int, shares: Shares) -> list[float] | None:
    """What the air's move from this point on depends on; None where something is not known."""
    if place < LAGS - 1:
        return None
    beer_c, air_c, before_c = grid.beer_c[place], grid.air_c[place], grid.air_c[place - 1]
    if beer_c is None or air_c is None or before_c is None:
        return None
    lagged = [shares[duty][place - lag] for duty in (COOL, HEAT) for lag in range(LAGS)]
    return [beer_c - air_c, air_c - before_c, air_c / 10.0, *lagged, shares[FAN][place], 1.0]


AIR_OF = {COOL: range(3, 3 + LAGS), HEAT: range(3 + LAGS, 3 + 2 * LAGS)}
"""Where the numbers of the outputs stand in the air's equation."""
AIR_SIZE = 3 + 2 * LAGS + 2


def beer_row(grid: Grid, place: int, shares: Shares) -> list[float] | None:
    """The same for the beer."""
    if place < BEER_EVERY or place + BEER_EVERY >= len(grid):
        return None
    beer_c, air_c = grid.beer_c[place], grid.air_c[place]
    later_c, before_c = grid.air_c[place + BEER_EVERY], grid.air_c[place - BEER_EVERY]
    middle_c = grid.air_c[place + 1]
    if None in (beer_c, air_c, later_c, before_c, middle_c):
        return None
    heat = shares[HEAT]
    return [
        (air_c + middle_c + later_c) / 3.0 - beer_c,  # type: ignore[operator]
        later_c - air_c,  # type: ignore[operator]
        air_c - before_c,  # type: ignore[operator]
        sum(heat[place : place + BEER_EVERY]) / BEER_EVERY,
        sum(heat[place - BEER_EVERY : place]) / BEER_EVERY,
        1.0,
    ]


BEER_OF_HEAT = (3, 4)
BEER_SIZE = 6


def fit_motion(grid: Grid) -> Motion | None:
    """Fit both equations; None with too few readings."""
    air_rows = [
        (row, moved)
        for place in range(len(grid))
        if (row := air_row(grid, place, grid.shares)) is not None
        and (moved := _moved(grid.air_c, place, 1)) is not None
    ]
    beer_rows = [
        (row, moved)
        for place in range(0, len(grid), BEER_EVERY)
        if (row := beer_row(grid, place, grid.shares)) is not None
        and (moved := _moved(grid.beer_c, place, BEER_EVERY)) is not None
    ]
    if len(air_rows) < LEAST_POINTS or len(beer_rows) < LEAST_POINTS // BEER_EVERY:
        return None
    air, air_noise = _fitted(air_rows, AIR_SIZE)
    beer, beer_noise = _fitted(beer_rows, BEER_SIZE)
    used = tuple(sum(share > 0.5 for share in shares) >= 2 * LAGS for shares in grid.shares)
    return Motion(
        tuple(air),
        tuple(beer),
        max(FLOOR_AIR_C, air_noise),
        max(FLOOR_BEER_C, beer_noise),
        used,  # type: ignore[arg-type]
    )


_Rows = list[tuple[list[float], float]]


def _fitted(rows: _Rows, size: int) -> tuple[list[float], float]:
    kept, numbers, noise = rows, [0.0] * size, 0.0
    for _ in range(ROUNDS):
        normal = Normal(size)
        for row, moved in kept:
            normal.add(row, moved)
        for place in range(size):
            # A little towards nought: an output that never ran has no effect that is known.
            normal.squares[place][place] += 1e-3
        numbers = normal.solved(range(size), ())
        off = [abs(moved - _dot(numbers, row)) for row, moved in rows]
        # Of a normal error half lie within 0.67 standard deviations.
        noise = median(off) / 0.67
        limit = max(TRIMMED * noise, 1e-3)
        kept = [one for one, each in zip(rows, off, strict=True) if each <= limit]
        if len(kept) < LEAST_POINTS // BEER_EVERY:
            break
    spread = sqrt(sum((moved - _dot(numbers, row)) ** 2 for row, moved in kept) / max(1, len(kept)))
    return numbers, max(noise, spread)
