"""The matrix exponential and the solver against scipy."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from scipy.linalg import expm

from fermd.physics.errors import PhysicsError
from fermd.physics.matrix import exponential, solve


@pytest.mark.parametrize("scale", [1e-6, 0.1, 1.0, 30.0])
def test_the_exponential_of_any_matrix_is_scipys(scale: float) -> None:
    random = Random(7)
    matrix = [[random.uniform(-scale, scale) for _ in range(9)] for _ in range(9)]
    theirs = expm(np.array(matrix))
    assert np.allclose(exponential(matrix), theirs, rtol=1e-10, atol=1e-12 * np.abs(theirs).max())


def test_the_exponential_of_a_stiff_decaying_matrix_is_scipys() -> None:
    matrix = [[-4e4, 4e4 - 1.0, 1.0], [3.0, -3.0, 0.0], [0.0, 0.01, -0.01]]
    assert np.allclose(exponential(matrix), expm(np.array(matrix)), rtol=1e-9, atol=1e-12)


def test_the_exponential_of_nothing_is_one() -> None:
    assert exponential([[0.0, 0.0], [0.0, 0.0]]) == [[1.0, 0.0], [0.0, 1.0]]


def test_a_system_of_equations_is_solved_as_numpy_does() -> None:
    random = Random(3)
    matrix = [[random.gauss(0, 1) for _ in range(8)] for _ in range(8)]
    matrix[0][0] = 0.0
    right = [random.gauss(0, 1) for _ in range(8)]
    assert np.allclose(solve(matrix, right), np.linalg.solve(np.array(matrix), np.array(right)))


def test_a_part_that_is_joined_to_nothing_has_no_steady_state() -> None:
    with pytest.raises(PhysicsError, match="joined to nothing"):
        solve([[1.0, 0.0], [0.0, 0.0]], [1.0, 1.0])
