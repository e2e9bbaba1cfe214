"""Lays the clocks of all boots of a journal onto one axis of wall time (POSIX, s).

Within a boot the monotonic clock is kept, so that no step of the wall clock makes a run longer,
shorter or negative; it is laid where the wall clock stood when it was last known to be set. A boot
that never knew the time begins where the one before it ended, at the earliest.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlite_utils import Database

from fermd.journal.schema import EVENT_TABLES, READING_TABLES, ROLLUP_TABLES


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


def _clocks(db: Database) -> Iterator[dict[str, Any]]:
    """For each table and boot, the newest row with or without a wall clock known to be set."""
    for table in (*READING_TABLES, *EVENT_TABLES):
        # In one pass, and the row itself by its key: the readings alone are a few hundred thousand.
        yield from db.query(
            "SELECT boot, good, newest.seq, wall_utc_s - mono_s AS offset_s, "  # noqa: S608 - constants
            "first_mono_s, last_mono_s FROM (SELECT wall_trusted > 0 AS good, max(seq) AS seq, "
            f"min(mono_s) AS first_mono_s, max(mono_s) AS last_mono_s FROM {table} "
            f"GROUP BY boot, good) AS newest JOIN {table} USING (seq)"
        )
    for table in ROLLUP_TABLES:
        for (boot,) in db.execute("SELECT boot FROM boots").fetchall():
            yield from db.query(_OF_ROLLUP.format(table=table), {"boot": boot})


# By the table's own order, from both ends of the boot: a year has a million minutes. One that did
# not know the time matters only where none of the boot did.
_OF_ROLLUP = """
    SELECT boot, wall_trusted > 0 AS good, last_seq AS seq,
        start_wall_utc_s - start_mono_s AS offset_s,
        (SELECT min(start_mono_s) FROM {table} WHERE boot = :boot) AS first_mono_s,
        (SELECT max(start_mono_s) FROM {table} WHERE boot = :boot) AS last_mono_s
    FROM (
        SELECT * FROM (
            SELECT * FROM {table} WHERE boot = :boot AND wall_trusted > 0
            ORDER BY start_mono_s DESC, last_seq DESC LIMIT 1)
        UNION ALL
        SELECT * FROM (
            SELECT * FROM {table} WHERE boot = :boot
            ORDER BY start_mono_s DESC, last_seq DESC LIMIT 1))
    ORDER BY good DESC LIMIT 1"""
