"""The estimate of `placing.py` worked out a second time, by numpy and from all readings at once.

Written from the equations in the head of `placing.py`: nothing is taken from its code but the names
of its constants. A fit there is a running sum; here it is the weighted ridge regression over every
window that there ever was (Hastie, Tibshirani and Friedman, The Elements of Statistical Learning,
sec. 3.4.1; from memory), its covariance the inverse of the same matrix.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np
import numpy.typing as npt

from fermd.control.placing import (
    ARRIVED_C,
    DRAWN_S,
    FORGETTING,
    KNOWN_TO,
    LEAST_OF_HEATER_C,
    LEAST_SHARE,
    LEFT_OVER_C,
    LIKELY,
    LIKELY_NOISE_C,
    MOST_SHARE,
    NOISE_WEIGHT,
    WINDOW_S,
)

Array = npt.NDArray[np.float64]
RIDGE: Array = np.diag((LIKELY_NOISE_C / np.array(LIKELY)) ** 2)
SHARES: Array = np.array([1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0])
HEATERS: Array = np.array([0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0])


@dataclass(frozen=True)
class Read:
    """One tick's readings, °C, and the time since the tick before, s."""

    vessel_c: float
    air_c: float
    heating: bool
    passed_s: float
    mono_s: float


@dataclass
class Fit:
    """What all windows up to one say of the seven numbers."""

    numbers: Array = field(default_factory=lambda: np.zeros(7))
    noise_c2: float = (2.0 * LIKELY_NOISE_C) ** 2
    error_of_share: float = 1.0
    squares: Array = field(default_factory=lambda: np.zeros((7, 7)))
    products: Array = field(default_factory=lambda: np.zeros(7))

    def with_row(self, rows: Sequence[Array], moves_c: Sequence[float]) -> Fit:
        """Fit anew over all rows; what the last one left over goes into the noise."""
        left_c = moves_c[-1] - float(rows[-1] @ self.numbers)
        noise_c2 = self.noise_c2
        if not rows[-1][2:4].any():
            noise_c2 = noise_c2 * (1.0 - NOISE_WEIGHT) + NOISE_WEIGHT * left_c**2
        x, y = np.array(rows), np.array(moves_c)
        weights = FORGETTING ** np.arange(len(rows) - 1, -1, -1)
        squares, products = x.T @ (weights[:, None] * x), x.T @ (weights * y)
        covariance = np.linalg.inv(squares + RIDGE)
        error = float(np.sqrt(max(noise_c2, LIKELY_NOISE_C**2) * (SHARES @ covariance @ SHARES)))
        return Fit(covariance @ products, noise_c2, error, squares, products)


def windows(reads: Sequence[Read]) -> list[tuple[float, Array]]:
    """Return the closed windows: how long each lasted, h, and its means (vessel, air, heater)."""
    began_s = reads[0].mono_s
    starts = []
    for read in reads:
        if read.mono_s - began_s >= WINDOW_S:
            began_s = read.mono_s
        starts.append(began_s)
    found = [
        (began_s, np.mean([(r.vessel_c, r.air_c, r.heating) for _, r in group], axis=0))
        for began_s, group in groupby(zip(starts, reads, strict=True), key=lambda pair: pair[0])
    ]
    ends = [after[0] for after in found[1:]]
    return [
        ((end - began) / 3600.0, means) for (began, means), end in zip(found, ends, strict=False)
    ]


def fits(reads: Sequence[Read]) -> list[Fit]:
    """Return the fit after each closed window."""
    rows: list[Array] = []
    moves_c: list[float] = []
    found = [Fit(), Fit()]
    closed = windows(reads)
    for (_, zero), (_, one), (span_h, two) in zip(closed, closed[1:], closed[2:], strict=False):
        (_, air_0, on_0), (vessel_1, air_1, on_1), (vessel_2, air_2, on_2) = zero, one, two
        # The sums over the span are taken by the mean of its two ends (trapezoid).
        above_c = ((air_1 - vessel_1) + (air_2 - vessel_2)) / 2.0
        rows.append(
            np.array(
                [
                    air_2 - air_1,
                    air_1 - air_0,
                    on_2 - on_1,
                    on_1 - on_0,
                    span_h * above_c,
                    span_h,
                    span_h * (on_1 + on_2) / 2.0,
                ]
            )
        )
        moves_c.append(float(vessel_2 - vessel_1))
        found.append(found[-1].with_row(rows, moves_c))
    return found


@dataclass
class Seen:
    """What the probe sees beside the beer, and where the beer is by that; None: not known."""

    air_c: float | None = None
    heater: float = 0.0
    beer_c: float | None = None

    def after(self, fit: Fit, read: Read) -> Seen:
        air_c = read.air_c
        if self.air_c is not None:
            air_c = _late(
                self.air_c, read.air_c, read.passed_s, fit.numbers[1], float(SHARES @ fit.numbers)
            )
        heater = _late(
            self.heater, read.heating, read.passed_s, fit.numbers[3], float(HEATERS @ fit.numbers)
        )
        by_reading_c = _by_reading_c(fit, read.vessel_c, air_c, heater)
        drawn = read.passed_s / (read.passed_s + DRAWN_S)
        if by_reading_c is None:
            if self.beer_c is None:
                return Seen(air_c, heater)
            back_c = self.beer_c * (1.0 - drawn) + read.vessel_c * drawn
            near = abs(back_c - read.vessel_c) <= ARRIVED_C
            return Seen(air_c, heater, None if near else back_c)
        before_c = read.vessel_c if self.beer_c is None else self.beer_c
        seen_of_beer = 1.0 - min(max(float(SHARES @ fit.numbers), 0.0), MOST_SHARE)
        rate, warmth, power = fit.numbers[4:]
        speed_c_per_h = rate * (air_c - before_c) + (warmth + power * read.heating) / seen_of_beer
        model_c = before_c + speed_c_per_h * read.passed_s / 3600.0
        # The implicit step of a first-order lag.
        drawn_c = (DRAWN_S * model_c + read.passed_s * by_reading_c) / (DRAWN_S + read.passed_s)
        return Seen(air_c, heater, float(drawn_c))


def _late(before: float, now: float, passed_s: float, late: float, whole: float) -> float:
    """Follow by a lag whose mean delay is the same as that of two windows' shares."""
    if not 0.0 < late < whole:
        return float(now)
    lag_s = WINDOW_S * late / whole
    return float((lag_s * before + passed_s * now) / (lag_s + passed_s))


def _by_reading_c(fit: Fit, vessel_c: float, air_c: float, heater: float) -> float | None:
    share, of_heater_c = float(SHARES @ fit.numbers), float(HEATERS @ fit.numbers)
    if fit.error_of_share > KNOWN_TO or fit.noise_c2 > LEFT_OVER_C**2 or share > MOST_SHARE:
        return None
    share = share if share >= LEAST_SHARE + fit.error_of_share else 0.0
    of_heater_c = of_heater_c if of_heater_c >= LEAST_OF_HEATER_C else 0.0
    if share == 0.0:
        return None
    return (vessel_c - share * air_c - of_heater_c * heater) / (1.0 - share)
