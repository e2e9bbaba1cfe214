"""The little linear algebra that the thermal model needs, on lists of rows of floats."""

from __future__ import annotations

from math import ceil, log2
from operator import mul
from typing import TypeAlias

from fermd.physics.errors import PhysicsError

Matrix: TypeAlias = list[list[float]]

_TERMS = 14
"""Terms of the series. At a norm of ½ the first one left out is 0.5^15/15! = 2e-17."""


def product(left: Matrix, right: Matrix) -> Matrix:
    """Return the matrix product."""
    columns = list(zip(*right, strict=True))
    return [[sum(map(mul, row, column)) for column in columns] for row in left]


def exponential(matrix: Matrix) -> Matrix:
    """Return e to the power of a square matrix, by scaling and squaring its power series."""
    size = len(matrix)
    norm = max(sum(map(abs, row)) for row in matrix)
    squarings = max(0, ceil(log2(norm)) + 1) if norm > 0.0 else 0
    scaled = [[each / 2.0**squarings for each in row] for row in matrix]
    identity = [[float(i == j) for j in range(size)] for i in range(size)]
    # Horner: 1 + A (1 + A/2 (1 + A/3 (...)))
    result = identity
    for term in range(_TERMS, 0, -1):
        grown = product(scaled, result)
        result = [
            [one + each / term for one, each in zip(ones, row, strict=True)]
            for ones, row in zip(identity, grown, strict=True)
        ]
    for _ in range(squarings):
        result = product(result, result)
    return result


def solve(matrix: Matrix, right: list[float]) -> list[float]:
    """Return x of `matrix` x = `right`, by elimination with pivoting.

    Raises:
        PhysicsError: the matrix is singular.

    """
    size = len(matrix)
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    for column in range(size):
        pivot = max(range(column, size), key=lambda index: abs(rows[index][column]))
        if rows[pivot][column] == 0.0:
            raise PhysicsError("no steady state: a part of the chamber is joined to nothing")
        rows[column], rows[pivot] = rows[pivot], rows[column]
        for row in rows[column + 1 :]:
            factor = row[column] / rows[column][column]
            for index in range(column, size + 1):
                row[index] -= factor * rows[column][index]
    answer = [0.0] * size
    for column in reversed(range(size)):
        known = sum(rows[column][index] * answer[index] for index in range(column + 1, size))
        answer[column] = (rows[column][size] - known) / rows[column][column]
    return answer
