"""The present, as the core is told of it: two clocks, kept apart.

The core never asks what time it is. Protection and timers work on `mono_s`, which nobody can
set; the calendar and the record work on `wall_utc_s`, which may be wrong after a start without
network and may be stepped at any time.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Moment:
    """One instant on both clocks."""

    mono_s: float
    """Seconds since the board started, suspend included (CLOCK_BOOTTIME). Never goes back."""

    wall_utc_s: float = 0.0
    """Seconds since 1970-01-01 UTC (POSIX time). May be wrong, and may be stepped."""

    wall_trusted: bool = False
    """True once the wall clock is known to be set (kernel's sync flag, or a person's word)."""
