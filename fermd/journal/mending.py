"""Mends the wall time of rows that were written before the clock was known to be set.

A board without a battery clock starts somewhere in the past and is set when the network comes.
`mono_s` of one boot runs evenly, so that one trusted moment dates all rows of its boot. Rows of an
earlier boot that never saw the clock set cannot be dated; they keep their mark, and their place
in the order.
"""

from __future__ import annotations

import sqlite3

from fermd.control.moment import Moment
from fermd.journal.schema import MOMENT_TABLES, ROLLUP_TABLES


def untrusted_rows(connection: sqlite3.Connection, boot: int) -> bool:
    """Whether rows of this boot wait to be mended."""
    return any(
        connection.execute(
            f"SELECT 1 FROM {table} WHERE boot = ? AND wall_trusted = 0 LIMIT 1",  # noqa: S608 - constant
            (boot,),
        ).fetchone()
        for table in (*MOMENT_TABLES, *ROLLUP_TABLES)
    )


def mend(connection: sqlite3.Connection, boot: int, trusted: Moment) -> int:
    """Date all undated rows of this boot by one trusted moment of it; how many there were.

    Happens within the caller's transaction. Raises sqlite3.Error.
    """
    offset_s = trusted.wall_utc_s - trusted.mono_s
    mended = 0
    for table in MOMENT_TABLES:
        mended += connection.execute(
            f"UPDATE {table} SET wall_utc_s = mono_s + ?, wall_trusted = 2 "  # noqa: S608 - constant
            "WHERE boot = ? AND wall_trusted = 0",
            (offset_s, boot),
        ).rowcount
    for table in ROLLUP_TABLES:
        connection.execute(
            f"UPDATE {table} SET start_wall_utc_s = start_mono_s + ?, wall_trusted = 2 "  # noqa: S608 - constant
            "WHERE boot = ? AND wall_trusted = 0",
            (offset_s, boot),
        )
    return mended
