"""The elimination behind the fit of `placing.py`, beside numpy's."""

from __future__ import annotations

import numpy as np
import pytest

from fermd.control.solving import solve


@pytest.mark.parametrize("size", [1, 2, 7])
def test_the_elimination_agrees_with_numpy(size: int) -> None:
    random = np.random.default_rng(size)
    for _ in range(20):
        root = random.normal(size=(size, size))
        matrix = root @ root.T + np.eye(size)
        sides = random.normal(size=(size, 2))
        found = solve(matrix.tolist(), (sides[:, 0].tolist(), sides[:, 1].tolist()))
        assert np.allclose(np.array(found).T, np.linalg.solve(matrix, sides))


def test_a_badly_conditioned_matrix_is_solved_as_well_as_numpy_does() -> None:
    """Sums of readings that hardly differ, with a ridge that is a millionth of them."""
    row = np.array([30.0, 29.9, 1.0, 1.0, 5.0, 8.0, 2.0])
    matrix = np.outer(row, row) + np.diag([1e-3] * 7)
    side = matrix @ np.array([0.2, 0.1, 1.0, -1.0, 0.3, 0.0, 2.0])
    found, doubled = solve(matrix.tolist(), (side.tolist(), (2.0 * side).tolist()))
    assert found == pytest.approx([0.2, 0.1, 1.0, -1.0, 0.3, 0.0, 2.0], abs=1e-6)
    assert doubled == pytest.approx([2.0 * each for each in found], rel=1e-9, abs=1e-9)


def test_what_is_given_is_not_changed() -> None:
    rows, sides = [[4.0, 1.0], [1.0, 3.0]], ([1.0, 2.0], [0.0, 1.0])
    found = solve(rows, sides)
    assert (rows, sides) == ([[4.0, 1.0], [1.0, 3.0]], ([1.0, 2.0], [0.0, 1.0]))
    assert found[0] == pytest.approx([1.0 / 11.0, 7.0 / 11.0])
    assert found[1] == pytest.approx([-1.0 / 11.0, 4.0 / 11.0])


def test_a_matrix_without_a_solution_divides_by_nought() -> None:
    with pytest.raises(ZeroDivisionError):
        solve([[0.0]], ([1.0], [1.0]))
