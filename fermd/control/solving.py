"""Solving the equations of a small least-squares fit."""

from __future__ import annotations

from operator import mul


def solve(
    rows: list[list[float]], right_sides: tuple[list[float], list[float]]
) -> tuple[list[float], list[float]]:
    """Solve two systems with one symmetric, positive matrix by elimination (Cholesky's order).

    A positive matrix needs no pivoting (Golub and Van Loan, Matrix Computations, sec. 4.2; from
    memory), and the ridge keeps this one positive.
    """
    size = len(rows)
    work = [row + [side[place] for side in right_sides] for place, row in enumerate(rows)]
    for place in range(size):
        head = work[place]
        for below in work[place + 1 :]:
            times = below[place] / head[place]
            for column in range(place, size + 2):
                below[column] -= times * head[column]
    answers: tuple[list[float], list[float]] = ([0.0] * size, [0.0] * size)
    for place in reversed(range(size)):
        for number, answer in enumerate(answers):
            # What is not worked out yet is nought.
            known = sum(map(mul, work[place], answer))
            answer[place] = (work[place][size + number] - known) / work[place][place]
    return answers
