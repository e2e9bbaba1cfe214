"""How quickly people are told: gathering, repeating, and keeping calm in a storm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

CALM_MESSAGES: Final = 2
"""So many messages in an hour are no storm; each further one doubles the time for which less urgent
things are gathered (common practice, no source)."""
STORM_WITHIN_S: Final = 3600.0
LONGEST_GATHER_S: Final = 900.0
"""... up to this, s."""


@dataclass(frozen=True, slots=True)
class Pace:
    """From the site file."""

    gather_s: float
    repeat_s: float
    repeat_growth: float
    longest_repeat_s: float

    def wait_s(self, repeats: int) -> float:
        """How long to wait after so many repeats, s."""
        # Bounded first: a power of a large number has no end.
        if self.repeat_growth > 1.0 and repeats > 64:
            return self.longest_repeat_s
        return min(self.longest_repeat_s, self.repeat_s * self.repeat_growth**repeats)

    def gather_in_storm_s(self, told_lately: int) -> float:
        """How long to gather after so many messages within an hour, s."""
        doubled_s = self.gather_s * 2.0 ** min(16, max(0, told_lately - CALM_MESSAGES))
        return max(self.gather_s, min(LONGEST_GATHER_S, doubled_s))
