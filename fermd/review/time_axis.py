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

from fermd.journal.boot_ends import ends_by_boot
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


LARGE_TABLES = (*READING_TABLES, "output_changes")
"""Hundreds of thousands of rows: of these, only the ends of each boot are looked at."""


def _clocks(db: Database) -> Iterator[dict[str, Any]]:
    """For each table and boot, the newest row with or without a wall clock known to be set."""
    for table in LARGE_TABLES:
        for boot, first_seq, last_seq in _boots_in(db, table):
            yield from db.query(
                _OF_BOOT.format(table=table),
                {"boot": boot, "first_seq": first_seq, "last_seq": last_seq},
            )
    for table in EVENT_TABLES:
        if table not in LARGE_TABLES:
            # In one pass, and the row itself by its key.
            yield from db.query(
                "SELECT boot, good, newest.seq, wall_utc_s - mono_s AS offset_s, "  # noqa: S608 - constants
                "first_mono_s, last_mono_s FROM (SELECT wall_trusted > 0 AS good, max(seq) AS seq, "
                f"min(mono_s) AS first_mono_s, max(mono_s) AS last_mono_s FROM {table} "
                f"GROUP BY boot, good) AS newest JOIN {table} USING (seq)"
            )
    for table in ROLLUP_TABLES:
        firsts, lasts = (ends_by_boot(db, table, end) for end in ("min", "max"))
        for boot, last_mono_s in lasts.items():
            ends = {"boot": boot, "first": firsts[boot], "last": last_mono_s}
            newest = [*db.query(_NEWEST_BUCKET.format(table=table), ends)]
            # One that did not know the time matters only where none of the boot did.
            if not newest[0]["good"]:
                newest = [*db.query(_TRUSTED_BUCKET.format(table=table), ends)] or newest
            yield from newest


def _boots_in(db: Database, table: str) -> Iterator[tuple[int, int, int]]:
    """Each boot with its first and last row in a table: boots follow each other in `seq`."""
    columns = f"SELECT seq, boot FROM {table}"  # noqa: S608 - constants
    first = db.execute(f"{columns} ORDER BY seq LIMIT 1").fetchone()
    last = db.execute(f"{columns} ORDER BY seq DESC LIMIT 1").fetchone()
    while first is not None:
        # `low` is the last row known to be of this boot, `high` the first known not to be.
        low, high, after = first[0], last[0] + 1, None
        if last[1] == first[1]:
            low = last[0]
        while high - low > 1:
            middle = (low + high) // 2
            row = db.execute(f"{columns} WHERE seq >= ? ORDER BY seq LIMIT 1", [middle]).fetchone()
            if row[1] == first[1]:
                low = row[0]
            else:
                high, after = middle, row
        yield first[1], first[0], low
        first = after


_NEAR_AN_END = 1000
"""Within so many rows of a boot's first one is the earliest by the clock, and so for the last:
rows are in the order in which they were handed over, readings of one tick in any."""

_OF_BOOT = f"""
    SELECT boot, wall_trusted > 0 AS good, seq, wall_utc_s - mono_s AS offset_s,
        (SELECT min(mono_s) FROM (SELECT mono_s FROM {{table}}
            WHERE seq BETWEEN :first_seq AND :last_seq
            ORDER BY seq LIMIT {_NEAR_AN_END})) AS first_mono_s,
        (SELECT max(mono_s) FROM (SELECT mono_s FROM {{table}}
            WHERE seq BETWEEN :first_seq AND :last_seq
            ORDER BY seq DESC LIMIT {_NEAR_AN_END})) AS last_mono_s
    FROM (
        SELECT * FROM (
            SELECT * FROM {{table}} WHERE seq BETWEEN :first_seq AND :last_seq AND wall_trusted > 0
            ORDER BY seq DESC LIMIT 1)
        UNION ALL
        SELECT * FROM (
            SELECT * FROM {{table}} WHERE seq BETWEEN :first_seq AND :last_seq
            ORDER BY seq DESC LIMIT 1))
    ORDER BY good DESC LIMIT 1"""  # noqa: S608 - constants

_BUCKET = """
    SELECT boot, wall_trusted > 0 AS good, last_seq AS seq,
        start_wall_utc_s - start_mono_s AS offset_s, :first AS first_mono_s, :last AS last_mono_s
    FROM {table} WHERE boot = :boot AND """

_NEWEST_BUCKET = f"""{_BUCKET} probe_key IN (SELECT probe_key FROM probes)
        AND start_mono_s = :last
    ORDER BY good DESC, last_seq DESC LIMIT 1"""  # noqa: S608 - constants

_TRUSTED_BUCKET = f"{_BUCKET} wall_trusted > 0 ORDER BY start_mono_s DESC, last_seq DESC LIMIT 1"
