"""The heat balance of a vessel fitted to its windows: its numbers, and when the beer was done.

The balance itself, and how it is fitted, stands in fermentation_heat.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from math import log, sqrt
from statistics import median

from fermd.control.placing import MOST_SHARE
from fermd.review.heat_windows import DAY_H, HOUR_S, WINDOW_S, Window
from fermd.review.least_squares import Normal

LEAST_QUIET_H = 72.0
"""So much quiet beer at the end, at least, h."""

SMOOTH = 0.05
"""How little the line may bend from day to day: weight of its second differences, against windows
that are off by some 0.01 °C/h."""

RIDGE = 0.05
"""Of the weather's number: squared ratio of a window's error to how large the number may be."""

LEAST_INDEPENDENT = 0.3
"""Of the windows so many are taken to be independent of the others to begin with, and at least."""

ROUNDS = 5
"""So often at the most it is seen anew how independent the windows are."""

PLAUSIBLE = 6.0
"""Fits whose criterion is worse than the best by less than this stand beside it: odds of one in
twenty."""

RATE, LEAK, CONSTANT, POWER, SEEN, WEATHER, SINE, COSINE = range(8)
KNOTS_FROM = 8
"""Places of the numbers of the balance; the warmth at each knot comes after them."""


@dataclass(frozen=True, slots=True)
class Fit:
    """The numbers of the balance, with the warmth nought from some day on."""

    knots: int
    """The warmth is nought from this knot on, a day each."""
    criterion: float
    numbers: tuple[float, ...]
    """The first ones, then the warmth at each knot, °C/h."""
    left_over: float
    """Standard deviation of what is left over, °C/h."""
    error_c: float
    """Standard error of the total, °C."""
    total_range_c: tuple[float, float]
    """Of all fits that are as good as this one."""
    has_quiet_end: bool
    end_h: float

    @property
    def of_beer(self) -> float:
        """How many times more the beer has of a warmth than its probe shows."""
        return 1.0 / (1.0 - min(self.numbers[SEEN], MOST_SHARE))

    def shown(self, at_h: float) -> float:
        """The warmth at a time since the span began as the probe shows it, °C/h."""
        knots = self.numbers[KNOTS_FROM:]
        place = int(at_h // DAY_H)
        part = at_h / DAY_H - place
        here = knots[place] if place < len(knots) else 0.0
        later = knots[place + 1] if place + 1 < len(knots) else 0.0
        return here * (1.0 - part) + later * part

    def warmth(self, at_h: float) -> float:
        """The warmth of the beer itself, °C/h."""
        return self.of_beer * self.shown(at_h)

    @property
    def total_c(self) -> float:
        """By how much all of it would have warmed the beer, °C."""
        return self.of_beer * _total_c(self.numbers[KNOTS_FROM:])


def _total_c(knots: tuple[float, ...]) -> float:
    return sum(knots) * DAY_H - (knots[0] * DAY_H / 2 if knots else 0.0)


def best_fit(windows: list[Window]) -> Fit | None:
    """The best fit; None if there is no fermentation in it."""
    _, best = _chosen(windows)
    # Once more without what does not belong: a window with a door open, a vessel that was moved.
    off = [abs(_left_over(window, best)) for window in windows]
    limit = 5.0 * max(median(off), 1e-4)
    kept = [window for window, each in zip(windows, off, strict=True) if each <= limit]
    fits, best = _chosen(kept)
    if best.knots == 0 or best.total_c <= 0.0:
        return None
    totals = [fit.total_c for fit in _beside(fits, best)]
    last = max(fit.knots for fit in fits)
    return Fit(
        best.knots,
        best.criterion,
        best.numbers,
        best.left_over,
        best.error_c,
        (min(totals), max(totals)),
        best.knots < last,
        best.end_h,
    )


def _beside(fits: list[Fit], best: Fit) -> list[Fit]:
    """The fits that are about as good, one knot more or less after the other.

    One that comes after a worse one tells weather at the end of the span as a beer's warmth.
    """
    place = fits.index(best)
    first = last = place
    limit = best.criterion + PLAUSIBLE
    while first > 0 and fits[first - 1].criterion <= limit:
        first -= 1
    while last + 1 < len(fits) and fits[last + 1].criterion <= limit:
        last += 1
    return fits[first : last + 1]


def _chosen(windows: list[Window]) -> tuple[list[Fit], Fit]:
    """All fits, and the best of them for as many windows as are independent of each other.

    Begun with few, so that it ends at the simplest fit that is at one with what it leaves over.
    """
    plain = _fits(windows)
    independent = LEAST_INDEPENDENT
    for _ in range(ROUNDS):
        _, best = _judged(plain, len(windows), independent)
        before, independent = independent, _independent(windows, best)
        if independent == before:
            break
    return _judged(plain, len(windows), independent)


def _judged(plain: list[Fit], count: int, independent: float) -> tuple[list[Fit], Fit]:
    """The fits with their criterion and error for a share of independent windows; the best one."""
    fits = [
        replace(
            fit,
            criterion=independent * count * log(fit.left_over**2)
            + (fit.knots + KNOTS_FROM) * log(independent * count),
            error_c=fit.error_c / sqrt(independent),
        )
        for fit in plain
    ]
    return fits, min(fits, key=lambda fit: fit.criterion)


def _independent(windows: list[Window], fit: Fit) -> float:
    """For how many windows of its own each one counts, up to 1.

    Weather that comes and goes by the day is left over in one window after the other; of errors
    that follow each other with a correlation r a share of (1 - r) / (1 + r) is new (autoregressive
    errors; Box and Jenkins, Time Series Analysis, from memory).
    """
    off = [_left_over(window, fit) for window in windows]
    square = sum(one * one for one in off) / len(off)
    pairs = [
        before * later
        for (before, at), (later, then) in pairwise(zip(off, windows, strict=True))
        if then.middle_h - at.middle_h < 1.5 * WINDOW_S / HOUR_S
    ]
    alike = max(0.0, sum(pairs) / max(1, len(pairs)) / max(1e-12, square))
    return max(LEAST_INDEPENDENT, (1.0 - alike) / (1.0 + alike))


def _left_over(window: Window, fit: Fit) -> float:
    told = sum(one * number for one, number in zip(window.row, fit.numbers, strict=False))
    return window.moved - told - fit.shown(window.middle_h)


def _fits(windows: list[Window]) -> list[Fit]:
    end_h = windows[-1].middle_h
    most = max(1, int((end_h - LEAST_QUIET_H) / DAY_H) + 1)
    normal = Normal(KNOTS_FROM + most)
    for window in windows:
        place = int(window.middle_h // DAY_H)
        part = window.middle_h / DAY_H - place
        row = [*window.row, *([0.0] * most)]
        for knot, share in ((place, 1.0 - part), (place + 1, part)):
            if knot < most:
                row[KNOTS_FROM + knot] = share
        normal.add(row, window.moved)
    return [_fit(normal, knots, end_h) for knots in range(most + 1)]


def _fit(normal: Normal, knots: int, end_h: float) -> Fit:
    """Fit with so many knots; its criterion comes with `_judged`."""
    chosen = [*range(KNOTS_FROM), *range(KNOTS_FROM, KNOTS_FROM + knots)]
    bent = _bent(normal, knots)
    positive = {RATE, POWER, SEEN, WEATHER, *chosen[KNOTS_FROM:]}
    values = bent.solved(chosen, positive)
    mean2 = max(1e-12, normal.left_over2(chosen, values) / normal.rows)
    weights = [0.0] * KNOTS_FROM + [DAY_H] * knots
    if knots:
        weights[KNOTS_FROM] = DAY_H / 2
    spread = sqrt(mean2 * bent.variance(chosen, weights)) if knots else 0.0
    return Fit(knots, 0.0, tuple(values), sqrt(mean2), spread, (0.0, 0.0), True, end_h)


def _bent(normal: Normal, knots: int) -> Normal:
    """The same with the wish that the line bends little; its end is at nought."""
    bent = Normal(normal.size)
    bent.squares = [list(row) for row in normal.squares]
    bent.products = list(normal.products)
    bent.right2, bent.rows = normal.right2, normal.rows
    bent.squares[WEATHER][WEATHER] += RIDGE
    for middle in range(1, knots):
        row = [0.0] * normal.size
        for knot, weight in ((middle - 1, 1.0), (middle, -2.0), (middle + 1, 1.0)):
            if knot < knots:
                row[KNOTS_FROM + knot] = SMOOTH * weight
        bent.add(row, 0.0)
    return bent
