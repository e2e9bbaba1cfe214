"""Carries everything readable of one or more journals over into a new one.

Several become one record: the rows of each come after those of the one before (their `seq` is
raised), boots and probes are known by their names, and a bucket that two files counted in part is
joined. What SQLite cannot notice is not noticed here either: it keeps no checksum of its pages, so
that a flipped byte within a number is just another number.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from fermd.journal.backup import to_disk
from fermd.journal.opening import carry_over, outage_of_unwritable
from fermd.journal.pages import Value
from fermd.journal.readable import Readable
from fermd.journal.remembered import NOTHING_KNOWN, newest_seq
from fermd.journal.restoring import note
from fermd.journal.schema import PAGE_BYTES, READING_TABLES, ROLLUP_TABLES, migrate
from fermd.journal.shapes import Row
from fermd.journal.thinning import JOINED, buckets_of, roll_up


@dataclass(slots=True)
class Carried:
    """What became of one file."""

    path: Path
    rows: Counter[str] = field(default_factory=Counter)
    """Carried over, by table."""
    by_bytes: int = 0
    """Of these, those that SQLite did not come to."""
    refused: int = 0
    """Rows that were read and make no sense."""
    senseless: int = 0
    """Places in its pages where a row should be and none can be read."""
    faults: tuple[str, ...] = ()
    """What was found wrong with it; empty for a sound file."""


_NUMBERED = frozenset(("seq", "first_seq", "last_seq", "takes_back_seq"))


def salvage(sources: Sequence[Path], target: Path) -> list[Carried]:
    """Write a new journal with all that can be read of the others, the oldest of them first.

    `target` must not be there yet. Raises OSError, sqlite3.Error.
    """
    carried = []
    with closing(sqlite3.connect(target, isolation_level=None)) as connection:
        connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
        connection.execute("PRAGMA foreign_keys = OFF")
        # The file is nothing until it is whole, and brought to the disk as a whole.
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("PRAGMA journal_mode = MEMORY")
        migrate(connection)
        for source in sources:
            carried.append(_Carrying(connection, source).all_of_it())
        detail = ", ".join(one.path.name for one in carried)
        note(connection, "repaired", f"carried over from {detail}")
        # What the chambers go on from: the newest that is readable.
        for source in reversed(sources):
            known = outage_of_unwritable(source)
            if known.chambers or known is not NOTHING_KNOWN:
                carry_over(connection, known, newest_seq(connection) + 1)
                break
    to_disk(target)
    return carried


class _Carrying:
    """One file on its way into the new journal."""

    def __init__(self, connection: sqlite3.Connection, source: Path) -> None:
        self._connection = connection
        self._readable = Readable(source)
        self._seq_after = newest_seq(connection)
        self._boots: dict[Value, int] = {}
        self._probes: dict[Value, int] = {}
        self._carried = Carried(source)
        self._statements: dict[tuple[str, tuple[str, ...], bool], tuple[str, Sequence[str]]] = {}

    def all_of_it(self) -> Carried:
        """Carry every row over, and count the readings that were not counted yet."""
        connection, carried = self._connection, self._carried
        rolled_up_to = self._readable.rolled_up_to_seq()
        last_counted = 0
        connection.execute("BEGIN IMMEDIATE")
        for found in self._readable.rows():
            try:
                inserted = self._insert(found.table, found.row, found.by_bytes)
            except (sqlite3.Error, TypeError, ValueError, OverflowError, KeyError):
                carried.refused += 1
                continue
            carried.rows[found.table] += inserted
            carried.by_bytes += inserted and found.by_bytes
            if found.table in ROLLUP_TABLES and isinstance(last := found.row["last_seq"], int):
                last_counted = max(last_counted, last)
        up_to = self._seq_after + (last_counted if rolled_up_to is None else rolled_up_to)
        self._count_what_was_lost(up_to)
        connection.execute(
            "UPDATE rollup_progress SET rolled_up_to_seq = ?, readings_go_to = 'readings_a'",
            (up_to,),
        )
        connection.execute("COMMIT")
        for _ in roll_up(connection):
            pass
        carried.senseless = self._readable.image.senseless
        carried.faults = tuple(self._readable.faults)
        return carried

    def _insert(self, table: str, row: Row, by_bytes: bool) -> bool:
        """Insert a row, unless it is there already; whether it was."""
        if table == "boots":
            return self._insert_named(
                self._boots, row["boot"], lambda: self._boot(_text(row, "boot_id"))
            )
        if table == "probes":
            return self._insert_named(
                self._probes,
                row["probe_key"],
                lambda: self._probe(_text(row, "chamber"), _text(row, "probe")),
            )
        # One table is filled; the other begins when this one holds all that is to be kept.
        into = "readings_a" if table in READING_TABLES else table
        statement, names = self._statement(into, tuple(row), by_bytes)
        done = self._connection.execute(
            statement, [self._mapped(name, row[name]) for name in names]
        )
        return done.rowcount > 0

    def _mapped(self, name: str, value: Value) -> Value:
        """A value as it is in the new journal."""
        if name in _NUMBERED:
            return value + self._seq_after if isinstance(value, int) else value
        if name == "boot":
            return self._boot_of(value)
        return self._probe_of(value) if name == "probe_key" else value

    def _statement(
        self, table: str, given: tuple[str, ...], by_bytes: bool
    ) -> tuple[str, Sequence[str]]:
        if (known := self._statements.get((table, given, by_bytes))) is not None:
            return known
        found = self._connection.execute("SELECT name FROM pragma_table_info(?)", (table,))
        there = {name for (name,) in found}
        names = [name for name in given if name in there]
        marks = ", ".join("?" * len(names))
        statement = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})"  # noqa: S608
        # What SQLite said is told first; a bucket that another file counted in part is joined.
        statement += JOINED if table in ROLLUP_TABLES and not by_bytes else ""
        statement += " ON CONFLICT DO NOTHING" if by_bytes else ""
        self._statements[table, given, by_bytes] = statement, names
        return statement, names

    def _insert_named(self, keys: dict[Value, int], old: Value, new: Callable[[], int]) -> bool:
        if old in keys:
            return False
        keys[old] = new()
        return True

    def _boot_of(self, boot: Value) -> int:
        if boot not in self._boots:
            # Its name was lost: no other boot has this one.
            self._boots[boot] = self._boot(f"lost: boot {boot!r} of {self._carried.path.name}")
        return self._boots[boot]

    def _probe_of(self, probe_key: Value) -> int:
        if probe_key not in self._probes:
            self._probes[probe_key] = self._probe("", f"lost-{probe_key!r}")
        return self._probes[probe_key]

    def _boot(self, boot_id: str) -> int:
        return self._key("boots", "boot", {"boot_id": boot_id})

    def _probe(self, chamber: str, probe: str) -> int:
        return self._key("probes", "probe_key", {"chamber": chamber, "probe": probe})

    def _key(self, table: str, key: str, named: dict[str, str]) -> int:
        columns, marks = ", ".join(named), ", ".join("?" * len(named))
        where = " AND ".join(f"{name} = ?" for name in named)
        values = list(named.values())
        self._connection.execute(
            f"INSERT INTO {table} ({columns}) VALUES ({marks}) ON CONFLICT DO NOTHING",  # noqa: S608
            values,
        )
        found = self._connection.execute(f"SELECT {key} FROM {table} WHERE {where}", values)  # noqa: S608
        return int(found.fetchone()[0])

    def _count_what_was_lost(self, up_to: int) -> None:
        """Buckets that were counted and lost are counted again, where their readings are left."""
        for table, bucket_s in (("rollup_minute", 60), ("rollup_quarter_hour", 900)):
            buckets = buckets_of(bucket_s, f"seq > {self._seq_after} AND seq <= {up_to}")
            self._connection.execute(f"INSERT INTO {table} {buckets} ON CONFLICT DO NOTHING")


def _text(row: Row, name: str) -> str:
    value = row[name]
    if not isinstance(value, str):
        raise TypeError(name)
    return value
