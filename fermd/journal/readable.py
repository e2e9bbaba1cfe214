"""All rows of a damaged journal that can still be read: through SQLite, and page by page.

SQLite is asked first, from the beginning and from the end of each table up to the damage. Then
every page of a damaged table, every page in use that nothing points to any more, and every page in
the write-ahead log is looked at by itself.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fermd.journal.checking import full_check, known_key
from fermd.journal.described import RELATIONS
from fermd.journal.pages import Cell, Image
from fermd.journal.readonly import connect_to_read, lenient_text
from fermd.journal.schema import EVENT_TABLES, READING_TABLES, ROLLUP_TABLES
from fermd.journal.shapes import Row, row_of, tables_of

SALVAGED_TABLES: Final = ("boots", "probes", *EVENT_TABLES, *READING_TABLES, *ROLLUP_TABLES)
"""What a record is made of. What a restart goes on from is taken over elsewhere, with its checksum;
how far readings were counted is worked out anew."""


_UNREADABLE: Final = (sqlite3.Error, UnicodeDecodeError)
"""Of a damaged schema SQLite cites a name in its message, whatever its bytes have become."""


@dataclass(frozen=True, slots=True)
class Found:
    """A row, and where it comes from."""

    table: str
    row: Row
    by_bytes: bool
    """From the bytes of a page: what SQLite said of the same row counts, if it said anything."""


class Readable:
    """What can be read of one file."""

    def __init__(self, path: Path) -> None:
        """Raises OSError."""
        self.image = Image(path)
        self._path = path
        self.faults: list[str] = []
        """What was found wrong."""
        self._damaged = self._find_damaged()
        self._owners, self._free = self._find_owners(), self.image.free_pages()

    def rows(self) -> Iterator[Found]:
        """Every row with its table: boots and probes first.

        A row may come twice, from SQLite and then from the bytes.
        """
        for tables in (SALVAGED_TABLES[:2], SALVAGED_TABLES[2:]):
            for table in tables:
                for row in self._by_sqlite(table):
                    yield Found(table, row, by_bytes=False)
            yield from self._by_bytes(tables)

    def rolled_up_to_seq(self) -> int | None:
        """How far readings had been counted; None if that cannot be read."""
        try:
            with closing(connect_to_read(self._path)) as connection:
                (found,) = connection.execute(
                    "SELECT rolled_up_to_seq FROM rollup_progress"
                ).fetchone()
                return int(found)
        except (sqlite3.Error, TypeError, ValueError, OSError):
            return None

    def _find_damaged(self) -> set[str]:
        """The tables that something is wrong with; all, if it cannot open the file."""
        try:
            self.faults += full_check(self._path, most=len(SALVAGED_TABLES))
        except (*_UNREADABLE, OSError) as error:
            self.faults.append((str(error).splitlines() or ["?"])[0])
            return set(SALVAGED_TABLES)
        return {fault.partition(":")[0] for fault in self.faults}

    # -- through SQLite -------------------------------------------------------------------------

    def _by_sqlite(self, table: str) -> Iterator[Row]:
        """From the beginning up to the damage, then from the end down to it."""
        key = self._key_of(table)
        if not key:
            self._damaged.add(table)
            return
        last: object = None
        try:
            for row in self._select(table, key):
                yield row
                last = [row[name] for name in key]
        except _UNREADABLE:
            self._damaged.add(table)
        else:
            return
        try:
            for row in self._select(table, [f"{name} DESC" for name in key]):
                if [row[name] for name in key] == last:
                    return
                yield row
        except _UNREADABLE:
            return

    def _key_of(self, table: str) -> list[str]:
        """The columns in whose order the rows lie: a journal of an older version has another.

        Empty for a table that is not there, or whose columns are not what they were: SQLite gives
        values the wrong names then.
        """
        try:
            with closing(connect_to_read(self._path)) as connection:
                return known_key(connection, table)
        except _UNREADABLE:
            return []

    def _select(self, table: str, order: Sequence[str]) -> Iterator[Row]:
        with closing(connect_to_read(self._path)) as connection:
            connection.text_factory = lenient_text
            query = f"SELECT * FROM {table} ORDER BY {', '.join(order)}"  # noqa: S608
            cursor = connection.execute(query)
            names = [name for name, *_ in cursor.description]
            for row in cursor:
                yield dict(zip(names, row, strict=True))

    # -- page by page ---------------------------------------------------------------------------

    def _by_bytes(self, tables: Sequence[str]) -> Iterator[Found]:
        """The rows of damaged tables, of pages that nothing points to, and of the log."""
        for number in range(1, self.image.count + 1):
            owner = self._owners.get(number)
            if number not in self._free and (owner is None or owner in self._damaged):
                yield from self._rows_of_page(self.image.page(number), number, tables)
        for number, page in self.image.frames:
            yield from self._rows_of_page(page, number, tables)

    def _rows_of_page(self, page: bytes, number: int, tables: Sequence[str]) -> Iterator[Found]:
        owner = self._owners.get(number)
        if owner is not None and owner not in tables:
            return
        cells = list(self.image.cells(page, number))
        if owner is None and cells:
            owner = _owner_by_shape(cells)
        if owner is None or owner not in tables:
            return
        for cell in cells:
            row = row_of("readings_a" if owner in READING_TABLES else owner, cell)
            if row is not None:
                yield Found(owner, row, by_bytes=True)

    def _find_owners(self) -> dict[int, str]:
        """The table or index of each page that can be reached from its root."""
        owners: dict[int, str] = {}
        for name, root in self._roots():
            waiting = [root]
            while waiting:
                number = waiting.pop()
                if number not in owners:
                    owners[number] = name
                    waiting += self.image.children(number)
        return owners

    def _roots(self) -> list[tuple[str, int]]:
        """From the schema's own pages; it is a table like another (section 2.6).

        In a damaged file a table with a name that is not of ours may be ours all the same.
        """
        found, waiting, seen = [], [1], set[int]()
        while waiting:
            number = waiting.pop()
            if number in seen:
                continue
            seen.add(number)
            waiting += self.image.children(number)
            for cell in self.image.cells(self.image.page(number), number):
                match cell.values:
                    case ("table", str(name), *_) if self._damaged and name not in RELATIONS:
                        pass
                    case ("table" | "index", str(name), str(), int(root), *_):
                        found.append((name, root))
        return found


def _owner_by_shape(cells: Sequence[Cell]) -> str | None:
    """The table that most records of a page may be of; None if none fits."""
    votes = Counter(table for cell in cells for table in tables_of(cell))
    if not votes:
        return None
    # The first of those that are alike, in the schema's order.
    owner, _ = votes.most_common(1)[0]
    if owner in ROLLUP_TABLES:
        rows = [row for cell in cells if (row := row_of(owner, cell)) is not None]
        starts_s = [row["start_mono_s"] for row in rows]
        # A page has the minutes of a quarter of an hour and more.
        is_minutes = any(isinstance(start_s, int) and start_s % 900 for start_s in starts_s)
        return "rollup_minute" if is_minutes else "rollup_quarter_hour"
    return owner
