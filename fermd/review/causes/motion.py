"""How the air and the beer of a chamber usually move, fitted to its own journal.

Two equations, each with a few numbers fitted by least squares (an autoregressive model with inputs;
Ljung, System Identification, sec. 4.2, from memory). From one grid point to the next the air moves
with its distance to the beer and to the walls, with its own last move, and with what the fridge
and heater have been switched to over the last quarter of an hour and, slowly forgotten, over
the hours before (walls and plates hold on to it); the beer's probe with its distance to the air,
with the air's move, and with the heater. What the equations leave over is the sign of something
that was not switched by fermd.

Readings of a disturbance would spoil the fit: what is left over by far is left out, and it is
fitted again. How much is usual is told apart for times of rest and times after a switching, which
no few numbers follow exactly; and for the air once more for the moments after a fan was switched,
which changes how fast everything trades heat, the probe too. A fan runs with what it spreads, so
that its own effect is a part of theirs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from statistics import median

from fermd.review.causes.grid import COOL, FAN, HALF_S, HEAT, SLOW_S, Grid, Shares
from fermd.review.least_squares import Normal

LAGS = 6
"""So many halves of each output's past are looked at: plates and heaters go on for minutes."""

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


@dataclass(frozen=True, slots=True)
class Motion:
    """The fitted equations."""

    air: tuple[float, ...]
    beer: tuple[float, ...]
    air_noises_c: tuple[float, ...]
    """Usual size of what is left over at rest, after a switching, and after the fan's, °C."""
    beer_noises_c: tuple[float, ...]
    used: tuple[bool, bool]
    """Whether cooling and heating ran often enough for their effect to be known."""

    def air_noise_c(self, grid: Grid, place: int) -> float:
        """What the air's equation usually leaves over at such a time, °C.

        The farther the air swings, the more: no few numbers follow it exactly.
        """
        swing_c = max(
            (
                abs(_moved(grid.air_c, one, 1) or 0.0)
                for one in range(max(0, place - SWING_STEPS), place)
            ),
            default=0.0,
        )
        return hypot(self.air_noises_c[_air_kind(grid, place)], OF_SWING * swing_c)

    def is_after_fan(self, grid: Grid, place: int) -> bool:
        """Whether a fan was switched just before, which is followed the least."""
        return _air_kind(grid, place) == AFTER_FAN

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
        return self.air[2] * (grid.air_c[place] or 0.0) / 10.0 + self.air[-1]

    def driven_c(self, grid: Grid, place: int, duty: int) -> float:
        """What an output's switchings of the last quarter of an hour add to a step, °C."""
        first = 4 + duty * (LAGS + 1)
        share = grid.shares[duty]
        return sum(
            self.air[first + lag] * share[half]
            for lag in range(LAGS)
            if (half := 2 * place + 1 - lag) >= 0
        )

    def rest_c(self, beer_c: float) -> float | None:
        """Where the air comes to rest with nothing switched, °C; None where that is not known."""
        back = self.air[0] - self.air[2] / 10.0
        return (self.air[0] * beer_c + self.air[-1]) / back if back >= LEAST_BACK else None

    @property
    def follows(self) -> float:
        """By what share of its distance to the beer the air moves in a step."""
        return max(0.0, self.air[0])

    def beer_left_over(self, grid: Grid, place: int, shares: Shares | None = None) -> float | None:
        """What the beer's equation leaves over from this point on, °C."""
        row = beer_row(grid, place, shares or grid.shares)
        moved = _moved(grid.beer_c, place, BEER_EVERY)
        return None if row is None or moved is None else moved - _dot(self.beer, row)


LEAST_BACK = 0.02
"""Air that comes back by less than this share of its way in a step has no level that is known."""

OF_SWING, SWING_STEPS = 0.05, 2
"""This share of the largest move of these steps before is left over of itself."""

AFTER_FAN, AFTER_FAN_HALVES = 2, 4


def _air_kind(grid: Grid, place: int) -> int:
    """Which of its noises the air has at a point."""
    fan = grid.shares[FAN][max(0, 2 * place - AFTER_FAN_HALVES) : 2 * place + 2]
    return AFTER_FAN if fan and min(fan) < max(fan) else int(grid.is_lively(place))


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
    blown = _fan_alone(shares, place) * (beer_c - air_c)
    return [*row, blown, _fan_alone(shares, place - 1) * (air_c - before_c), 1.0]


def _fan_alone(shares: Shares, place: int) -> float:
    """The share of a step that the fan ran for without what it spreads."""
    halves = range(2 * place, 2 * place + 2)
    return sum(
        max(0.0, shares[FAN][half] - shares[COOL][half] - shares[HEAT][half]) / 2 for half in halves
    )


AIR_SIZE = 4 + 2 * (LAGS + 1) + 3


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
        (row, moved, _air_kind(grid, place))
        for place in range(len(grid))
        if (row := air_row(grid, place, grid.shares)) is not None
        and (moved := _moved(grid.air_c, place, 1)) is not None
    ]
    beer_rows = [
        (row, moved, int(_beer_is_lively(grid, place)))
        for place in range(0, len(grid), BEER_EVERY)
        if (row := beer_row(grid, place, grid.shares)) is not None
        and (moved := _moved(grid.beer_c, place, BEER_EVERY)) is not None
    ]
    if len(air_rows) < LEAST_POINTS or len(beer_rows) < LEAST_POINTS // BEER_EVERY:
        return None
    air, air_noises = _fitted(air_rows, AIR_SIZE, FLOOR_AIR_C, 3)
    beer, beer_noises = _fitted(beer_rows, BEER_SIZE, FLOOR_BEER_C, 2)
    cools, heats = (
        sum(share > 0.5 for share in grid.shares[duty]) >= 2 * LAGS for duty in (COOL, HEAT)
    )
    return Motion(tuple(air), tuple(beer), air_noises, beer_noises, (cools, heats))


_Rows = list[tuple[list[float], float, int]]
"""What the move depends on, the move, and which of the noises it has."""


def _fitted(
    rows: _Rows, size: int, floor: float, noise_kinds: int
) -> tuple[list[float], tuple[float, ...]]:
    kept, numbers = rows, [0.0] * size
    kinds = range(noise_kinds)
    noises = [floor for _ in kinds]
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
        for kind in kinds:
            # Of a normal error half lie within 0.67 standard deviations.
            of_kind = [each for each, row in zip(off, rows, strict=True) if row[2] == kind]
            noises[kind] = max(floor, median(of_kind or [0.0]) / 0.67)
        kept = [
            row for row, each in zip(rows, off, strict=True) if each <= TRIMMED * noises[row[2]]
        ]
        if len(kept) < LEAST_POINTS // BEER_EVERY:
            break
    return numbers, tuple(max(noises[kind], _spread(kept, numbers, kind)) for kind in kinds)


def _spread(rows: _Rows, numbers: Sequence[float], told: int) -> float:
    off2 = [(moved - _dot(numbers, row)) ** 2 for row, moved, kind in rows if kind == told]
    return sqrt(sum(off2) / len(off2)) if off2 else 0.0
