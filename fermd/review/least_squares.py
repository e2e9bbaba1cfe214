"""Least squares with some numbers that cannot be negative, for the few unknowns of a review.

The normal equations are gathered once, and any choice of unknowns is solved from their part of
them. Signs are kept by an active set (Lawson and Hanson, Solving Least Squares Problems, ch. 23,
from memory): what comes out negative is put to nought, and taken in again once it would help.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from fermd.physics.matrix import Matrix, solve

_TINY = 1e-9


@dataclass(slots=True)
class Normal:
    """Sums of products over the rows seen."""

    size: int
    squares: Matrix = field(init=False)
    products: list[float] = field(init=False)
    right2: float = field(default=0.0, init=False)
    rows: int = field(default=0, init=False)

    def __post_init__(self) -> None:
        """Begin with nothing seen."""
        self.squares = [[0.0] * self.size for _ in range(self.size)]
        self.products = [0.0] * self.size

    def add(self, row: Sequence[float], right: float) -> None:
        """Take in one equation: the sum of `row` times the unknowns is `right`."""
        there = [place for place, value in enumerate(row) if value != 0.0]
        for one in there:
            value, squares = row[one], self.squares[one]
            self.products[one] += value * right
            for other in there:
                squares[other] += value * row[other]
        self.right2 += right * right
        self.rows += 1

    def solved(self, chosen: Sequence[int], positive: Collection[int]) -> list[float]:
        """The best values of the chosen unknowns, all others at nought."""
        active = list(chosen)
        values = dict.fromkeys(chosen, 0.0)
        for _ in range(3 * len(active) + 3):
            found = dict(zip(active, self._plain(active), strict=True))
            negative = [one for one in active if one in positive and found[one] < -_TINY]
            if negative:
                worst = min(negative, key=found.__getitem__)
                active.remove(worst)
                continue
            values = {one: found.get(one, 0.0) for one in chosen}
            left_out = [one for one in chosen if one not in found]
            helps = {one: self._slope(one, found) for one in left_out}
            if not helps or max(helps.values()) <= _TINY * (1.0 + self.right2):
                break
            active.append(max(helps, key=helps.__getitem__))
        return [values[one] for one in chosen]

    def left_over2(self, chosen: Sequence[int], values: Sequence[float]) -> float:
        """The sum of squares that these values leave over."""
        cross = sum(value * self.products[one] for one, value in zip(chosen, values, strict=True))
        square = sum(
            value * other_value * self.squares[one][other]
            for one, value in zip(chosen, values, strict=True)
            for other, other_value in zip(chosen, values, strict=True)
        )
        return max(0.0, self.right2 - 2.0 * cross + square)

    def variance(self, chosen: Sequence[int], weights: Sequence[float]) -> float:
        """The variance of a weighted sum of the chosen unknowns, for errors of variance 1."""
        part = self._part(chosen)
        along = solve(part, list(weights))
        return max(0.0, sum(one * other for one, other in zip(along, weights, strict=True)))

    def _plain(self, active: Sequence[int]) -> list[float]:
        return solve(self._part(active), [self.products[one] for one in active]) if active else []

    def _part(self, active: Sequence[int]) -> Matrix:
        part = [[self.squares[one][other] for other in active] for one in active]
        for place, row in enumerate(part):
            # Two unknowns that cannot be told apart share what they stand for.
            row[place] += 1e-9 * (1.0 + row[place])
        return part

    def _slope(self, one: int, found: dict[int, float]) -> float:
        return self.products[one] - sum(
            value * self.squares[one][other] for other, value in found.items()
        )
