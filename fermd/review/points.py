"""What is known of a chamber's temperatures, as points: readings, minutes or quarter hours.

Raw readings where there are any; before them their minutes, and before those the quarter hours. Who
wants buckets that are much wider than a minute or a quarter hour is given those instead of what
they were made from: the same minimum, mean and maximum, from a tenth or a hundredth of the rows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import product
from typing import Any

from sqlite_utils import Database

from fermd.journal.boot_ends import ends_by_boot
from fermd.journal.schema import READING_TABLES

FINER_THAN_BUCKET = 4
"""Points this many times finer than a bucket, or more, will do for it. What a bucket's edge cuts
through is counted to the side on which it begins: an eighth of a bucket's width at the most."""

_MINUTE_S, _QUARTER_HOUR_S = 60, 900


class Points:
    """The points of one chamber."""

    def __init__(self, db: Database, chamber: str) -> None:
        self._db = db
        query = "SELECT probe_key, probe FROM probes WHERE chamber = ?"
        self._probe_by_key = dict(db.execute(query, [chamber]).fetchall())
        self._ours = f"probe_key IN ({', '.join(map(str, self._probe_by_key))})"
        (self._counted,) = db.execute("SELECT rolled_up_to_seq FROM rollup_progress").fetchone()

    def spans(self, boots: Iterable[int]) -> Iterator[tuple[int, float, float]]:
        """Each boot with its first and its last point, on its own clock (s)."""
        for table in READING_TABLES:
            yield from self._db.execute(
                f"SELECT boot, min(mono_s), max(mono_s) FROM {table} "  # noqa: S608 - constants
                f"WHERE {self._ours} AND temp_c IS NOT NULL GROUP BY boot"
            ).fetchall()
        for boot in boots:
            for part in (self._minutes(finest=True), self._quarter_hours(with_minutes=True)):
                # From both ends, by the table's own order.
                for key, order in product(self._probe_by_key, ("ASC", "DESC")):
                    yield from self._db.execute(
                        f"SELECT boot, start_mono_s, start_mono_s {part} AND boot = ? "
                        f"AND probe_key = ? ORDER BY start_mono_s {order} LIMIT 1",
                        [boot, key],
                    ).fetchall()

    def buckets(
        self, offset_s_by_boot: Mapping[int, float], start_s: float, width_s: float
    ) -> Iterator[tuple[str, float, float, float, float]]:
        """Name of the probe, and mean time (s), minimum, mean and maximum (°C) of each bucket.

        The boots are laid onto one axis by their offsets; the first bucket begins at `start_s`. In
        the order of time.
        """
        offsets = ", ".join(f"({boot}, {at_s!r})" for boot, at_s in offset_s_by_boot.items())
        for key, *bucket in self._db.execute(
            f"WITH boot_offset (boot, offset_s) AS (VALUES {offsets}), "  # noqa: S608 - numbers
            f"point AS (SELECT *, mono_s + offset_s AS at FROM ({self._select(width_s)}) "
            "JOIN boot_offset USING (boot)) "
            "SELECT probe_key, avg(at) AS at_s, min(minimum_c), "
            "sum(mean_c * good_readings) / sum(good_readings), max(maximum_c) "
            "FROM point GROUP BY probe_key, CAST((at - :start_s) / :width_s AS INTEGER) "
            "ORDER BY at_s",
            {"start_s": start_s, "width_s": width_s},
        ):
            yield self._probe_by_key[key], *bucket

    def _select(self, width_s: float) -> str:
        """The SELECT of points that will do for buckets of this width."""
        if width_s >= FINER_THAN_BUCKET * _QUARTER_HOUR_S:
            parts = [self._quarter_hours(with_minutes=False)]
        elif width_s >= FINER_THAN_BUCKET * _MINUTE_S:
            parts = [self._minutes(finest=False), self._quarter_hours(with_minutes=True)]
        else:
            parts = [self._minutes(finest=True), self._quarter_hours(with_minutes=True)]
        return " UNION ALL ".join(
            (
                *(
                    "SELECT boot, mono_s, probe_key, temp_c AS minimum_c, temp_c AS mean_c, "  # noqa: S608 - constants
                    f"temp_c AS maximum_c, 1 AS good_readings FROM {table} "
                    f"WHERE {self._ours} AND temp_c IS NOT NULL AND seq > {after}"
                    for table, after in self._raw(width_s)
                ),
                *(
                    "SELECT boot, start_mono_s, probe_key, minimum_c, mean_c, maximum_c, "
                    f"good_readings {part}"
                    for part in parts
                ),
            )
        )

    def _raw(self, width_s: float) -> Iterator[tuple[str, int]]:
        """The tables of readings, and after which row they are to be read."""
        wide = width_s >= FINER_THAN_BUCKET * _MINUTE_S
        for table in READING_TABLES:
            yield table, self._counted if wide else -1

    def _minutes(self, *, finest: bool) -> str:
        """From where minutes are read: all, or (`finest`) those whose readings are gone."""
        before = f" AND last_seq < {self._oldest_reading()}" if finest else ""
        return f"FROM rollup_minute WHERE {self._ours} AND mean_c IS NOT NULL{before}"

    def _quarter_hours(self, *, with_minutes: bool) -> str:
        """From where quarter hours are read: all, or (`with_minutes`) those without minutes."""
        before = ""
        if with_minutes:
            before = f" AND last_seq < {self._oldest_reading()}"
            firsts = ends_by_boot(self._db, "rollup_minute", "min")
            if firsts:
                boot, start_mono_s = min(firsts.items())
                until_mono_s = start_mono_s - _QUARTER_HOUR_S
                before += f" AND (boot, start_mono_s) <= ({boot}, {until_mono_s})"
        return f"FROM rollup_quarter_hour WHERE {self._ours} AND mean_c IS NOT NULL{before}"

    def _oldest_reading(self) -> int:
        """The lowest `seq` of any reading; above every row without one."""
        oldest = [self._one(f"SELECT min(seq) FROM {table}") for table in READING_TABLES]  # noqa: S608 - constants
        return min((row[0] for row in oldest if row and row[0] is not None), default=2**63 - 1)

    def _one(self, query: str) -> tuple[Any, ...] | None:
        row: tuple[Any, ...] | None = self._db.execute(query).fetchone()
        return row
