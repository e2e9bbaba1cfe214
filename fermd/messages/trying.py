"""How often it is tried to reach a recipient: ever more rarely, by chance, and for ever."""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import Final

FIRST_RETRY_S: Final = 10.0
LONGEST_RETRY_S: Final = 900.0
"""What failed is tried again after the first, twice as long after every further failure, and at
the longest after the last, s."""


@dataclass(slots=True)
class Trying:
    """How it goes with one recipient, in this process. Times are real ones, s."""

    sending: bool = False
    failures: int = 0
    """Since it was reached last."""
    next_real_s: float = float("-inf")
    """Before this it is not tried again."""

    def arrived(self) -> None:
        """Take note that it was reached."""
        self.failures, self.next_real_s = 0, float("-inf")

    def failed(self, real_s: float) -> None:
        """Take note that it could not be reached."""
        self.next_real_s = real_s + retry_s(self.failures)
        self.failures += 1


def retry_s(failures: int) -> float:
    """How long to wait after so many failures, s; by chance, so that boards do not meet."""
    longest_s = min(LONGEST_RETRY_S, FIRST_RETRY_S * 2.0 ** min(failures, 10))
    return longest_s * random.uniform(0.5, 1.0)  # noqa: S311 - no secret
