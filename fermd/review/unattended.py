"""Spans in which nobody was in charge, though the daemon ran: the loop hung, or the board slept.

The record tells them by their ends: a gap, and a relay that let go because nobody renewed it. What
was read meanwhile was looked at only after them, in one tick.
"""

from __future__ import annotations

from dataclasses import dataclass

from fermd.control.chamber import LONGEST_TICK_S
from fermd.control.reasons import Rule
from fermd.review.violation import ROUNDING_S, Row

STARTS_AFTER_S = 0.001
"""A span begins just after the last tick before it, whose own rows are no part of it, s."""

GAPS = f"""SELECT boot, mono_s - lasted_s + {STARTS_AFTER_S} AS mono_s, seq, chamber,
    mono_s AS until_mono_s FROM gaps UNION ALL
    SELECT boot, mono_s - {LONGEST_TICK_S}, seq, chamber, mono_s FROM output_changes
    WHERE reason_rule = '{Rule.LEASE_EXPIRED.value}'"""  # noqa: S608 - constants
"""A pause of up to `LONGEST_TICK_S` is no gap; that a relay let go in it, at its end, is told."""


@dataclass(slots=True)
class Unattended:
    """Whether anybody is in charge of one chamber."""

    until_s: float = float("-inf")
    """When the newest span ended, s."""

    def begins(self, row: Row) -> None:
        """Take the beginning of a span; its row knows its end."""
        self.until_s = max(self.until_s, row["t_s"] + row["until_mono_s"] - row["mono_s"])

    def is_on(self, t_s: float) -> bool:
        """Whether nobody had looked at what was there at that time before later."""
        return t_s <= self.until_s + ROUNDING_S
