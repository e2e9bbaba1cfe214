"""A broken promise, as the replays of a journal tell it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

Row = dict[str, Any]
"""One row of the journal with all columns that a check may want (`invariants.py` makes them).

`t_s` is its time on the clock of the whole journal, s.
"""

ROUNDING_S = 0.01
"""Times that are this near to each other, s, are the same."""


@dataclass(frozen=True, slots=True)
class Violation:
    """One broken promise."""

    seq: int
    """The journal row that shows it."""
    chamber: str
    promise: str
    detail: str

    def __str__(self) -> str:
        return f"row {self.seq}, chamber {self.chamber}: {self.promise}: {self.detail}"
