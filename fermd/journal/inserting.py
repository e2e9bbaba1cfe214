"""Puts a batch of waiting rows into the journal, within a transaction that the caller holds."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable
from functools import partial

from fermd.control.events import OutputChanged
from fermd.control.moment import Moment
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty
from fermd.journal.pending import Batch, Remembered, WaitingHappening, WaitingReading
from fermd.journal.remembered import Stamp, replace_chambers, replace_lines
from fermd.journal.rows import Incident, PresumedOff, columns_of
from fermd.journal.schema import READING_TABLES

REFUSED = (
    sqlite3.IntegrityError,
    sqlite3.ProgrammingError,
    sqlite3.InterfaceError,
    OverflowError,
    TypeError,
    ValueError,
)
"""What a row raises that SQLite will never take, however often it is tried."""

_READING = {
    table: f"INSERT INTO {table} (seq, boot, mono_s, wall_utc_s, wall_trusted, probe_key, temp_c, "  # noqa: S608 - constant
    "fault) VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
    for table in READING_TABLES
}


class Inserter:
    """One run's rows into one file.

    Knows the file's key for the boot and for each probe, and by how much this run's order is
    moved to come after everything that is in the file.
    """

    def __init__(self, connection: sqlite3.Connection, boot: int, seq_after: int) -> None:
        self._connection = connection
        self.boot = boot
        self._seq_after = seq_after
        self._probe_keys: dict[tuple[str, str], int] = {}

    def insert(self, batch: Batch) -> None:
        """Insert all rows. Raises sqlite3.Error, or one of `REFUSED` for a row that is wrong."""
        for waiting in batch.happenings:
            self._insert_happening(waiting)
        self._insert_readings(batch.readings)
        if batch.remembered is not None:
            self._remember(batch.remembered)

    def insert_one_by_one(self, batch: Batch) -> list[Incident]:
        """Insert what can be inserted; what was refused is told of. Raises sqlite3.Error."""
        refused: list[str] = []
        lost_readings = sum(
            not self._accepted(partial(self._insert_readings, [one]), refused)
            for one in batch.readings
        )
        lost_events = sum(
            not self._accepted(partial(self._insert_happening, one), refused)
            for one in batch.happenings
        )
        if (remembered := batch.remembered) is not None:
            self._accepted(partial(self._remember, remembered), refused)
        if not refused:
            return []
        return [Incident("rows-refused", f"first: {refused[0]}", lost_readings, lost_events)]

    def forget_keys(self) -> None:
        """After a rollback: keys that were given out in the transaction are void."""
        self._probe_keys.clear()

    def _stamp(self, order: int, moment: Moment) -> Stamp:
        return Stamp(order + self._seq_after, self.boot, moment)

    def _insert_happening(self, waiting: WaitingHappening) -> None:
        stamp = self._stamp(waiting.order, waiting.moment)
        insert_happening(self._connection, stamp, waiting)

    def _insert_readings(self, readings: Iterable[WaitingReading]) -> None:
        rows = [
            (
                *self._stamp(each.order, each.row.moment).columns(),
                self._probe_key(each.row.chamber, each.row.probe),
                each.row.temp_c,
                each.row.fault,
            )
            for each in readings
        ]
        if rows:
            query = "SELECT readings_go_to FROM rollup_progress"
            (table,) = self._connection.execute(query).fetchone()
            self._connection.executemany(_READING[table], rows)

    def _remember(self, remembered: Remembered) -> None:
        stamp = self._stamp(remembered.order, remembered.moment)
        replace_lines(self._connection, stamp, remembered.lines)
        if remembered.chambers is not None:
            replace_chambers(self._connection, stamp, remembered.chambers)

    def _probe_key(self, chamber: str, probe: str) -> int:
        key = self._probe_keys.get((chamber, probe))
        if key is None:
            self._connection.execute(
                "INSERT INTO probes (chamber, probe) VALUES (?, ?) ON CONFLICT DO NOTHING",
                (chamber, probe),
            )
            (key,) = self._connection.execute(
                "SELECT probe_key FROM probes WHERE chamber = ? AND probe = ?", (chamber, probe)
            ).fetchone()
            self._probe_keys[chamber, probe] = key
        return int(key)

    def _accepted(self, insert: Callable[[], None], refused: list[str]) -> bool:
        self._connection.execute("SAVEPOINT one_row")
        try:
            insert()
        except REFUSED as error:
            self._connection.execute("ROLLBACK TO one_row")
            self.forget_keys()
            refused.append(str(error))
            return False
        else:
            return True
        finally:
            if self._connection.in_transaction:
                self._connection.execute("RELEASE one_row")


def insert_happening(
    connection: sqlite3.Connection, stamp: Stamp, waiting: WaitingHappening
) -> None:
    """Insert one row into the table that it belongs in."""
    table, columns = columns_of(waiting.happening, waiting.chamber)
    names = ", ".join(("seq", "boot", "mono_s", "wall_utc_s", "wall_trusted", *columns))
    marks = ", ".join("?" * (5 + len(columns)))
    connection.execute(
        f"INSERT INTO {table} ({names}) VALUES ({marks})",  # noqa: S608 - names come from rows.py
        (*stamp.columns(), *columns.values()),
    )


def presume_released(connection: sqlite3.Connection, seq: int, at: tuple[int, Moment]) -> int:
    """Note as released every output that the record shows as on; the next free `seq`.

    It counts as released at the last moment known of the daemon that left it so (`at`: boot and
    moment). `seq` is the first that is free.
    """
    boot, moment = at
    left_on = connection.execute(
        "SELECT chamber, duty, output, line FROM (SELECT *, max(seq) FROM output_changes "
        "GROUP BY chamber, output) WHERE is_on = 1 ORDER BY seq"
    ).fetchall()
    for chamber, duty, output, line in left_on:
        released = (Reason(Rule.UNCLEAN_STOP),)
        change = OutputChanged(Duty(duty), output, line, on=False, reasons=released)
        waiting = WaitingHappening(0, moment, chamber, PresumedOff(change))
        insert_happening(connection, Stamp(seq, boot, moment), waiting)
        seq += 1
    return seq
