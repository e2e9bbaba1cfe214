"""Word left outside the journal by a run that may not be noted in it.

The journal's last row tells whether the relays' history can be relied on. A run whose start could
not be written (full or read-only disk) leaves that row as it was, and the next run would take it
for the truth. So a run leaves this file before it opens the journal and removes it once its start
is committed. It belongs on a disk that the boot clears: across boots nothing of the history counts
anyway.
"""

from __future__ import annotations

import logging
from pathlib import Path

_log = logging.getLogger(__name__)


class Marker:
    """The file, or the lack of one (`path` None)."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._there = False

    def left_by(self, boot_id: str) -> bool:
        """Whether an earlier run of this boot could not be noted."""
        if self._path is None:
            return False
        try:
            return self._path.read_text(encoding="utf-8").strip() == boot_id
        except FileNotFoundError:
            return False
        except (OSError, UnicodeError) as error:
            _log.warning("%s: %s: an earlier run counts as not noted", self._path, error)
            return True

    def leave(self, boot_id: str) -> None:
        """Leave word that this run is not noted yet."""
        if self._path is None:
            return
        try:
            self._path.write_text(boot_id + "\n", encoding="utf-8")
            self._there = True
        except OSError as error:
            _log.warning("%s: cannot be written: %s", self._path, error)

    def remove(self) -> None:
        """Take the word back: the run is in the journal."""
        if self._path is None or not self._there:
            return
        try:
            self._path.unlink(missing_ok=True)
            self._there = False
        except OSError as error:
            _log.warning("%s: cannot be removed: %s", self._path, error)
