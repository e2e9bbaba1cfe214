"""Thins what is old: raw readings into minutes and quarter hours, with minimum, mean and maximum.

- A reading is counted into its minute and its quarter hour in the same transaction that moves
  `rolled_up_to_seq` past it: never twice, never not at all, wherever the process is killed.
- Only what has been counted is deleted. A spike stays: as the minimum or maximum of its minute,
  and of its quarter hour for good.
- Buckets are cut by the monotonic clock of their boot, so that no step of the wall clock tears
  one or folds two into one.
- Age is time that the board has been on, counted back over the boots: it needs no wall clock,
  and is never more than the real age.

Every transaction is small; between two of them the writer sees to what has happened meanwhile.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

from fermd.config.keeping import ThinningSettings
from fermd.control.moment import Moment
from fermd.control.settings import DAY_S
from fermd.journal.schema import READING_TABLES

ROWS_AT_ONCE = 5000
"""Readings counted or minutes deleted in one transaction: some 10 ms, and 200 kB of log."""


def thin(
    connection: sqlite3.Connection, boot: int, now: Moment, settings: ThinningSettings
) -> Iterator[None]:
    """Count, then delete; yields after each transaction. May be dropped at any point.

    Only `now.mono_s` is used, as the present time of `boot`. Raises sqlite3.Error.
    """
    yield from roll_up(connection)
    raw_cut = _cut(connection, boot, now.mono_s, settings.raw_days * DAY_S)
    if raw_cut is not None:
        yield from _turn_over(connection, *raw_cut)
    minute_cut = _cut(connection, boot, now.mono_s, settings.minute_days * DAY_S)
    if minute_cut is not None:
        yield from _delete_minutes(connection, *minute_cut)


def roll_up(connection: sqlite3.Connection) -> Iterator[None]:
    """Count all readings that have not been counted yet; yields after each transaction."""
    while True:
        connection.execute("BEGIN IMMEDIATE")
        try:
            (done,) = connection.execute("SELECT rolled_up_to_seq FROM rollup_progress").fetchone()
            (until,) = connection.execute(
                "SELECT max(seq) FROM (SELECT seq FROM readings WHERE seq > ? "
                "ORDER BY seq LIMIT ?)",
                (done, ROWS_AT_ONCE),
            ).fetchone()
            if until is not None:
                for table, bucket_s in (("rollup_minute", 60), ("rollup_quarter_hour", 900)):
                    _count_into(connection, table, bucket_s, done, until)
                connection.execute("UPDATE rollup_progress SET rolled_up_to_seq = ?", (until,))
        except BaseException:
            _roll_back(connection)
            raise
        connection.execute("COMMIT")
        if until is None:
            return
        yield


def buckets_of(bucket_s: int, where: str) -> str:
    """The SELECT of the buckets that readings fall into; `where` chooses the readings.

    The columns are those of the rollup tables. A faulty reading has no part in the temperatures.
    """
    return f"""
        SELECT min(seq) AS first_seq, max(seq) AS last_seq, boot,
            CAST(mono_s AS INTEGER) / {bucket_s} * {bucket_s} AS start_mono_s, probe_key,
            min(wall_utc_s - mono_s) + CAST(mono_s AS INTEGER) / {bucket_s} * {bucket_s}
                AS start_wall_utc_s,
            min(wall_trusted) AS wall_trusted,
            count(*) FILTER (WHERE fault IS NULL) AS good_readings,
            count(*) FILTER (WHERE fault IS NOT NULL) AS faulty_readings,
            min(temp_c) FILTER (WHERE fault IS NULL) AS minimum_c,
            avg(temp_c) FILTER (WHERE fault IS NULL) AS mean_c,
            max(temp_c) FILTER (WHERE fault IS NULL) AS maximum_c
        FROM readings WHERE {where}
        GROUP BY boot, probe_key, start_mono_s"""  # noqa: S608 - numbers and constants


JOINED = """
    ON CONFLICT (boot, probe_key, start_mono_s) DO UPDATE SET
        last_seq = excluded.last_seq,
        wall_trusted = min(wall_trusted, excluded.wall_trusted),
        minimum_c = min(coalesce(minimum_c, excluded.minimum_c),
            coalesce(excluded.minimum_c, minimum_c)),
        maximum_c = max(coalesce(maximum_c, excluded.maximum_c),
            coalesce(excluded.maximum_c, maximum_c)),
        mean_c = CASE WHEN good_readings + excluded.good_readings > 0 THEN
            (coalesce(mean_c, 0) * good_readings
                + coalesce(excluded.mean_c, 0) * excluded.good_readings)
            / (good_readings + excluded.good_readings) END,
        good_readings = good_readings + excluded.good_readings,
        faulty_readings = faulty_readings + excluded.faulty_readings"""
"""A bucket whose readings are counted in two goes is joined: the mean by its weights."""


def _count_into(
    connection: sqlite3.Connection, table: str, bucket_s: int, done: int, until: int
) -> None:
    connection.execute(
        f"INSERT INTO {table} {buckets_of(bucket_s, 'seq > ? AND seq <= ?')} {JOINED}",
        (done, until),
    )


def _cut(
    connection: sqlite3.Connection, boot: int, mono_s: float, age_s: float
) -> tuple[int, float] | None:
    """The boot and its time before which everything is older than `age_s`; None: nothing is."""
    lasted = connection.execute(
        "SELECT boot, max(start_mono_s) FROM rollup_quarter_hour WHERE boot < ? "
        "GROUP BY boot ORDER BY boot DESC",
        (boot,),
    ).fetchall()
    left_s = age_s
    for each_boot, each_end_s in ((boot, mono_s), *lasted):
        if each_end_s >= left_s:
            return each_boot, each_end_s - left_s
        left_s -= each_end_s
    return None


def _turn_over(connection: sqlite3.Connection, cut_boot: int, cut_mono_s: float) -> Iterator[None]:
    """Empty the table that is not being filled, if the one that is holds all that is to be kept."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        rolled_up_to, filling = connection.execute(
            "SELECT rolled_up_to_seq, readings_go_to FROM rollup_progress"
        ).fetchone()
        (emptied,) = (table for table in READING_TABLES if table != filling)
        oldest = connection.execute(
            f"SELECT boot, mono_s FROM {filling} ORDER BY seq LIMIT 1"  # noqa: S608 - constant
        ).fetchone()
        (newest_seq,) = connection.execute(
            f"SELECT coalesce(max(seq), 0) FROM {emptied}"  # noqa: S608 - constant
        ).fetchone()
        due = oldest is not None and oldest < (cut_boot, cut_mono_s)
        if due and newest_seq <= rolled_up_to:
            connection.execute(f"DELETE FROM {emptied}")  # noqa: S608 - constant
            connection.execute("UPDATE rollup_progress SET readings_go_to = ?", (emptied,))
    except BaseException:
        _roll_back(connection)
        raise
    connection.execute("COMMIT")
    yield


def _delete_minutes(
    connection: sqlite3.Connection, cut_boot: int, cut_mono_s: float
) -> Iterator[None]:
    # By the table's own order: a boot has each probe's minutes side by side.
    parts: list[tuple[str, tuple[float, ...]]] = [("boot < ?", (cut_boot,))]
    for (probe_key,) in connection.execute("SELECT probe_key FROM probes").fetchall():
        of_probe = "boot = ? AND probe_key = ? AND start_mono_s < ?"
        parts.append((of_probe, (cut_boot, probe_key, cut_mono_s - 60)))
    for where, values in parts:
        statement = (
            "DELETE FROM rollup_minute WHERE (boot, probe_key, start_mono_s) IN "  # noqa: S608 - constants
            f"(SELECT boot, probe_key, start_mono_s FROM rollup_minute WHERE {where} LIMIT ?)"
        )
        while connection.execute(statement, (*values, ROWS_AT_ONCE)).rowcount > 0:
            yield


def _roll_back(connection: sqlite3.Connection) -> None:
    if connection.in_transaction:
        connection.execute("ROLLBACK")
