"""The estimate of `placing.py` worked out a second time, by numpy and from all readings at once.

Written from the equations in the head of `placing.py`: nothing is taken from its code but the names
of its constants. A fit there is a running sum; here it is the weighted ridge regression over every
window that there ever was (Hastie, Tibshirani and Friedman, The Elements of Statistical Learning,
sec. 3.4.1; from memory), its covariance the inverse of the same matrix. A ridge that draws to other
values than nought is told by where it draws to and how firmly, as one speaks of a prior.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby, pairwise

import numpy as np
import numpy.typing as npt

from fermd.control.placing import (
    ARRIVED_C,
    COOLED_WINDOWS,
    DRAWN_S,
    FORGETTING,
    HEAT_GONE,
    KEPT_LIKELY,
    KNOWN_TO,
    LEAST_BY_HEAT_ALONE,
    LEAST_KEPT_BY_HEAT,
    LEAST_OF_HEATER_C,
    LEAST_SHARE,
    LEFT_OVER_C,
    LIKELY,
    LIKELY_NOISE_C,
    MOST_SHARE,
    NOISE_WEIGHT,
    SEEN_LESS_BY_HEAT,
    SURE_ERRORS,
    UNCHECKED_WINDOWS,
    WALL_S,
)
from fermd.control.windows import WINDOW_S

Array = npt.NDArray[np.float64]
RIDGE: Array = np.diag((LIKELY_NOISE_C / np.array(LIKELY)) ** 2)
SHARES: Array = np.array([1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0])
KEPT_RIDGE: Array = np.diag((LIKELY_NOISE_C / KEPT_LIKELY) ** 2 * SHARES)
HEATERS: Array = np.array([0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0])


@dataclass(frozen=True)
class Read:
    """One tick's readings, °C, and the time since the tick before, s."""

    vessel_c: float
    air_c: float
    heating: bool
    passed_s: float
    mono_s: float
    cooling: bool = False


@dataclass(frozen=True)
class Mean:
    """What one window's ticks came to in the mean; how long it lasted, h."""

    vessel_c: float
    air_c: float
    on: float
    late_air_c: float
    late_on: float
    cooled: bool
    span_h: float


@dataclass(frozen=True)
class Row:
    """What one window says: these moves (and their causes) came to this move of the probe."""

    causes: Array
    moved_c: float

    def without_air(self, shares: Array) -> Row:
        """Take off what is known of the air already: the row is about the rest only."""
        of_air_c = float(shares @ self.causes)
        return Row(np.where(SHARES > 0, 0.0, self.causes), self.moved_c - of_air_c)

    def left_c(self, numbers: Array) -> float:
        return self.moved_c - float(self.causes @ numbers)


@dataclass(frozen=True)
class Fit:
    """What all windows up to one say of the seven numbers."""

    numbers: Array = field(default_factory=lambda: np.zeros(7))
    noise_c2: float = (2.0 * LIKELY_NOISE_C) ** 2
    error_of_share: float = 1.0
    squares: Array = field(default_factory=lambda: np.zeros((7, 7)))
    products: Array = field(default_factory=lambda: np.zeros(7))
    kept: Array | None = None
    """The shares of the air, at once and late and five noughts, that the ridge draws to."""
    cooled: float = 0.0
    unchecked: int = 0
    """The last so many windows had a heater that was switched."""
    rows: tuple[Row, ...] = ()

    @property
    def known(self) -> bool:
        checked = self.noise_c2 <= LEFT_OVER_C**2 and self.unchecked <= UNCHECKED_WINDOWS
        return checked and self.error_of_share <= KNOWN_TO

    def with_row(self, row: Row, *, heated: bool, switched: bool) -> Fit:
        """Fit anew over all rows; what the last one left over goes into the noise."""
        if heated and self.kept is not None:
            row = row.without_air(self.kept)
        rows = (*self.rows, row)
        x, y = np.array([r.causes for r in rows]), np.array([r.moved_c for r in rows])
        weights = FORGETTING ** np.arange(len(rows) - 1, -1, -1)
        squares, products = x.T @ (weights[:, None] * x), x.T @ (weights * y)
        firmness, drawn_to = RIDGE, np.zeros(7)
        if self.kept is not None:
            firmness = RIDGE + KEPT_RIDGE
            drawn_to = np.linalg.solve(firmness, KEPT_RIDGE @ self.kept)
        covariance = np.linalg.inv(squares + firmness)
        numbers = drawn_to + covariance @ (x.T @ (weights * (y - x @ drawn_to)))
        noise_c2 = self.noise_c2
        if not switched:
            product_c2 = row.left_c(self.numbers) * row.left_c(numbers)
            noise_c2 = noise_c2 * (1.0 - NOISE_WEIGHT) + NOISE_WEIGHT * product_c2
        error = np.sqrt(max(noise_c2, LIKELY_NOISE_C**2) * (SHARES @ covariance @ SHARES))
        fit = Fit(
            numbers,
            noise_c2,
            float(error),
            squares,
            products,
            kept=self.kept,
            cooled=self.cooled,
            unchecked=self.unchecked + 1 if switched else 0,
            rows=rows,
        )
        if not fit.known:
            return replace(fit, kept=None)
        return fit if heated else replace(fit, kept=SHARES * numbers)


@dataclass(frozen=True)
class Late:
    """Air and heater as late as a wall takes them; the implicit step of a first-order lag."""

    air_c: float
    on: float

    def after(self, read: Read) -> Late:
        whole_s = WALL_S + read.passed_s
        return Late(
            (WALL_S * self.air_c + read.passed_s * read.air_c) / whole_s,
            (WALL_S * self.on + read.passed_s * read.heating) / whole_s,
        )


def lates(reads: Sequence[Read]) -> list[Late]:
    """Return the late air and heater of each tick; at the first, a wall has taken all of them."""
    found = [Late(reads[0].air_c, float(reads[0].heating))]
    for read in reads[1:]:
        found.append(found[-1].after(read))
    return found


def windows(reads: Sequence[Read]) -> list[Mean]:
    """Return the closed windows."""
    began_s = reads[0].mono_s
    starts = []
    for read in reads:
        if read.mono_s - began_s >= WINDOW_S:
            began_s = read.mono_s
        starts.append(began_s)
    ticks = zip(starts, reads, lates(reads), strict=True)
    grouped = [(at_s, list(group)) for at_s, group in groupby(ticks, key=lambda tick: tick[0])]
    found = []
    for (at_s, group), (ends_s, _) in pairwise(grouped):
        table = [(r.vessel_c, r.air_c, r.heating, late.air_c, late.on) for _, r, late in group]
        cooled = any(r.cooling for _, r, _ in group)
        found.append(Mean(*np.mean(table, axis=0), cooled, (ends_s - at_s) / 3600.0))
    return found


def fits(reads: Sequence[Read]) -> list[Fit]:
    """Return the fit after each closed window."""
    found = [Fit()]
    closed = windows(reads)
    for place, two in enumerate(closed):
        fit = found[-1]
        if place >= 2:
            zero, one = closed[place - 2 : place]
            # The sums over the span are taken by the mean of its two ends (trapezoid).
            above_c = ((one.air_c - one.vessel_c) + (two.air_c - two.vessel_c)) / 2.0
            causes = [
                two.air_c - one.air_c,
                two.late_air_c - one.late_air_c,
                two.on - one.on,
                two.late_on - one.late_on,
                two.span_h * above_c,
                two.span_h,
                two.span_h * (one.on + two.on) / 2.0,
            ]
            fit = fit.with_row(
                Row(np.array(causes), two.vessel_c - one.vessel_c),
                heated=any(each > HEAT_GONE for m in (one, two) for each in (m.on, m.late_on)),
                switched=len({zero.on, one.on, two.on}) > 1,
            )
        found.append(replace(fit, cooled=fit.cooled * FORGETTING + two.cooled))
    return found[1:]


def estimates(reads: Sequence[Read], by_tick: Sequence[Fit]) -> list[float | None]:
    """Return where the beer is at each tick; None: the probe shows it. A fit for each tick."""
    beer_c: float | None = None
    found = []
    for read, late, fit in zip(reads, lates(reads), by_tick, strict=True):
        beer_c = _carried_on(beer_c, fit, read, late)
        found.append(beer_c)
    return found


def _carried_on(before_c: float | None, fit: Fit, read: Read, late: Late) -> float | None:
    by_reading_c = by_reading(fit, read, late, acted_on=before_c is not None)
    drawn = read.passed_s / (read.passed_s + DRAWN_S)
    if by_reading_c is None:
        if before_c is None:
            return None
        back_c = before_c * (1.0 - drawn) + read.vessel_c * drawn
        return None if abs(back_c - read.vessel_c) <= ARRIVED_C else back_c
    before_c = by_reading_c if before_c is None else before_c
    seen_of_beer = 1.0 - min(max(float(SHARES @ fit.numbers), 0.0), MOST_SHARE)
    rate, warmth, power = fit.numbers[4:]
    speed_c_per_h = rate * (read.air_c - before_c) + (warmth + power * read.heating) / seen_of_beer
    model_c = before_c + speed_c_per_h * read.passed_s / 3600.0
    return float((DRAWN_S * model_c + read.passed_s * by_reading_c) / (DRAWN_S + read.passed_s))


def by_reading(fit: Fit, read: Read, late: Late, *, acted_on: bool) -> float | None:
    """Return the beer by one tick's readings: what remains when air and heater are taken off."""
    share = float(SHARES @ fit.numbers)
    by_heat = LEAST_KEPT_BY_HEAT if acted_on else LEAST_BY_HEAT_ALONE
    least = LEAST_SHARE if fit.cooled >= COOLED_WINDOWS else by_heat
    if not fit.known or share > MOST_SHARE or share < least + SURE_ERRORS * fit.error_of_share:
        return None
    seen_air = (1.0 - SEEN_LESS_BY_HEAT * late.on) * fit.numbers[:2]
    left_c = read.vessel_c - float(seen_air @ [read.air_c, late.air_c])
    if abs(float(HEATERS @ fit.numbers)) >= LEAST_OF_HEATER_C:
        left_c -= float(fit.numbers[2:4] @ [read.heating, late.on])
    return left_c / (1.0 - float(seen_air.sum()))
