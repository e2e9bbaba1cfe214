"""Word left outside the journal by a run that has not ended in an orderly way.

The journal's last row tells whether the relays' history can be relied on, and can only tell of what
is in the file. A run whose start could not be written (full or read-only disk), or whose rows went
with a write-ahead log that was damaged, lost or put back to an older one, leaves the orderly stop
of the run before it as the last word, and a compressor that stopped a minute ago would be taken for
one that has rested for hours. So a run leaves this file before it opens the journal, and removes it
once its own orderly stop is committed: such a stop is believed only if both tell of it. The file
belongs on a disk that the boot clears: across boots nothing of the history counts anyway.
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
        """Whether an earlier run of this boot has not ended in an orderly way."""
        if self._path is None:
            return False
        try:
            return self._path.read_text(encoding="utf-8").strip() == boot_id
        except FileNotFoundError:
            return False
        except (OSError, UnicodeError) as error:
            _log.warning("%s: %s: the run before counts as broken off", self._path, error)
            return True

    def leave(self, boot_id: str) -> None:
        """Leave word that this run has not ended."""
        if self._path is None:
            return
        try:
            self._path.write_text(boot_id + "\n", encoding="utf-8")
            self._there = True
        except OSError as error:
            _log.warning("%s: cannot be written: %s", self._path, error)

    def remove(self) -> None:
        """Take the word back: the orderly end of this run is in the journal."""
        if self._path is None or not self._there:
            return
        try:
            self._path.unlink(missing_ok=True)
            self._there = False
        except OSError as error:
            _log.warning("%s: cannot be removed: %s", self._path, error)
