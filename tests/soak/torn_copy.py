"""Copies of a journal as a power cut leaves it: all at one moment, or cut off within its log.

The format of the write-ahead log is SQLite's own: a header of 32 bytes, then frames of 24 bytes and
a page each; a frame that ends a transaction has the size of the database in its second word
(https://www.sqlite.org/fileformat2.html#walformat).
"""

from __future__ import annotations

import shutil
import struct
from pathlib import Path

HEADER_BYTES = 32
FRAME_HEADER_BYTES = 24


def wal_of(journal: Path) -> Path:
    return journal.with_name(journal.name + "-wal")


def copy_journal(journal: Path, folder: Path) -> Path:
    """Copy database and log; the index of the log (-shm) is memory, which the power takes."""
    folder.mkdir(parents=True, exist_ok=True)
    copy = folder / journal.name
    for source, target in ((journal, copy), (wal_of(journal), wal_of(copy))):
        if source.exists():
            shutil.copyfile(source, target)
    return copy


def commit_ends(log: bytes) -> list[int]:
    """Where in a log each transaction ends, bytes; only of the frames that belong to it.

    A log that is written over from its beginning has frames of an older one behind the newest:
    their salt is another.
    """
    if len(log) < HEADER_BYTES:
        return []
    page_bytes = struct.unpack(">I", log[8:12])[0]
    salt = log[16:24]
    ends, at = [], HEADER_BYTES
    while at + FRAME_HEADER_BYTES + page_bytes <= len(log) and log[at + 8 : at + 16] == salt:
        pages_after = struct.unpack(">I", log[at + 4 : at + 8])[0]
        at += FRAME_HEADER_BYTES + page_bytes
        if pages_after:
            ends.append(at)
    return ends


def is_torn(log: bytes) -> bool:
    """Whether frames of a transaction are there that never ended."""
    ends = commit_ends(log)
    end = ends[-1] if ends else HEADER_BYTES
    return (
        len(log) >= end + 16 and len(log) > HEADER_BYTES and log[end + 8 : end + 16] == log[16:24]
    )


def cut_log(journal: Path, at_byte: int) -> None:
    """Cut the log off; what was behind never reached the disk."""
    with wal_of(journal).open("r+b") as log:
        log.truncate(at_byte)


def whole_up_to(log: bytes, at_byte: int) -> int:
    """Where the last transaction ends that is whole before a byte; 0 if none is."""
    return max((end for end in commit_ends(log) if end <= at_byte), default=0)
