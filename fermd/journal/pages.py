"""Rows read from the bytes of a database file, page by page, where SQLite itself gives up.

A flipped byte in a page that points to others hides all of them from SQLite, though what they hold
is as it was. Here every page is looked at by itself. The format is public
(sqlite.org/fileformat2.html; the numbers of its sections stand beside the code), and so is that of
the write-ahead log (sqlite.org/walformat.html).

Nothing here raises for what it finds in the bytes: a cell that makes no sense is counted.
"""

from __future__ import annotations

import mmap
import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fermd.journal.schema import PAGE_BYTES

Value = int | float | str | bytes | None

INTERIOR_INDEX, INTERIOR_TABLE, LEAF_INDEX, LEAF_TABLE = 0x02, 0x05, 0x0A, 0x0D
_MAGIC: Final = b"SQLite format 3\0"
_FILE_HEADER_BYTES: Final = 100
_LOG_HEADER_BYTES, _FRAME_HEADER_BYTES = 32, 24
_MOST_OVERFLOW_PAGES: Final = 10_000


class _Senseless(Exception):  # noqa: N818 - reads as what it says
    """Bytes that cannot be what they should be."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One record: a row of a table (with its rowid), or an entry of an index (without)."""

    rowid: int | None
    values: tuple[Value, ...]


class Image:
    """A database file with its write-ahead log, as bytes."""

    def __init__(self, path: Path) -> None:
        """Raises OSError."""
        # Mapped, not read: a small board has not the memory for a journal of years.
        with path.open("rb") as file:
            is_empty = os.fstat(file.fileno()).st_size == 0
            self._bytes: bytes | mmap.mmap = (
                b"" if is_empty else mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
            )
        head = self._bytes[:_FILE_HEADER_BYTES]
        size = int.from_bytes(head[16:18], "big")
        self.page_bytes = 65536 if size == 1 else size
        if head[:16] != _MAGIC or self.page_bytes not in {2**n for n in range(9, 17)}:
            self.page_bytes = PAGE_BYTES
        self._usable = self.page_bytes - (head[20] if len(head) > 20 and head[20] <= 64 else 0)
        self.frames = list(_frames(path.with_name(path.name + "-wal"), self.page_bytes))
        self._newest = dict(self.frames)
        self.senseless = 0
        """Cells that could not be read so far."""

    @property
    def count(self) -> int:
        """How many pages there are, the last one perhaps in part."""
        in_file = -(-len(self._bytes) // self.page_bytes)
        return max(in_file, *self._newest) if self._newest else in_file

    def page(self, number: int) -> bytes:
        """A page as the log has it, else as the file has it; without bytes if there is none."""
        if number in self._newest:
            return self._newest[number]
        return self._bytes[(number - 1) * self.page_bytes : number * self.page_bytes]

    def kind(self, page: bytes, number: int) -> int:
        """What kind of page it says that it is (section 1.6)."""
        at = _FILE_HEADER_BYTES if number == 1 else 0
        return page[at] if len(page) > at else 0

    def free_pages(self) -> set[int]:
        """The pages that are in no use (section 1.5), as far as their list can be followed."""
        free: set[int] = set()
        number = int.from_bytes(self.page(1)[32:36], "big")
        while 0 < number <= self.count and number not in free:
            free.add(number)
            page = self.page(number)
            leaves = int.from_bytes(page[4:8], "big")
            if leaves > self.page_bytes // 4 - 2:
                break
            free.update(struct.unpack(f">{leaves}I", page[8 : 8 + 4 * leaves].ljust(4 * leaves)))
            number = int.from_bytes(page[:4], "big")
        return free

    def children(self, number: int) -> list[int]:
        """The pages that an interior page points to (section 1.6)."""
        page = self.page(number)
        if self.kind(page, number) not in (INTERIOR_INDEX, INTERIOR_TABLE):
            return []
        head = _FILE_HEADER_BYTES if number == 1 else 0
        found = [int.from_bytes(page[head + 8 : head + 12], "big")]
        found += [int.from_bytes(page[at : at + 4], "big") for at in self._cells_at(page, number)]
        return [child for child in found if 1 <= child <= self.count]

    def cells(self, page: bytes, number: int) -> Iterator[Cell]:
        """The records of a page; of a table only its leaves have any."""
        kind = self.kind(page, number)
        if kind not in (LEAF_TABLE, LEAF_INDEX, INTERIOR_INDEX):
            return
        for at in self._cells_at(page, number):
            try:
                yield self._cell(page, at, kind)
            except (_Senseless, IndexError, struct.error, UnicodeDecodeError):
                self.senseless += 1

    def _cells_at(self, page: bytes, number: int) -> Iterator[int]:
        start = _FILE_HEADER_BYTES if number == 1 else 0
        kind = self.kind(page, number)
        count = int.from_bytes(page[start + 3 : start + 5], "big")
        pointers = start + (12 if kind in (INTERIOR_INDEX, INTERIOR_TABLE) else 8)
        # A cell has 4 bytes at the least, and 2 for its pointer.
        for index in range(min(count, (len(page) - pointers) // 6)):
            at = int.from_bytes(page[pointers + 2 * index : pointers + 2 * index + 2], "big")
            if pointers < at < len(page):
                yield at
            else:
                self.senseless += 1

    def _cell(self, page: bytes, at: int, kind: int) -> Cell:
        if kind == INTERIOR_INDEX:
            at += 4
        size, at = _varint(page, at)
        rowid = None
        if kind == LEAF_TABLE:
            rowid, at = _varint(page, at)
        return Cell(rowid, _record(self._payload(page, at, size, is_table=kind == LEAF_TABLE)))

    def _payload(self, page: bytes, at: int, size: int, *, is_table: bool) -> bytes:
        """What a cell holds, put together from its overflow pages (section 1.6, 1.7)."""
        usable = self._usable
        least = (usable - 12) * 32 // 255 - 23
        most = usable - 35 if is_table else (usable - 12) * 64 // 255 - 23
        if not 0 < size < _MOST_OVERFLOW_PAGES * usable:
            raise _Senseless
        local = size
        if size > most:
            local = least + (size - least) % (usable - 4)
            local = local if local <= most else least
        found = page[at : at + local]
        if len(found) < local:
            raise _Senseless
        number = int.from_bytes(page[at + local : at + local + 4], "big") if size > local else 0
        parts, missing, seen = [found], size - local, set[int]()
        while missing > 0:
            more = self.page(number) if number and number not in seen else b""
            if len(more) < 4:
                raise _Senseless
            seen.add(number)
            parts.append(more[4 : min(usable, 4 + missing)])
            missing -= len(parts[-1])
            number = int.from_bytes(more[:4], "big")
        return b"".join(parts)


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """Return a variable-length integer (section 1.6) and where it ends."""
    value = 0
    for index in range(8):
        byte = data[at + index]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + index + 1
    value = value << 8 | data[at + 8]
    return (value - (1 << 64) if value >= 1 << 63 else value), at + 9


_INTEGER_BYTES: Final = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}


def _record(payload: bytes) -> tuple[Value, ...]:
    """Return the values of a record (section 2.1)."""
    end, at = _varint(payload, 0)
    if not 0 < end <= len(payload):
        raise _Senseless
    kinds = []
    while at < end:
        kind, at = _varint(payload, at)
        kinds.append(kind)
    values: list[Value] = []
    at = end
    for kind in kinds:
        value, at = _value(payload, at, kind)
        values.append(value)
    if at != len(payload):
        raise _Senseless
    return tuple(values)


def _value(payload: bytes, at: int, kind: int) -> tuple[Value, int]:
    if kind in (0, 8, 9):
        return {0: None, 8: 0, 9: 1}[kind], at
    if kind in (10, 11) or kind < 0:
        raise _Senseless
    size = _INTEGER_BYTES.get(kind) or (8 if kind == 7 else (kind - 12) // 2)
    raw = payload[at : at + size]
    if len(raw) < size:
        raise _Senseless
    if kind == 7:
        return float(struct.unpack(">d", raw)[0]), at + size
    if kind in _INTEGER_BYTES:
        return int.from_bytes(raw, "big", signed=True), at + size
    return (raw if kind % 2 == 0 else raw.decode("utf-8")), at + size


def _frames(log: Path, page_bytes: int) -> Iterator[tuple[int, bytes]]:
    """The pages in a write-ahead log, also behind a damage of it; oldest first."""
    try:
        data = log.read_bytes()
    except OSError:
        return
    salts = data[16:24]
    size = _FRAME_HEADER_BYTES + page_bytes
    for at in range(_LOG_HEADER_BYTES, len(data) - size + 1, size):
        head = data[at : at + _FRAME_HEADER_BYTES]
        # Left over from before the log was begun again: that is in the database already. One half
        # of the two is enough, since either may be damaged.
        if head[8:12] == salts[:4] or head[12:16] == salts[4:]:
            yield int.from_bytes(head[:4], "big"), data[at + _FRAME_HEADER_BYTES : at + size]
