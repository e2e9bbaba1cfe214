"""Logging to the journal of the system, or to a person at a terminal.

Under the service manager each record is one line on stderr that begins with its priority in angle
brackets (sd-daemon(3)); the journal keeps the priority, adds time, unit and process, and no
package is needed. At a terminal it is plain text with the time of day.

Rules that hold here:

- One line a record in the journal, tracebacks included, so that a filter or a priority never
  tears one apart.
- Text from outside (a probe's frame, a request) cannot forge a line or colour a terminal: control
  characters are written as escapes.
- Logging never holds up the loop: records wait in a queue with an end, a thread writes them. When
  the journal hangs and the queue is full, records are dropped and counted, control goes on.
"""

from __future__ import annotations

import logging
import os
import queue
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from logging.handlers import QueueHandler
from typing import TextIO

PRIORITY_BY_LEVEL = {
    logging.CRITICAL: 2,
    logging.ERROR: 3,
    logging.WARNING: 4,
    logging.INFO: 6,
    logging.DEBUG: 7,
}
"""The priorities of syslog(3) that sd-daemon(3) takes over."""

QUEUE_RECORDS = 1000
"""A burst of everything that a site can say in a minute, a few hundred kilobytes at most."""

LONGEST_FLUSH_S = 2.0
"""A journal that hangs must not hold up the end of the process for longer."""

LINE_JOINT = " | "
"""Stands where a record had a line break."""


@contextmanager
def logging_to_system(
    level: int = logging.INFO,
    environment: Mapping[str, str] = os.environ,
    stream: TextIO | None = None,
) -> Iterator[None]:
    """Send all records of this process to stderr for as long as the context lasts.

    Leaving writes out what still waits and puts back the handlers that were there before. Take it
    outside of everything that logs while it stops.
    """
    output = sys.stderr if stream is None else stream
    formatter: logging.Formatter
    if is_connected_to_journal(environment, output):
        formatter = JournalFormatter()
    else:
        formatter = TerminalFormatter()
    writer = _QuietStreamHandler(output)
    writer.setFormatter(formatter)
    waiting = _Waiting(QUEUE_RECORDS)
    thread = _WriterThread(waiting, writer)
    root = logging.getLogger()
    handlers_before, level_before = root.handlers[:], root.level
    root.handlers[:] = [_DroppingQueueHandler(waiting)]
    root.setLevel(level)
    logging.captureWarnings(True)
    thread.start()
    try:
        yield
    finally:
        logging.captureWarnings(False)
        root.handlers[:] = handlers_before
        root.setLevel(level_before)
        thread.finish()


def is_connected_to_journal(environment: Mapping[str, str], stream: TextIO) -> bool:
    """True if JOURNAL_STREAM (systemd.exec(5)) names the very file that this stream writes to.

    A stream that was sent elsewhere (`2> file`) is not the journal, whatever the environment says.
    """
    device, _, inode = environment.get("JOURNAL_STREAM", "").partition(":")
    try:
        there = os.fstat(stream.fileno())
        return (int(device), int(inode)) == (there.st_dev, there.st_ino)
    except (OSError, ValueError):
        return False


class JournalFormatter(logging.Formatter):
    """`<priority>logger: text` on a single line."""

    def __init__(self) -> None:
        super().__init__("%(name)s: %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        """The record as one line; a traceback is joined with bars."""
        lines = (line.rstrip() for line in super().format(record).splitlines())
        text = LINE_JOINT.join(line for line in lines if line)
        return f"<{_priority(record.levelno)}>{_visible(text)}"


class TerminalFormatter(logging.Formatter):
    """`18:03:07 warning  text`, with a traceback on lines of its own."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(shown_level)s %(message)s", datefmt="%H:%M:%S")

    def format(self, record: logging.LogRecord) -> str:
        """The record for a person to read."""
        record.shown_level = f"{record.levelname.lower():<8}"
        return "\n".join(_visible(line) for line in super().format(record).splitlines())


_Waiting = queue.Queue[logging.LogRecord | None]
"""Records on their way to the stream; None is the last."""


class _DroppingQueueHandler(QueueHandler):
    """Never waits for room; says how many records were lost when there is room again."""

    def __init__(self, waiting: _Waiting) -> None:
        super().__init__(waiting)
        self._waiting = waiting
        self._dropped = 0

    def enqueue(self, record: logging.LogRecord) -> None:
        try:
            if self._dropped:
                self._waiting.put_nowait(self._about_the_dropped())
                self._dropped = 0
            self._waiting.put_nowait(record)
        except queue.Full:
            self._dropped += 1

    def _about_the_dropped(self) -> logging.LogRecord:
        return logging.LogRecord(
            name=__name__,
            level=logging.WARNING,
            pathname=__file__,
            lineno=0,
            msg=f"{self._dropped} records were lost: the log took them too slowly",
            args=None,
            exc_info=None,
        )


class _WriterThread(threading.Thread):
    """Takes records out of the queue and writes them, however long the stream takes."""

    def __init__(self, waiting: _Waiting, writer: logging.Handler) -> None:
        super().__init__(name="log-writer", daemon=True)
        self._waiting = waiting
        self._writer = writer

    def run(self) -> None:
        while (record := self._waiting.get()) is not None:
            self._writer.handle(record)

    def finish(self) -> None:
        """Write what waits, and end; within a bound, for the stream may hang."""
        try:
            self._waiting.put(None, timeout=LONGEST_FLUSH_S)
        except queue.Full:
            return
        self.join(LONGEST_FLUSH_S)


class _QuietStreamHandler(logging.StreamHandler[TextIO]):
    """A closed or broken stream costs the record and nothing else."""

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802 - the base's name
        """Say nothing: there is no place left to say it."""


def _priority(level: int) -> int:
    return next(
        (priority for bound, priority in PRIORITY_BY_LEVEL.items() if level >= bound),
        PRIORITY_BY_LEVEL[logging.DEBUG],
    )


def _visible(text: str) -> str:
    if text.isprintable():
        return text
    return "".join(
        char if char.isprintable() or char == "\t" else char.encode("unicode_escape").decode()
        for char in text
    )
