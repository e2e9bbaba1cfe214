"""How long to wait before the next try: longer after each failure, never for ever, never in step.

Boards of one fleet lose their broker in the same instant; each waits a random half to whole of its
time, so that they do not all come back in the same instant too.
"""

from __future__ import annotations

import random
from typing import Final

FIRST_S: Final = 1.0
LONGEST_S: Final = 120.0
STEADY_S: Final = 60.0
"""A connection that has lasted so long, s, was a good one: the next failure counts as the first."""


class Backoff:
    """Counts failures in a row.

    >>> waits = Backoff(random.Random(1))
    >>> all(0.5 * due_s <= waits.next_s() <= due_s for due_s in (1, 2, 4, 8, 16, 32, 64, 120, 120))
    True
    """

    def __init__(self, chance: random.Random | None = None) -> None:
        self._chance = chance or random.Random()  # noqa: S311 - nothing secret
        self._due_s = FIRST_S

    def next_s(self) -> float:
        """Return how long to wait now, s."""
        due_s, self._due_s = self._due_s, min(2.0 * self._due_s, LONGEST_S)
        return due_s * self._chance.uniform(0.5, 1.0)

    def lasted(self, connected_s: float) -> bool:
        """Note how long a connection has lasted; whether that makes the next failure a first."""
        if connected_s < STEADY_S:
            return False
        self._due_s = FIRST_S
        return True
