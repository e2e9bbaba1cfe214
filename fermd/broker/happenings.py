"""What has happened since the last look, from the journal.

The journal is the queue: while the broker is away nothing waits in memory, and afterwards what was
written meanwhile is told, the newest `MOST_AT_ONCE` of it. It is opened only after its files have
changed, and never waited for by the loop.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from fermd.journal.reader import EventRow, JournalReader, JournalUnreadable
from fermd.review.telling import tell

log = logging.getLogger(__name__)

MOST_AT_ONCE: Final = 500
"""So many events are told after an absence; all of them stand in the journal."""

LEAST_APART_S: Final = 1.0


class Happenings:
    """The events of a journal, from the first look on."""

    def __init__(self, record: JournalReader) -> None:
        self._record = record
        self._seq: int | None = None
        self._files: object = None
        self._looked_s = float("-inf")
        self._troubled = False

    def since_last(self, real_s: float) -> Sequence[dict[str, Any]]:
        """Return what is new, oldest first; nothing while the journal cannot be read."""
        if real_s - self._looked_s < LEAST_APART_S:
            return []
        self._looked_s = real_s
        files = _stamp(self._record.path)
        if files == self._files:
            return []
        try:
            rows = self._rows()
        except JournalUnreadable as error:
            if not self._troubled:
                log.warning("no events are published: %s", error)
            self._troubled = True
            return []
        self._troubled = False
        self._files = files
        if rows:
            self._seq = rows[-1].seq
        return [tell(row).plain() for row in rows]

    def _rows(self) -> list[EventRow]:
        if self._seq is not None:
            return self._record.events_after(self._seq, most=MOST_AT_ONCE)
        # The first look: what was before is history.
        newest = self._record.last_events(1)
        self._seq = newest[-1].seq if newest else 0
        return []


def _stamp(path: Path) -> object:
    """Return what differs when a commit has been written to the journal."""
    found: list[tuple[int, int, int] | None] = []
    for file in (path, path.with_name(f"{path.name}-wal")):
        try:
            about = file.stat()
        except OSError:
            found.append(None)
        else:
            found.append((about.st_ino, about.st_mtime_ns, about.st_size))
    return tuple(found)
