"""Lays the clocks of all boots of a journal onto one axis of wall time (POSIX, s).

Within a boot the monotonic clock is kept, so that no step of the wall clock makes a run longer,
shorter or negative; it is laid where the wall clock stood when it was last known to be set. A boot
that never knew the time begins where the one before it ended, at the earliest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlite_utils import Database

from fermd.journal.schema import EVENT_TABLES, ROLLUP_TABLES


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """Where each boot lies."""

    offset_s_by_boot: Mapping[int, float]
    """To be added to the boot's `mono_s`."""

    def at_s(self, row: Mapping[str, Any]) -> float:
        """Return a row's place on the axis."""
        return self.offset_s_by_boot[row["boot"]] + float(row["mono_s"])


@dataclass(slots=True)
class _Boot:
    first_mono_s: float
    last_mono_s: float
    best: tuple[bool, int]
    """Whether the wall clock was known to be set, and the row that said so."""
    offset_s: float


def read_time_axis(db: Database) -> TimeAxis:
    """Read how the boots of a journal follow each other."""
    boots: dict[int, _Boot] = {}
    for row in _clocks(db):
        seen = _Boot(
            row["first_mono_s"],
            row["last_mono_s"],
            (bool(row["good"]), row["seq"]),
            row["offset_s"],
        )
        known = boots.setdefault(row["boot"], seen)
        known.first_mono_s = min(known.first_mono_s, seen.first_mono_s)
        known.last_mono_s = max(known.last_mono_s, seen.last_mono_s)
        if seen.best > known.best:
            known.best, known.offset_s = seen.best, seen.offset_s
    offsets: dict[int, float] = {}
    reached_s = float("-inf")
    for number in sorted(boots):
        boot = boots[number]
        offsets[number] = max(boot.offset_s, reached_s - boot.first_mono_s)
        reached_s = offsets[number] + boot.last_mono_s
    return TimeAxis(offsets)


def _clocks(db: Database) -> list[dict[str, Any]]:
    """For each table and boot, the newest row with and without a wall clock known to be set."""
    tables = [(table, "seq", "") for table in ("readings", *EVENT_TABLES)]
    tables += [(table, "last_seq", "start_") for table in ROLLUP_TABLES]
    found: list[dict[str, Any]] = []
    for table, seq, prefix in tables:
        found += db.query(
            f"SELECT * FROM (SELECT boot, wall_trusted > 0 AS good, max({seq}) AS seq, "  # noqa: S608 - constants
            f"{prefix}wall_utc_s - {prefix}mono_s AS offset_s FROM {table} GROUP BY boot, good) "
            f"JOIN (SELECT boot, min({prefix}mono_s) AS first_mono_s, "
            f"max({prefix}mono_s) AS last_mono_s FROM {table} GROUP BY boot) USING (boot)"
        )
    return found
